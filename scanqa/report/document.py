"""A record as one JSON document, schema ``scanqa.qualification/1``.

The JSON Schema that the package ships (``schema/qualification-1.json``) describes every property;
a document is checked against it before it is written. What is unknown is ``null``, and where a
value is missing the reason stands beside it. NaN and infinity never leave.
"""

from __future__ import annotations

import dataclasses
import json
import math
import sys
from importlib import resources
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np

from scanqa.model import Mark, Measurement, Record, ScanFacts, Streak
from scanqa.whole import write_whole

SCHEMA = "scanqa.qualification/1"


def document(record: Record) -> dict[str, Any]:
    """Everything a record holds but its pictures, in types that JSON knows.

    Parameters
    ----------
    record : Record
        One qualification.

    Returns
    -------
    dict
        Keys in the order of the schema.

    Raises
    ------
    ValueError
        If a number anywhere is not finite: a bug in a measure, named by its place.
    """
    results, judgement = record.results, record.judgement
    whole = {
        "schema": SCHEMA,
        "scanner": record.scanner,
        "tool_version": record.tool_version,
        "created": record.created,
        "conditions": dict(record.conditions),
        "scans": [_scan(facts) for facts in record.scans],
        "rejected": [dataclasses.asdict(file) for file in record.rejected],
        "measures": [_measure(m) for m in results.measurements],
        "streaks": [_placed(streak) for streak in results.streaks],
        "glass_marks": [_placed(mark) for mark in results.marks],
        "findings": [dataclasses.asdict(finding) for finding in judgement.findings],
        "actions": [dataclasses.asdict(action) for action in judgement.actions],
        "outcome": dataclasses.asdict(judgement.outcome),
        "legibility": [dataclasses.asdict(each) for each in judgement.legibility],
        "plan": dataclasses.asdict(record.plan) if record.plan else None,
    }
    plain: dict[str, Any] = _plain(whole, "document")
    return plain


def schema() -> dict[str, Any]:
    """The JSON Schema (Draft 2020-12) of the document, as shipped."""
    file = resources.files("scanqa.report") / "schema" / "qualification-1.json"
    loaded: dict[str, Any] = json.loads(file.read_text("utf-8"))
    return loaded


def check(text: str) -> str | None:
    """Why a text is not a document of this schema, in one line, or None if it is one."""
    import jsonschema

    try:
        jsonschema.Draft202012Validator(schema()).validate(json.loads(text))
    except json.JSONDecodeError as error:
        return f"not JSON ({error.msg})"
    except jsonschema.ValidationError as error:
        return f"not a qualification: {error.json_path} {error.message}"[:200]
    return None


def write_json(record: Record, path: str | PathLike[str]) -> None:
    """Write the document of a record, to standard output if `path` is ``-``.

    Raises
    ------
    BadOption
        If the file cannot be written.
    jsonschema.ValidationError
        If the document breaks its own schema (a bug, not the user's doing).
    """
    import jsonschema

    whole = document(record)
    jsonschema.Draft202012Validator(schema()).validate(whole)
    text = json.dumps(whole, ensure_ascii=False, allow_nan=False, indent=1) + "\n"
    if str(path) == "-":
        sys.stdout.write(text)
    else:
        write_whole(Path(path), text)


def _scan(facts: ScanFacts) -> dict[str, Any]:
    return {**dataclasses.asdict(facts), "modified": facts.modified or None}


def _measure(m: Measurement) -> dict[str, Any]:
    return {
        "name": m.name,
        "value": m.value,
        "unit": m.unit,
        "uncertainty": m.uncertainty,
        "status": m.status,
        "reason": m.reason or None,
        "scan": m.scan or None,
        "at_mm": m.at_mm,
        "direction": m.direction,
        "channel": m.channel,
        "edge_kind": m.edge_kind,
    }


def _placed(thing: Streak | Mark) -> dict[str, Any]:
    return {**dataclasses.asdict(thing), "scan": thing.scan or None}


def _plain(value: Any, place: str) -> Any:
    """Lists for tuples, Python's numbers for numpy's; refuses what is not finite."""
    if isinstance(value, dict):
        return {key: _plain(item, f"{place}.{key}") for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(item, f"{place}[{at}]") for at, item in enumerate(value)]
    if isinstance(value, np.generic):
        value = value.item()
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError(f"{place} is {value}, not a number")
    return value
