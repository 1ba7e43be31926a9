"""Apache Parquet by pyarrow: a file for each month of checks, not one for each check."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from itertools import islice
from pathlib import Path
from typing import Any

from scanqa.exports.columns import Column, Out
from scanqa.whole import whole

AT_ONCE = 50_000  # rows in memory, and in a row group


def write_parquet(rows: Iterable[Mapping[str, Any]], table: Out, path: Path) -> int:
    """Write a table to a file, whole or not at all; how many rows there were.

    Texts that say nothing are null, times are UTC with their zone, and the words on each column
    stand in its metadata. Needs pyarrow.

    Raises
    ------
    BadOption
        If the file cannot be written.
    """
    import pyarrow
    import pyarrow.parquet

    schema = pyarrow.schema(
        [
            pyarrow.field(c.name, _arrow(c), not c.always, metadata={"description": c.words})
            for c in table.columns
        ]
    )
    waiting, count = iter(rows), 0
    with (
        whole(path) as passing,
        pyarrow.parquet.ParquetWriter(passing, schema, compression="zstd") as writer,
    ):
        while some := list(islice(waiting, AT_ONCE)):
            columns = [
                pyarrow.array([_plain(row[c.name], c) for row in some], _arrow(c))
                for c in table.columns
            ]
            writer.write_table(pyarrow.Table.from_arrays(columns, schema=schema))
            count += len(some)
    return count


def _arrow(column: Column) -> Any:
    import pyarrow

    return {
        "integer": pyarrow.int64(),
        "number": pyarrow.float64(),
        "string": pyarrow.string(),
        "datetime": pyarrow.timestamp("s", tz="UTC"),
        "date": pyarrow.date32(),
    }[column.kind]


def _plain(value: Any, column: Column) -> Any:
    """A value as Arrow takes it."""
    if value in ("", None):
        return "" if column.always and column.kind == "string" else None
    if column.kind == "datetime":
        return datetime.fromisoformat(value)
    return date.fromisoformat(value) if column.kind == "date" else value
