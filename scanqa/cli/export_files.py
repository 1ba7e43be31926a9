"""Records as files for other programs, by the format that is asked for."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import click

from scanqa.errors import BadOption

NEEDS = {"parquet": "pyarrow", "prometheus": "prometheus_client"}


def export_files(scanner: str | None, kind: str, to: Path | None, records: str | None) -> None:
    """Write the records of a scanner, or of all, and say which files were written.

    Raises
    ------
    BadOption
        If the place or the library is missing.
    """
    from importlib.util import find_spec

    from scanqa.records.database import open_store

    if to is None:
        raise BadOption(f"--format {kind}: say where, with --to")
    library = NEEDS.get(kind)
    if library and find_spec(library) is None:
        raise BadOption(f"--format {kind} needs {library}: pip install 'scanqa[{kind}]'")
    writers: dict[str, Callable[[Any, str | None, Path], None]] = {
        "parquet": _parquet, "datapackage": _package, "prometheus": _metrics,
    }  # fmt: skip
    with open_store(records) as engine:
        writers[kind](engine, scanner, to)


def _parquet(engine: Any, scanner: str | None, folder: Path) -> None:
    from scanqa.exports.columns import CHECKS, SCANNERS, VALUES
    from scanqa.exports.parquet import write_parquet
    from scanqa.records.rows_out import check_rows, months, scanner_rows, value_rows

    for month in months(engine, scanner):
        rows = value_rows(engine, scanner, month=month)
        _wrote(folder / f"values-{month}.parquet", VALUES.name,
               write_parquet(rows, VALUES, folder / f"values-{month}.parquet"))  # fmt: skip
    for table, some in ((CHECKS, check_rows), (SCANNERS, scanner_rows)):
        path = folder / f"{table.name}.parquet"
        _wrote(path, table.name, write_parquet(some(engine, scanner), table, path))


def _package(engine: Any, scanner: str | None, folder: Path) -> None:
    from scanqa.exports.columns import CHECKS, SCANNERS, VALUES
    from scanqa.exports.data_package import write_csv, write_descriptor
    from scanqa.records.rows_out import check_rows, scanner_rows, value_rows

    tables = ((VALUES, value_rows), (CHECKS, check_rows), (SCANNERS, scanner_rows))
    for table, some in tables:
        path = folder / f"{table.name}.csv"
        _wrote(path, table.name, write_csv(some(engine, scanner), table, path))
    now = datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z")
    click.echo(write_descriptor([table for table, _ in tables], folder, created=now))


def _metrics(engine: Any, scanner: str | None, path: Path) -> None:
    from scanqa.exports.text_metrics import write_metrics
    from scanqa.records.fleet.gather import gather
    from scanqa.records.fleet.overlook import overlook
    from scanqa.records.rows_out import newest_values

    if scanner is not None:
        raise BadOption("--format prometheus is of all scanners; leave the name out")
    if path.suffix != ".prom" or path.is_dir():
        raise BadOption(f"--to {path}: name a file FILE.prom: a textfile collector reads no other")
    units = gather(engine)
    found = overlook(units, today=date.today())
    _wrote(path, "samples", write_metrics(found, newest_values(units), path))


def _wrote(path: Path, what: str, count: int) -> None:
    click.echo(f"{path}: {count} {what}")
