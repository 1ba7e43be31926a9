"""``scanqa scanners`` and ``scanqa report`` as a user meets them; two units of one name."""

import json
from pathlib import Path

import pytest
from PIL import Image

from tests.records.test_commands import run
from tests.test_cli import DPI, SEED, blank_pixels


@pytest.fixture
def blanks(tmp_path):
    """Two blanks of one unit, and two of another, whose files state the serial."""
    folders = []
    for unit, serial in enumerate(("0417", "0999")):
        folder = tmp_path / serial
        folder.mkdir()
        for number in (1, 2):
            exif = Image.Exif()
            exif[271], exif[272] = "Larkfield", "L-12"
            exif.get_ifd(34665)[42033] = serial
            pixels = Image.fromarray(blank_pixels(SEED + 10 * unit + number))
            pixels.save(folder / f"blank-{number}.png", exif=exif, dpi=(DPI, DPI))
        folders.append(folder)
    return folders


def test_units_are_noted_listed_shown_and_changed():
    given = ("--make", "Larkfield", "--serial", "0417", "--return-until", "2026-12-04")
    assert run("scanners", "add", "owl", *given).exit_code == 0
    again = run("scanners", "add", "owl", "--serial", "1")
    assert again.exit_code == 2
    assert "already noted" in again.stderr
    assert run("scanners", "change", "owl", "--make", "", "--site", "attic").exit_code == 0
    shown = run("scanners", "show", "owl").stdout.splitlines()
    assert shown == ["scanner: owl", "serial: 0417", "site: attic", "return until: 2026-12-04"]
    listed = run("scanners", "list").stdout
    assert listed == "owl: serial 0417, attic, return until 4 December 2026\n"
    assert run("scanners", "change", "jay", "--make", "x").exit_code == 2
    assert run("scanners", "change", "owl", "--acquired", "last week").exit_code == 2


def test_the_files_name_the_unit_and_another_serial_is_never_merged(blanks, tmp_path):
    out = ("--out", tmp_path / "reports")
    first = run("qualify", blanks[0], "--scanner", "owl", *out)
    assert first.exit_code == 0, first.output
    assert run("scanners", "show", "owl").stdout.splitlines()[:4] == [
        "scanner: owl", "make: Larkfield", "model: L-12", "serial: 0417",
    ]  # fmt: skip
    second = run("qualify", blanks[1], "--scanner", "owl", *out)
    assert second.exit_code == 2
    (line,) = second.stderr.splitlines()
    assert "owl is on record with serial 0417; these scans say 0999" in line
    assert "not put on record" in line
    assert len(run("records", "export", "owl").stdout.splitlines()) == 1
    run("scanners", "change", "owl", "--serial", "0999")
    assert run("qualify", blanks[1], "--scanner", "owl", *out).exit_code == 0
    assert len(run("records", "export", "owl").stdout.splitlines()) == 2


def test_a_record_is_drawn_again_with_its_unit_and_its_decision(blanks, tmp_path):
    until = ("--return-until", "2999-01-01", "--seller", "R. Osgood")
    run("scanners", "add", "owl", *until)
    run("qualify", blanks[0], "--scanner", "owl", "--out", tmp_path / "first")
    number = run("records", "list", "owl").stdout.split()[0]
    drawn = run("report", number, "--out", tmp_path / "second")
    assert drawn.exit_code == 0, drawn.output
    path, decision = drawn.stdout.splitlines()
    kept = json.loads(run("records", "show", number).stdout)
    assert decision.startswith(f"owl: {kept['decision']['title']}")
    assert kept["decision"]["days_left"] > 300_000
    assert kept["identity"]["seller"] == "R. Osgood"
    short = Path(path).read_text("utf-8").replace("\u00a0", " ")
    assert "from R. Osgood" in short
    assert kept["decision"]["title"] in short
    run("report", number, "--all", "--out", tmp_path / "whole")
    (whole,) = (tmp_path / "whole").glob("owl-*.html")
    assert '<details class="room scans" open>' in whole.read_text("utf-8")
    assert run("report", "999", "--out", tmp_path).exit_code == 2


def test_uses_that_are_not_named_do_not_count(blanks, tmp_path):
    out = ("--out", tmp_path / "reports", "--no-keep")
    wrong = run("qualify", blanks[0], "--scanner", "owl", "--for", "maps", *out)
    assert wrong.exit_code == 2
    assert "choose of: text, fine line drawings" in wrong.stderr
    one = run("qualify", blanks[0], "--scanner", "owl", "--for", "covers", *out)
    every = run("qualify", blanks[0], "--scanner", "owl", *out)
    assert "bound" not in one.stdout.splitlines()[-1]
    assert "darkening 5 mm from the spine" in every.stdout.splitlines()[-1]
