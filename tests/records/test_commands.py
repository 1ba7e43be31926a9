"""The commands around the records, as a user meets them."""

import csv
import io
import json

import pytest
from click.testing import CliRunner

from scanqa.cli import main
from scanqa.findings import judge
from scanqa.model import Measurement, Outcome, Record, Results, ScanFacts
from scanqa.report.document import document


def run(*args, **options):
    return CliRunner().invoke(main, [str(a) for a in args], catch_exceptions=False, **options)


def qualification(scanner="heron", noise=0.3, number=0, **conditions):
    facts = ScanFacts(
        "blank-1.tif", "blank", 2480, 3508, 8, 3, (300.0, 300.0), "file", 0, None, "tiff", False,
        "sRGB assumed", f"{number:064x}", "",
    )  # fmt: skip
    results = Results((Measurement("noise.total", noise, 0.01, scan="blank-1.tif"),))
    judgement = judge(results, (facts,))
    assert isinstance(judgement.outcome, Outcome)
    record = Record(
        scanner, "2026-11-25T10:00:00+00:00", "0.1.0", (facts,), results, judgement, (), conditions
    )
    return document(record)


@pytest.fixture
def filled():
    lines = [qualification(noise=0.30 + 0.01 * (i % 3), number=i, date=f"2026-{i + 1:02}-01")
             for i in range(6)]  # fmt: skip
    lines.append(qualification("wren", noise=0.9, number=99))
    text = "\n".join(map(json.dumps, lines))
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
    text = "\n".join([json.dumps(qualification()), "{}", "not json"])
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
    assert "heron is better in noise: total" in result.stdout
    path = tmp_path / "same.json"
    path.write_text(json.dumps(qualification()))
    assert "No difference shown" in run("compare", "1", path).stdout
    missing = run("compare", "heron", "absent.json")
    assert missing.exit_code == 2
    assert len(missing.stderr.splitlines()) == 1
