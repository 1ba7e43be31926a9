"""The command line as a user meets it: files on disk, exit statuses, one line per fault."""

import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from scanqa.cli import COMMANDS, main

SEED = 20261125
DPI = 150


def run(*args, cwd):
    before = Path.cwd()
    os.chdir(cwd)
    try:
        return CliRunner().invoke(main, [str(a) for a in args], catch_exceptions=False)
    finally:
        os.chdir(before)


def blank_pixels(seed=SEED):
    """White paper at 150 dpi, 100 × 120 mm, with 0.5 % noise: plain numpy, no simulator."""
    rng = np.random.default_rng(seed)
    shape = (round(120 / 25.4 * DPI), round(100 / 25.4 * DPI), 3)
    return np.clip(rng.normal(225, 1.2, shape), 0, 255).round().astype(np.uint8)


def save(path, pixels, mode=None, dpi=(DPI, DPI), **options):
    Image.fromarray(pixels, mode).save(path, dpi=dpi, **options)
    return path


@pytest.fixture
def blanks(tmp_path):
    folder = tmp_path / "scans"
    folder.mkdir()
    for number in (1, 2):
        save(folder / f"blank-{number}.tif", blank_pixels(SEED + number))
    return folder


def test_help_loads_nothing_heavy():
    code = (
        "import sys; from click.testing import CliRunner; from scanqa.cli import COMMANDS, main;"
        "r = CliRunner().invoke(main, ['--help']); assert r.exit_code == 0, r.output;"
        "print([m for m in ('numpy', 'scipy', 'matplotlib', 'cv2', 'skimage', 'pyvips', 'jinja2',"
        " 'reportlab', 'rich') if m in sys.modules])"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_has_help_and_stands_in_the_readme(command):
    assert CliRunner().invoke(main, [command, "--help"]).exit_code == 0
    assert f"scanqa {command}" in (Path(__file__).parents[1] / "README.md").read_text("utf-8")


def check_page(folder):
    """The page of a check of blanks: named by its day, never the plain name of a full report."""
    (page,) = (folder / "reports").glob("heron-check-20??-??-??.html")
    return page


def test_two_blanks_give_report_and_json(blanks, tmp_path):
    result = run("qualify", blanks, "--scanner", "heron", "--json", "heron.json", cwd=tmp_path)
    assert result.exit_code == 0, result.output
    page, decision = result.stdout.splitlines()[-2:]
    assert page == str(check_page(tmp_path).relative_to(tmp_path))
    assert decision.startswith("heron: Nothing found against it, still open: effective dpi")
    assert check_page(tmp_path).read_text("utf-8").startswith("<!DOCTYPE html>")
    document = json.loads((tmp_path / "heron.json").read_text("utf-8"))
    assert document["schema"] == "scanqa.qualification/2"
    assert [scan["role"] for scan in document["scans"]] == ["blank", "blank"]


def test_json_to_standard_output_is_json_alone(blanks, tmp_path):
    result = run("qualify", blanks, "--scanner", "heron", "--json", "-", cwd=tmp_path)
    assert json.loads(result.stdout)["scanner"] == "heron"


def text_named_tif(path):
    path.write_text("a letter, not a scan\n" * 40)


def truncated_tiff(path):
    save(path, blank_pixels())
    path.write_bytes(path.read_bytes()[:-50_000])


def one_bit(path):
    Image.fromarray(blank_pixels()[..., 0] > 225).save(path, dpi=(DPI, DPI))


def cmyk(path):
    Image.fromarray(blank_pixels()).convert("CMYK").save(path, dpi=(DPI, DPI))


def alpha(path):
    image = Image.fromarray(blank_pixels()).convert("RGBA")
    image.putalpha(Image.fromarray(blank_pixels()[..., 0]))
    image.save(path, dpi=(DPI, DPI))


def photo(path):
    from skimage import data

    Image.fromarray(data.astronaut()).resize((900, 900)).save(path, dpi=(DPI, DPI))


BAD = {
    "truncated": truncated_tiff,
    "empty": lambda path: path.write_bytes(b""),
    "text": text_named_tif,
    "one-bit": one_bit,
    "cmyk": cmyk,
    "alpha": alpha,
}


def test_a_photograph_is_a_picture_with_a_report_of_its_own(tmp_path):
    photo(tmp_path / "photo.tif")
    result = run("qualify", "photo.tif", "--scanner", "heron", "--json", "h.json", cwd=tmp_path)
    assert result.exit_code == 0
    document = json.loads((tmp_path / "h.json").read_text("utf-8"))
    assert [scan["role"] for scan in document["scans"]] == ["picture"]
    assert {"tone", "processing", "claim"} <= {
        m["name"].partition(".")[0] for m in document["measures"]
    }
    assert (tmp_path / "reports/heron.html").exists()


@pytest.mark.parametrize("kind", BAD)
def test_a_bad_file_costs_one_line_and_status_2_and_the_rest_is_measured(kind, blanks, tmp_path):
    bad = blanks / f"{kind}.tif"
    BAD[kind](bad)
    result = run("qualify", blanks, "--scanner", "heron", "--json", "heron.json", cwd=tmp_path)
    assert result.exit_code == 2
    (line,) = [text for text in result.stderr.splitlines() if bad.name in text]
    assert "Traceback" not in result.output
    assert ";" in line, f"says what is wrong but not what to do: {line}"
    document = json.loads((tmp_path / "heron.json").read_text("utf-8"))
    assert len(document["scans"]) == 2
    assert document["measures"]


@pytest.mark.parametrize("kind", BAD)
def test_a_bad_file_alone_writes_no_report(kind, tmp_path):
    bad = tmp_path / f"{kind}.tif"
    BAD[kind](bad)
    result = run("qualify", bad, "--scanner", "heron", cwd=tmp_path)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 1
    assert not (tmp_path / "reports").exists()


def test_an_empty_folder_and_a_missing_file_are_one_line_each(tmp_path):
    (tmp_path / "nothing").mkdir()
    result = run("qualify", "nothing", "absent.tif", "--scanner", "heron", cwd=tmp_path)
    assert result.exit_code == 2
    assert len(result.stderr.splitlines()) == 2
    assert "nothing" in result.stderr
    assert "absent.tif" in result.stderr


@pytest.mark.parametrize(
    "options",
    [
        ("--scanner", "../escape"),
        ("--scanner", ""),
        ("--scanner", "heron", "--dpi", "0"),
        ("--scanner", "heron", "--role", "blank"),
        ("--scanner", "heron", "--role", "banana=a.tif"),
        ("--scanner", "heron", "--fail-on", "banana>3"),
        ("--scanner", "heron", "--curve", "no-such-curve"),
        ("--scanner", "heron", "--dead-margin", "left", "-1"),
        ("--scanner", "heron", "--smallest", "1.2"),
        ("--scanner", "heron", "--pages", "0"),
        ("--scanner", "heron", "--pages", "9", "--page-size", "a4x"),
        ("--scanner", "heron", "--pages", "9", "--page-size", "210x5"),
        ("--scanner", "heron", "--pages", "9", "--scan-seconds", "nan"),
        ("--scanner", "heron", "--uses", "no-such.toml"),
        ("--scanner", "heron", "--dead-margin", "left", "nan"),
        ("--scanner", "heron", "--dead-margin", "left", "2", "--dead-margin", "left", "3"),
    ],
)
def test_a_bad_option_is_one_line_and_status_2(options, blanks, tmp_path):
    result = run("qualify", blanks, *options, cwd=tmp_path)
    assert result.exit_code == 2
    assert len(result.stderr.strip().splitlines()) == 1
    assert not (tmp_path / "reports").exists()


@pytest.mark.parametrize(("limit", "status"), [("noise.total>0.001", 1), ("noise.total>50", 0)])
def test_a_broken_limit_is_status_1(limit, status, blanks, tmp_path):
    result = run("qualify", blanks, "--scanner", "heron", "--fail-on", limit, cwd=tmp_path)
    assert result.exit_code == status
    assert check_page(tmp_path).exists()


def test_no_dpi_tag_asks_for_one_and_takes_it(tmp_path):
    path = tmp_path / "blank.png"
    Image.fromarray(blank_pixels()).save(path)
    result = run("qualify", path, "--scanner", "heron", "--json", "h.json", cwd=tmp_path)
    assert result.exit_code == 0
    assert "--dpi" in result.stderr
    document = json.loads((tmp_path / "h.json").read_text("utf-8"))
    (scan,) = document["scans"]
    assert (scan["role"], scan["dpi"], scan["dpi_source"]) == ("blank", None, "assumed")
    families = {m["name"].partition(".")[0] for m in document["measures"]}
    assert families <= {"tone", "processing", "claim"}  # nothing in millimetres
    result = run("qualify", path, "--scanner", "heron", "--dpi", DPI, cwd=tmp_path)
    assert result.exit_code == 0, result.output


def test_dead_margins_read_by_eye_are_kept_and_said_to_be(blanks, tmp_path):
    read = ("--dead-margin", "left", "2.3", "--dead-margin", "top", "0")
    result = run("qualify", blanks, "--scanner", "heron", *read, "--json", "-", cwd=tmp_path)
    document = json.loads(result.stdout)
    said = document["conditions"]["read by eye"]
    assert said == "dead margin left 2.3 mm; dead margin top 0 mm"
    measures = {m["name"]: m for m in document["measures"]}
    left, top = (measures[f"edges.dead_margin_{side}"] for side in ("left", "top"))
    assert (left["value"], top["value"]) == (2.3, 0.0)
    assert left["uncertainty"] == pytest.approx(1 / 12**0.5, abs=0.02)  # read to the millimetre
    assert "by eye" in left["reason"]
    assert measures["edges.dead_margin_right"]["value"] is None
    page = check_page(tmp_path).read_text("utf-8")
    assert page.count("read by eye from the scale") >= 2


def test_a_job_is_planned_from_what_is_known(blanks, tmp_path):
    job = ("--pages", "300", "--page-size", "148x210", "--smallest", "1.5", "--scan-seconds", "13")
    result = run("qualify", blanks, "--scanner", "heron", *job, "--json", "x.json", cwd=tmp_path)
    assert result.exit_code == 0, result.output
    plan = json.loads((tmp_path / "x.json").read_text("utf-8"))["plan"]
    assert plan["pages_per_hour"] == pytest.approx(200)  # 13 s and 5 s to turn
    assert plan["sizes"][0]["bytes"] == round(148 / 25.4 * 300) * round(210 / 25.4 * 300) * 3
    assert "blank paper" in plan["sizes"][1]["basis"]
    assert "200 pages/hour, 1.5 h, 1 day of 4 h" in result.stdout
    page = check_page(tmp_path).read_text("utf-8")
    assert "Plan for 300 pages" in page


def test_the_page_for_a_seller_is_written_when_asked_for_or_called_for(blanks, tmp_path):
    run("qualify", blanks, "--scanner", "heron", cwd=tmp_path)
    day = check_page(tmp_path).stem.removeprefix("heron-check-")
    page = tmp_path / f"reports/heron-evidence-{day}.html"
    assert not page.exists()  # two sound blanks: nothing is found wrong
    asked = ("--evidence", "--json", "x.json")
    result = run("qualify", blanks, "--scanner", "heron", *asked, cwd=tmp_path)
    pages = [str(p.relative_to(tmp_path)) for p in (page, check_page(tmp_path))]
    assert result.stdout.splitlines()[-3:-1] == pages
    assert page.name in (tmp_path / "reports/index.html").read_text("utf-8")
    text = page.read_text("utf-8")
    for scan in json.loads((tmp_path / "x.json").read_text("utf-8"))["scans"]:
        assert scan["sha256"] in text
    result = run("qualify", blanks, "--scanner", "heron", "--no-evidence", cwd=tmp_path)
    assert "is of earlier scans" in result.stderr  # the page from before still lies there
    assert result.exit_code == 0


def test_uses_of_ones_own_replace_ours_and_the_report_says_so(blanks, tmp_path):
    (tmp_path / "mine.toml").write_text(
        """
        [[use]]
        name = "wrappers"
        sentence = "Fruit wrappers in one colour"
        [[use.condition]]
        measure = "noise.total"
        statistic = "median"
        operator = "<="
        fit = 50
        limited = 60
        words = "noise"
        """,
        "utf-8",
    )
    own = ("--uses", "mine.toml", "--json", "-")
    result = run("qualify", blanks, "--scanner", "heron", *own, cwd=tmp_path)
    document = json.loads(result.stdout)
    assert [(u["use"], u["fitness"]) for u in document["outcome"]["uses"]] == [("wrappers", "fit")]
    assert "mine.toml" in document["conditions"]["limits"]
    assert "mine.toml" in check_page(tmp_path).read_text("utf-8")


def test_sheets_writes_the_pdfs_for_one_paper(tmp_path):
    result = run("sheets", "--size", "a4", "--out", "mine", cwd=tmp_path)
    assert result.exit_code == 0
    written = sorted(p.name for p in (tmp_path / "mine").iterdir())
    assert {"bed-sheet-a4.pdf", "edge-strip-a4.pdf"} <= set(written)
    assert all(name.endswith("-a4.pdf") for name in written)


def test_the_guide_has_every_option_with_its_help():
    from scanqa.cli import option_table

    guide = Path(option_table.__file__).with_name("README.md").read_text("utf-8")
    assert guide == option_table.option_table(), "run python -m scanqa.cli.option_table"
    for option in ("--edge-response", "--no-keep", "--since", "--print"):
        assert f"`{option}`" in guide
