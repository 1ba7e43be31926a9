"""Exports as other programs read them.

The data package is validated by ``frictionless``, the specification's own library; Parquet is read
back by pyarrow, metrics by prometheus-client's parser; what they should hold is asked of SQLite.
"""

import json
import os
import re
import sqlite3
from contextlib import closing
from datetime import UTC, datetime

import pytest

from scanqa.cli import export_files
from scanqa.model import Identity, Shared
from scanqa.records import store
from scanqa.records.database import open_store
from scanqa.records.scanners import keep_identity
from tests.records.builders import measure, qualification
from tests.records.test_commands import run

ODD = 'an "attic",\nleft; 2'  # in a place's name


@pytest.fixture
def database(tmp_path):
    """Five checks of two scanners over three months; nulls and bounds among the values."""
    path = tmp_path / "r.sqlite"
    with open_store(str(path)) as engine:
        keep_identity(engine, Identity("heron", make="Larkfield", site=ODD, acquired="2025-12-24"))
        for number, day in enumerate(("2026-01-05", "2026-01-31", "2026-02-05", "2026-03-05")):
            for scanner in ("heron", "wren")[: 1 + (number == 0)]:
                scan = f"{scanner}{number}.tif"
                store.add(engine, qualification(
                    [f"{scanner}{number}"], scanner=scanner, conditions={"date": day},
                    measures=[
                        measure("noise.total", 1 / 3 + number, 0.1, scan=scan, channel="luma"),
                        measure("noise.snr", 40.0, None, scan=scan, status="at-least"),
                        measure("noise.temporal", 0.2, 0.01, scan=scan, status="between",
                                low=0.1, high=0.4, shared=(Shared("print", "", 0.005),)),
                    ],
                ))  # fmt: skip
    return path


def asked(database, query):
    """Rows as SQLite has them."""
    with closing(sqlite3.connect(database)) as connection:
        connection.row_factory = sqlite3.Row
        return [dict(row) for row in connection.execute(query)]


VALUES = """SELECT record_id AS record, scanner, taken, name, direction, channel, edge_kind, dpi,
    value, random, status, low, high, unit, count, method_version
    FROM value JOIN record ON record.id = record_id ORDER BY taken, record_id, name"""


def test_parquet_has_a_file_for_each_month_and_every_number(database, tmp_path):
    import pyarrow.parquet as pq

    found = run("records", "export", "--records", database, "--format", "parquet", "--to",
                tmp_path / "out")  # fmt: skip
    assert found.exit_code == 0, found.output
    files = sorted(path.name for path in (tmp_path / "out").iterdir())
    assert files == [
        "checks.parquet", "scanners.parquet", "values-2026-01.parquet", "values-2026-02.parquet",
        "values-2026-03.parquet",
    ]  # fmt: skip
    rows = [
        row
        for path in sorted((tmp_path / "out").glob("values-*"))
        for row in pq.read_table(path).to_pylist()
    ]
    rows.sort(key=lambda row: (row["taken"], row["record"], row["name"]))
    wanted = asked(database, VALUES)
    assert len(rows) == 15
    for row in wanted:
        row["taken"] = datetime.fromisoformat(row["taken"])
        row |= {name: row[name] or None for name in ("direction", "channel", "edge_kind", "unit")}
    assert rows == wanted
    assert rows[0]["taken"].tzinfo is not None
    (unit,) = pq.read_table(tmp_path / "out" / "scanners.parquet").to_pylist()
    assert (unit["site"], unit["acquired"].isoformat(), unit["serial"]) == (ODD, "2025-12-24", None)
    field = pq.read_schema(tmp_path / "out" / "checks.parquet").field("taken")
    assert b"UTC" in field.metadata[b"description"]


def test_the_data_package_is_valid_and_whole(database, tmp_path):
    import frictionless

    folder = tmp_path / "package"
    found = run(
        "records", "export", "--records", database, "--format", "datapackage", "--to", folder
    )
    assert found.exit_code == 0, found.output
    report = frictionless.validate(str(folder / "datapackage.json"))
    assert report.valid, report.flatten(["title", "note"])
    package = frictionless.Package(str(folder / "datapackage.json"))
    assert [(r.name, len(r.read_rows())) for r in package.resources] == [
        ("values", 15), ("checks", 5), ("scanners", 1),
    ]  # fmt: skip
    (unit,) = package.get_resource("scanners").read_rows()
    assert unit["site"] == ODD
    first = package.get_resource("values").read_rows()[0]
    assert float(first["value"]) == asked(database, VALUES)[0]["value"]
    assert first["taken"] == datetime(2026, 1, 5, tzinfo=UTC)
    # and the validation does look: a broken cell, and a number of a record that there is not
    table = folder / "values.csv"
    table.write_text(table.read_text("utf-8").replace("2026-01-05T", "January 5 ", 1), "utf-8")
    assert not frictionless.validate(str(folder / "datapackage.json")).valid


def test_one_scanner_alone_is_exported(database, tmp_path):
    run(
        "records",
        "export",
        "wren",
        "--records",
        database,
        "--format",
        "datapackage",
        "--to",
        tmp_path / "w",
    )
    lines = (tmp_path / "w" / "checks.csv").read_text("utf-8").splitlines()
    assert len(lines) == 2
    assert ",wren," in lines[1]


def test_metrics_are_whole_parsed_and_have_no_times(database, tmp_path):
    from prometheus_client.parser import text_string_to_metric_families

    path = tmp_path / "node" / "scanqa.prom"
    found = run("records", "export", "--records", database, "--format", "prometheus", "--to", path)
    assert found.exit_code == 0, found.output
    text = path.read_text("utf-8")
    families = {family.name: family for family in text_string_to_metric_families(text)}
    samples = [sample for family in families.values() for sample in family.samples]
    assert all(sample.timestamp is None for sample in samples)
    last = {
        s.labels["scanner"]: s.value
        for s in families["scanqa_last_check_timestamp_seconds"].samples
    }
    assert last["heron"] == datetime(2026, 3, 5, tzinfo=UTC).timestamp()
    counts = {s.labels["scanner"]: s.value for s in families["scanqa_checks"].samples}
    assert counts == {"heron": 4, "wren": 1}
    total = [s for s in families["scanqa_measure"].samples if s.labels["measure"] == "noise.total"]
    assert {s.labels["scanner"]: s.value for s in total} == pytest.approx(
        {"heron": 3 + 1 / 3, "wren": 1 / 3}
    )
    assert families["scanqa_checks_late"].samples[0].value == 2
    assert os.listdir(path.parent) == ["scanqa.prom"]  # no passing file is left


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("--format", "parquet"), "say where, with --to"),
        (("--format", "prometheus", "--to", "x.txt"), "name a file FILE.prom"),
        (("heron", "--format", "prometheus", "--to", "x.prom"), "is of all scanners"),
        (("--format", "csv", "--to", "x"), "goes to standard output"),
        (("--format", "parquet", "--to", "/proc/none"), "cannot be written"),
        (("--format", "datapackage", "--to", "/proc/none"), "cannot be written"),
        (("--format", "prometheus", "--to", "/proc/none/x.prom"), "cannot be written"),
    ],
)
def test_what_cannot_be_exported_is_one_line(database, args, words):
    found = run("records", "export", "--records", database, *args)
    assert found.exit_code == 2
    (line,) = found.stderr.splitlines()
    assert words in line


@pytest.mark.parametrize("kind", ["parquet", "prometheus"])
def test_a_library_that_is_missing_is_named(database, tmp_path, monkeypatch, kind):
    monkeypatch.setitem(export_files.NEEDS, kind, "no_such_library")
    found = run(
        "records", "export", "--records", database, "--format", kind, "--to", tmp_path / "x.prom"
    )
    assert found.exit_code == 2
    assert re.search(rf"needs no_such_library: pip install 'scanqa\[{kind}\]'", found.stderr)


def test_the_descriptor_names_types_keys_sizes_and_hashes(database, tmp_path):
    run(
        "records",
        "export",
        "--records",
        database,
        "--format",
        "datapackage",
        "--to",
        tmp_path / "p",
    )
    package = json.loads((tmp_path / "p" / "datapackage.json").read_text("utf-8"))
    values = package["resources"][0]
    assert values["bytes"] == (tmp_path / "p" / "values.csv").stat().st_size
    assert values["schema"]["primaryKey"][0] == "record"
    types = {field["name"]: field["type"] for field in values["schema"]["fields"]}
    assert (types["taken"], types["value"], types["dpi"]) == ("datetime", "number", "integer")
