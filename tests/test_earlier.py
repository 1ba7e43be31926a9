"""``scanqa qualify --earlier``: a lamp that has faded since an earlier check."""

import json

import numpy as np
import pytest
from click.testing import CliRunner

from scanqa.cli import main
from scanqa.scans.save import save_tiff
from scanqa.simulate import scan
from scanqa.simulate.scanner import Lamp, Scanner
from scanqa.simulate.scenes import BlankScene, Paper


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def blanks(tmp_path_factory):
    """Two blanks each of a small scanner, its lamp as new and at 60 %."""
    folder = tmp_path_factory.mktemp("lamp")
    for name, level in (("new", 1.0), ("worn", 0.6)):
        (folder / name).mkdir()
        scanner = Scanner("heron", glass_mm=(90.0, 120.0), lamp=Lamp(level=level))
        for number in (1, 2):
            blank = BlankScene(Paper(seed=5), moved_mm=(3.0 * number, 0.0))
            rng = np.random.default_rng([number, round(10 * level)])
            made = scan(blank, scanner, dpi=150, rng=rng)
            save_tiff(folder / name / f"blank-{number}.tif", made.pixels, made.dpi)
    return folder


def test_a_faded_lamp_is_named_with_its_caution(blanks, tmp_path):
    before = tmp_path / "before.json"
    common = ("--scanner", "heron", "--no-keep", "--out", tmp_path)
    assert run("qualify", blanks / "new", *common, "--json", before).exit_code == 0
    after = tmp_path / "after.json"
    done = run("qualify", blanks / "worn", *common, "--earlier", before, "--json", after)
    assert done.exit_code == 0, done.output
    findings = json.loads(after.read_text("utf-8"))["findings"]
    (lamp,) = [f for f in findings if "of the light of the earlier check" in f["title"]]
    assert lamp["likely"][0] == "a worn lamp"
    assert lamp["causes"][0]["cause"] == lamp["cause"] == "worn-lamp"
    assert lamp["severity"] == "warning"
    assert "mercury" in lamp["caution"]
    assert "qualified" in lamp["stop"]
    assert 0 < lamp["causes"][0]["share"] <= 1
    (second,) = tmp_path.glob("heron-check-*-2.html")
    page = second.read_text("utf-8")
    assert "When to stop" in page
    assert "Look next" in page


def test_records_show_a_faded_lamp_without_being_asked(blanks, tmp_path):
    """Two checks on record: the second is told what the first one saw, and says what to do."""
    common = ("--scanner", "heron", "--out", tmp_path, "--records", tmp_path / "records.sqlite")
    assert run("qualify", blanks / "new", *common, "--date", "2025-01-05").exit_code == 0
    after = tmp_path / "after.json"
    done = run("qualify", blanks / "worn", *common, "--date", "2026-01-05", "--json", after)
    assert done.exit_code == 0, done.output
    record = json.loads(after.read_text("utf-8"))
    (asked,) = [action for action in record["actions"] if action["cause"] == "worn-lamp"]
    assert "of the light of the earlier check is left" in asked["because"]
    assert "mercury" in asked["caution"]
    # After a new lamp the history begins anew: nothing is said against the worn one.
    assert run("event", "heron", "new lamp", "--date", "2026-02-01", "--records",
               tmp_path / "records.sqlite").exit_code == 0  # fmt: skip
    done = run("qualify", blanks / "new", *common, "--date", "2026-02-05", "--json", after)
    causes = [action["cause"] for action in json.loads(after.read_text("utf-8"))["actions"]]
    assert "worn-lamp" not in causes


@pytest.mark.parametrize("text", ["no JSON", '{"schema": "something/1"}'])
def test_another_file_is_refused_in_one_line(blanks, tmp_path, text):
    wrong = tmp_path / "wrong.json"
    wrong.write_text(text)
    done = run("qualify", blanks / "new", "--scanner", "heron", "--no-keep", "--earlier", wrong)
    assert done.exit_code == 2
    assert "--earlier" in done.output
    assert "give the file that --json wrote" in done.output


def test_a_file_that_is_not_there_is_refused(blanks, tmp_path):
    done = run(
        "qualify", blanks / "new", "--scanner", "heron", "--no-keep", "--earlier", tmp_path / "no"
    )
    assert done.exit_code == 2
    assert "cannot be read" in done.output
