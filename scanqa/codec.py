"""A record as JSON and back: one codec (msgspec) over the frozen types.

The document is the record (``scanqa.qualification/2``); its JSON Schema is made from the types and
their docstrings (``python -m scanqa.codec`` prints it; ``record.schema.json`` holds it). What is
unknown is ``null`` with the reason beside it; NaN and infinity never leave or enter.
"""

from __future__ import annotations

import dataclasses
import inspect
import math
import re
from collections.abc import Iterator
from datetime import datetime
from os import PathLike
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

from scanqa import model
from scanqa.errors import NotARecord
from scanqa.model import SCHEMA, Record
from scanqa.model.job_record import JOB_SCHEMA, JobRecord
from scanqa.model.watched import Watched
from scanqa.whole import write_whole

LARGEST = 2.0**53
FIRST_YEAR, LAST_YEAR = 1980, 2200  # of a scan: scanners are not older

_TEXT = msgspec.json.Decoder(Record)


def read_record(path: str | PathLike[str]) -> Record:
    """The record in a file that ``scanqa qualify --json`` or `write_record` wrote.

    Parameters
    ----------
    path : str or path
        A JSON document of schema ``scanqa.qualification/2``.

    Raises
    ------
    NotARecord
        If the file cannot be read or holds no such document, in one line with its name.
    """
    try:
        return from_json(Path(path).read_bytes())
    except OSError as error:
        raise NotARecord(f"{path}: cannot be read ({error.strerror})") from error
    except NotARecord as error:
        raise NotARecord(f"{path}: {error}") from None


def write_record(record: Record, path: str | PathLike[str]) -> None:
    """Write a record as JSON, whole or not at all.

    Parameters
    ----------
    path : str or path
        The file; its folder is made if it is not there.

    Raises
    ------
    BadOption
        If the file cannot be written.
    """
    write_whole(Path(path), to_json(record))


def to_json(record: Record) -> str:
    """The document of a record, on lines.

    Raises
    ------
    ValueError
        If a number anywhere is not finite: a bug in a measure, named by its place.
    """
    return msgspec.json.format(msgspec.json.encode(to_builtins(record)), indent=1).decode() + "\n"


def to_json_line(record: Record) -> str:
    """The document on one line; raises as `to_json`."""
    return msgspec.json.encode(to_builtins(record)).decode()


def to_document(found: Watched | JobRecord) -> str:
    """The document of a watched job or of its record, on lines; raises as `to_json`."""
    whole: dict[str, Any] = msgspec.to_builtins(found, enc_hook=_plain_number)
    for place, number in _numbers(whole, "job"):
        if not math.isfinite(number):
            raise ValueError(f"{place} is {number}, not a number")
    ordered = {"schema": whole.pop("schema"), **whole}
    return msgspec.json.format(msgspec.json.encode(ordered), indent=1).decode() + "\n"


def read_job_record(path: str | PathLike[str]) -> JobRecord:
    """The record in a file that ``scanqa job record`` wrote; raises as `read_record`."""
    try:
        data = Path(path).read_bytes()
        stated = msgspec.json.decode(data, type=_Head).schema
        if stated != JOB_SCHEMA:
            raise NotARecord(f"{path}: its schema is {stated[:60]!r}, not {JOB_SCHEMA!r}")
        return msgspec.json.decode(data, type=JobRecord)
    except OSError as error:
        raise NotARecord(f"{path}: cannot be read ({error.strerror})") from error
    except msgspec.DecodeError as error:
        raise NotARecord(f"{path}: not a job's record ({_one_line(error)})") from None


def to_builtins(record: Record) -> dict[str, Any]:
    """The document in Python's own types; raises as `to_json`."""
    whole: dict[str, Any] = msgspec.to_builtins(record, enc_hook=_plain_number)
    for place, number in _numbers(whole, "record"):
        if not math.isfinite(number):
            raise ValueError(f"{place} is {number}, not a number")
    return {"schema": whole.pop("schema"), **whole}


def from_json(text: str | bytes) -> Record:
    """The record that a document holds.

    Raises
    ------
    NotARecord
        In one line: not JSON, of another schema, or what is wrong with it and where.
    """
    data = text.encode("utf-8", "replace") if isinstance(text, str) else text
    try:
        stated = msgspec.json.decode(data, type=_Head).schema
        if stated != SCHEMA:
            raise NotARecord(f"its schema is {stated[:60]!r}, not {SCHEMA!r}")
        return _TEXT.decode(data)
    except RecursionError:
        raise NotARecord("nested too deeply") from None
    except msgspec.ValidationError as error:
        raise NotARecord(f"not a qualification: {_one_line(error)}") from None
    except msgspec.DecodeError as error:
        raise NotARecord(f"not JSON ({_one_line(error)})") from None
    except (ValueError, OverflowError) as error:  # numbers too large for anything
        raise NotARecord(f"not a qualification: {_one_line(error)}") from None


def from_stranger(text: bytes) -> Record:
    """The record in a document that anybody may have written; raises as `from_json`.

    Its numbers are finite and fit a database, its dates are dates, its text is text.
    """
    record = from_json(text)
    whole = msgspec.to_builtins(record)
    for place, number in _numbers(whole, "record"):
        if abs(number) > LARGEST:  # infinity too
            raise NotARecord(f"{place} is larger than anything measured")
        if not math.isfinite(number):
            raise NotARecord(f"{place} is {number}, not a number")
    for name, when in (("created", record.created), ("date", record.conditions.get("date", ""))):
        if when and not _is_date(when):
            raise NotARecord(f"{name} is {when[:40]!r}, not a date of a scan")
    try:
        msgspec.json.encode(whole).decode("utf-8")
    except (UnicodeError, ValueError) as error:
        raise NotARecord(f"holds text that is none ({_one_line(error)})") from None
    return record


def _is_date(text: str) -> bool:
    try:
        return FIRST_YEAR <= datetime.fromisoformat(text).year <= LAST_YEAR
    except ValueError:
        return False


def from_builtins(document: Any) -> Record:
    """The same from Python's own types, as a database gives them back; raises as `from_json`."""
    try:
        return msgspec.convert(document, Record)
    except msgspec.ValidationError as error:
        raise NotARecord(f"not a qualification: {_one_line(error)}") from None


def schema() -> dict[str, Any]:
    """The JSON Schema (Draft 2020-12) of the document."""
    made = msgspec.json.schema(Record)
    for name, part in made["$defs"].items():
        described = _attributes(inspect.getdoc(getattr(model, name)) or "")
        part["description"] = _summary(part.get("description", ""))
        for field, words in described.items():
            if field in part.get("properties", {}):
                part["properties"][field]["description"] = words
    made["$defs"]["Record"]["properties"]["schema"] = {"const": SCHEMA}
    made["$defs"]["Record"]["required"].append("schema")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", "title": SCHEMA, **made}


@dataclasses.dataclass(frozen=True, slots=True)
class _Head:
    schema: str = "none"


def _plain_number(value: Any) -> Any:
    """Python's number for one of numpy's."""
    if isinstance(value, np.generic):
        return value.item()
    raise TypeError(f"a {type(value).__name__} has no place in a record")


def _one_line(error: Exception) -> str:
    return " ".join(str(error).split())[:200]


def _numbers(value: Any, place: str) -> Iterator[tuple[str, float]]:
    """Every number in nested builtins, and where it is."""
    if isinstance(value, dict):
        for key, item in value.items():
            yield from _numbers(item, f"{place}.{key}")
    elif isinstance(value, (list, tuple)):
        for at, item in enumerate(value):
            yield from _numbers(item, f"{place}[{at}]")
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield place, value


def _summary(docstring: str) -> str:
    return " ".join(docstring.partition("\n\n")[0].split())


def _attributes(docstring: str) -> dict[str, str]:
    """What a numpydoc docstring says of each attribute."""
    _, _, section = docstring.partition("Attributes\n----------\n")
    section = re.split(r"\n\w+\n-{3,}\n", section)[0]
    found: dict[str, str] = {}
    for names, words in re.findall(
        r"^(\w[\w, ]*) :[^\n]*\n((?:(?: {4}[^\n]*)?\n?)+)", section, re.M
    ):
        for name in names.split(", "):
            found[name] = " ".join(words.split())
    return found


if __name__ == "__main__":
    print(msgspec.json.format(msgspec.json.encode(schema()), indent=1).decode())
