"""The commands around the records, as a user meets them."""

import csv
import io
import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from scanqa.cli import main
from scanqa.codec import to_json_line
from scanqa.findings import judge
from scanqa.model import Measurement, Record, Results, ScanFacts
from scanqa.records import store
from tests.test_cli import SEED, blank_pixels, save


def run(*args, **options):
    return CliRunner().invoke(main, [str(a) for a in args], catch_exceptions=False, **options)


def qualification(scanner="heron", noise=0.3, number=0, **conditions):
    facts = ScanFacts(
        "blank-1.tif", "blank", 2480, 3508, 8, 3, (300.0, 300.0), "file", 0, None, "tiff", False,
        "sRGB assumed", f"{number:064x}", "",
    )  # fmt: skip
    results = Results((Measurement("noise.temporal", noise, 0.01, scan="blank-1.tif"),))
    judgement = judge(results, (facts,))
    record = Record(
        scanner=scanner, created="2026-11-25T10:00:00+00:00", tool_version="0.1.0",
        scans=(facts,), measures=results.measurements, streaks=(), glass_marks=(),
        findings=judgement.findings, actions=judgement.actions, outcome=judgement.outcome,
        conditions=conditions,
    )  # fmt: skip
    return to_json_line(record)


@pytest.fixture
def filled():
    lines = [qualification(noise=0.30 + 0.01 * (i % 3), number=i, date=f"2026-{i + 1:02}-01")
             for i in range(6)]  # fmt: skip
    lines.append(qualification("wren", noise=0.9, number=99))
    text = "\n".join(lines)
    assert run("records", "import", "-", input=text).exit_code == 0
    return text


def test_export_and_import_give_the_same_records(filled, tmp_path):
    exported = run("records", "export").stdout
    assert sorted(map(json.loads, exported.splitlines()), key=str) == sorted(
        map(json.loads, filled.splitlines()), key=str
    )
    other = f"sqlite:///{tmp_path / 'other.sqlite'}"
    result = run("records", "import", "-", "--records", other, input=exported)
    assert "7 added, 0 known already" in result.stdout
    again = run("records", "import", "-", "--records", other, input=exported)
    assert "0 added, 7 known already" in again.stdout


def test_csv_has_a_row_per_number(filled):
    rows = list(csv.DictReader(io.StringIO(run("records", "export", "--format", "csv").stdout)))
    assert len(rows) == 7
    assert {row["unit"] for row in rows} == {"L*"}
    assert {row["dpi"] for row in rows} == {"300"}
    guide = (Path(store.__file__).parent / "README.md").read_text("utf-8")
    assert ", ".join(rows[0]) in re.sub(r"\s+", " ", guide)
    assert rows[0]["taken"] == "2026-01-01T00:00:00+00:00"


def test_list_show_and_remove(filled):
    listed = run("records", "list", "wren").stdout.split()
    number = listed[0]
    assert json.loads(run("records", "show", number).stdout)["scanner"] == "wren"
    assert run("records", "remove", number).exit_code == 0
    gone = run("records", "show", number)
    assert gone.exit_code == 2
    assert len(gone.stderr.splitlines()) == 1


def test_a_bad_line_is_named_and_the_others_are_added():
    text = "\n".join([qualification(), "{}", "not json"])
    result = run("records", "import", "-", input=text)
    assert result.exit_code == 2
    assert "1 added" in result.stdout
    assert "line 2" in result.stderr
    assert "line 3" in result.stderr


def test_event_and_history(filled):
    assert "steady" in run("history", "heron").stdout
    assert run("event", "heron", "glass cleaned", "--date", "2026-03-15").exit_code == 0
    assert "event 2026-03-15, glass cleaned:" in run("history", "heron").stdout
    assert "(known)" in run("event", "heron", "glass cleaned", "--date", "2026-03-15").stdout


def test_history_of_a_stranger_and_a_bad_limit_are_one_line(filled):
    for args in (("stranger",), ("heron", "--limit", "banana=3"), ("heron", "--limit", "x")):
        result = run("history", *args)
        assert result.exit_code == 2
        assert len(result.stderr.splitlines()) == 1


def test_compare_by_name_number_and_file(filled, tmp_path):
    result = run("compare", "heron", "wren")
    assert "heron is better in noise: temporal" in result.stdout
    path = tmp_path / "same.json"
    path.write_text(qualification())
    assert "No difference shown" in run("compare", "1", path).stdout
    missing = run("compare", "heron", "absent.json")
    assert missing.exit_code == 2
    assert len(missing.stderr.splitlines()) == 1


# ------------------------------------------------------------------------------------- pages


def test_compare_before_and_after_an_event_and_by_date(filled, tmp_path):
    """Checks on the first of each month, January to June; noise in turn 0.30, 0.31, 0.32."""

    def compared(first, second):
        result = run("compare", first, second, "--all")
        assert result.exit_code == 0, result.stderr
        (line,) = (each for each in result.stdout.splitlines() if "Temporal noise:" in each)
        return tuple(float(v) for v in re.search(r"([\d.]+) and ([\d.]+)", line).groups())

    no_event = run("compare", "heron@before", "heron@after")
    assert no_event.exit_code == 2
    assert "no event" in no_event.stderr
    run("event", "heron", "mirror cleaned", "--date", "2026-03-15")
    assert compared("heron@before", "heron@after") == (0.32, 0.32)  # March and June
    assert compared("heron@2026-02-01", "heron@2026-04-30") == (0.31, 0.30)
    page = tmp_path / "heron-before-heron-after.html"
    run("compare", "heron@before", "heron@after", "--report", "--out", tmp_path)
    assert "heron before" in page.read_text("utf-8")
    for side, words in (
        ("heron@2025-12-31", "2026-01-01"),
        ("heron@yesterday", "not a date"),
        ("nobody@before", "no event"),
    ):
        refused = run("compare", side, "heron")
        assert refused.exit_code == 2
        assert words in refused.stderr
        assert len(refused.stderr.splitlines()) == 1


def test_history_report_is_written_and_its_path_printed(filled, tmp_path):
    result = run("history", "heron", "--report", "--out", tmp_path)
    page = tmp_path / "heron-history.html"
    assert result.stdout.splitlines()[-1] == str(page)
    assert "6 checks" in page.read_text("utf-8")
    assert "heron-history.html" in (tmp_path / "index.html").read_text("utf-8")


def test_history_since_a_date_leaves_earlier_checks_out(filled):
    assert "3 checks" in run("history", "heron", "--since", "2026-04-01").stdout
    assert run("history", "heron", "--since", "whenever").exit_code == 2


def test_compare_report_with_prices_and_hours(filled, tmp_path):
    options = ("--price", 60, 140, "--hours", 12, 9, "--report", "--out", tmp_path)
    result = run("compare", "heron", "wren", *options)
    assert "wren costs 80 more and is shown to be better in nothing that matters." in result.stdout
    page = tmp_path / "heron-wren.html"
    assert result.stdout.splitlines()[-1] == str(page)
    assert "Each hour saved costs 26.7 of the price." in page.read_text("utf-8")
    again = run("compare", "1", "2,3", "--report", "--out", tmp_path)
    assert again.stdout.splitlines()[-1] == str(tmp_path / "heron-1-heron-2-3.html")
    assert run("compare", "heron", "wren", "--price", -1, 2).exit_code == 2


# ------------------------------------------------------------------------- qualify looks back


@pytest.fixture
def blanks(tmp_path):
    """Two folders of two blank scans each, a month apart; the second with a dark streak."""
    folders = []
    for month in (1, 2):
        folder = tmp_path / f"month-{month}"
        folder.mkdir()
        for number in (1, 2):
            pixels = blank_pixels(SEED + 10 * month + number)
            if month == 2:
                pixels[:, 300] -= 12
            save(folder / f"blank-{number}.tif", pixels)
        folders.append(folder)
    return folders


def test_qualify_says_what_is_new_and_the_report_gains_the_history(blanks, tmp_path):
    out = tmp_path / "reports"
    first = run("qualify", blanks[0], "--scanner", "owl", "--out", out, "--date", "2026-01-05")
    assert "Since" not in first.stdout
    assert "Over time" not in (out / "owl-check-2026-01-05.html").read_text("utf-8")
    second = run(
        "qualify", blanks[1], "--scanner", "owl", "--out", out, "--date", "2026-02-05",
        "--temperature", 21,
    )  # fmt: skip
    kept = [json.loads(line) for line in run("records", "export", "owl").stdout.splitlines()]
    assert kept[1]["conditions"] == {"temperature": "21 °C", "date": "2026-02-05"}
    assert "Since 2026-01-05: new dark line at x 50.9 mm" in second.stdout
    page = out / "owl-check-2026-02-05.html"
    assert str(page) in second.stdout.splitlines()
    html = page.read_text("utf-8")
    assert "Over time" in html
    assert "new dark line at x" in html
    assert f'href="{page.name}"' in (out / "index.html").read_text("utf-8")


def test_records_that_cannot_be_used_cost_one_line_not_the_report(blanks, tmp_path):
    bad = tmp_path / "letter.sqlite"
    bad.write_text("a letter, not a database\n" * 100)
    out = tmp_path / "reports"
    result = run("qualify", blanks[0], "--scanner", "owl", "--out", out, "--records", bad)
    assert result.exit_code == 2
    (line,) = result.stderr.splitlines()
    assert "not put on record" in line
    assert list(out.glob("owl-check-*.html"))


def test_a_scanner_cannot_take_the_name_of_the_index(blanks, tmp_path):
    result = run("qualify", blanks[0], "--scanner", "Index", "--out", tmp_path / "reports")
    assert result.exit_code == 2
    assert "index" in result.stderr
