"""CSV tables with a descriptor that says what is in them: a tabular data package.

Layout after the Data Package, Data Resource and Table Schema specifications (Frictionless Data,
version 1): ``datapackage.json`` beside the tables it names, with types, keys, sizes and hashes.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from scanqa.exports.columns import Column, Out
from scanqa.whole import hash_of, whole, write_whole

DESCRIPTOR = "datapackage.json"
_FORMATS = {"datetime": "default", "date": "default"}  # ISO 8601


def write_csv(rows: Iterable[Mapping[str, Any]], table: Out, path: Path) -> int:
    """Write a table as CSV (RFC 4180), whole or not at all; how many rows there were.

    Raises
    ------
    BadOption
        If the file cannot be written.
    """
    count = 0
    with whole(path) as passing, passing.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow([column.name for column in table.columns])
        for row in rows:
            writer.writerow([_cell(row[column.name], column) for column in table.columns])
            count += 1
    return count


def _cell(value: Any, column: Column) -> Any:
    """A value as the specification writes it: times end in Z."""
    if value is None:
        return ""
    return value.replace("+00:00", "Z") if column.kind == "datetime" else value


def write_descriptor(tables: Iterable[Out], folder: Path, *, created: str) -> Path:
    """Write the descriptor of CSV tables that lie in a folder; call it last.

    Parameters
    ----------
    created : str
        ISO 8601, UTC.
    """
    package = {
        "profile": "tabular-data-package",
        "name": "scanqa-records",
        "title": "Checks of scanners, as scanqa measured them",
        "created": created,
        "resources": [_resource(table, folder) for table in tables],
    }
    path = folder / DESCRIPTOR
    write_whole(path, json.dumps(package, indent=2, ensure_ascii=False) + "\n")
    return path


def _resource(table: Out, folder: Path) -> dict[str, Any]:
    name = f"{table.name}.csv"
    digest = hash_of(folder / name)
    schema: dict[str, Any] = {
        "fields": [_field(column, table) for column in table.columns],
        "primaryKey": list(table.key),
        "missingValues": [""],
    }
    if table.of:
        schema["foreignKeys"] = [
            {"fields": [mine], "reference": {"resource": other, "fields": [theirs]}}
            for mine, other, theirs in table.of
        ]
    return {
        "profile": "tabular-data-resource",
        "name": table.name,
        "path": name,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "bytes": (folder / name).stat().st_size,
        "hash": f"sha256:{digest}",
        "schema": schema,
    }


def _field(column: Column, table: Out) -> dict[str, Any]:
    field: dict[str, Any] = {
        "name": column.name, "type": column.kind, "description": column.words,
    }  # fmt: skip
    if column.kind in _FORMATS:
        field["format"] = _FORMATS[column.kind]
    if column.always:
        field["constraints"] = {"required": True}
    return field
