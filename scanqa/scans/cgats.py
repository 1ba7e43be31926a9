"""Reads a CGATS text file: measured values of printed patches.

Structure as in ISO 12641 and CGATS.17 (from memory): a file type, keyword lines, the field names
between BEGIN_DATA_FORMAT and END_DATA_FORMAT, the rows between BEGIN_DATA and END_DATA; `#`
begins a comment, blanks or tabs part the fields, strings may stand in quotes.
"""

from __future__ import annotations

import shlex
from pathlib import Path

from scanqa.errors import BadOption

SAMPLE_FIELDS = ("SAMPLE_ID", "SAMPLE_NAME", "SAMPLEID")


def read_cgats(path: Path) -> dict[str, dict[str, float]]:
    """Numbers of each sample: ``{"GS0": {"LAB_L": 95.1, "D_VIS": 0.06}, …}``.

    Parameters
    ----------
    path : Path
        A text file with one table; of several tables the first is read.

    Returns
    -------
    dict
        Fields in capitals, without those whose values are not numbers.

    Raises
    ------
    BadOption
        If it cannot be read, is not such a file, or a row does not fit its fields.
    """
    try:
        text = path.read_text(encoding="utf-8", errors="strict")
    except (OSError, UnicodeDecodeError) as error:
        raise BadOption(f"{path}: not a text file that can be read") from error
    tokens = [_fields(path, line) for line in text.splitlines()]
    format_rows = _between(tokens, "BEGIN_DATA_FORMAT", "END_DATA_FORMAT")
    data = _between(tokens, "BEGIN_DATA", "END_DATA")
    if format_rows is None or data is None:
        raise BadOption(
            f"{path}: no CGATS table (BEGIN_DATA_FORMAT … END_DATA_FORMAT, BEGIN_DATA … END_DATA)"
        )
    names = [name.upper() for row in format_rows for name in row]
    sample = next((names.index(name) for name in SAMPLE_FIELDS if name in names), None)
    if sample is None:
        raise BadOption(f"{path}: no field {' or '.join(SAMPLE_FIELDS[:2])} names the patches")
    table: dict[str, dict[str, float]] = {}
    for row in data:
        if len(row) != len(names):
            raise BadOption(
                f"{path}: {len(row)} values for {len(names)} fields in “{' '.join(row)}”"
            )
        if row[sample] in table:
            raise BadOption(f"{path}: patch {row[sample]} stands there twice")
        table[row[sample]] = {
            name: number
            for i, (name, word) in enumerate(zip(names, row, strict=True))
            if i != sample and (number := _number(word)) is not None
        }
    if not table:
        raise BadOption(f"{path}: the table has no rows")
    return table


def _fields(path: Path, line: str) -> list[str]:
    try:
        return shlex.split(line, comments=True)
    except ValueError as error:
        raise BadOption(f"{path}: a quote is not closed in “{line.strip()}”") from error


def _between(rows: list[list[str]], begin: str, end: str) -> list[list[str]] | None:
    """Rows between the first `begin` and the `end` after it, empty ones left out."""
    first = next((i for i, row in enumerate(rows) if row and row[0].upper() == begin), None)
    if first is None:
        return None
    last = next(
        (i for i, row in enumerate(rows) if i > first and row and row[0].upper() == end), None
    )
    return None if last is None else [row for row in rows[first + 1 : last] if row]


def _number(word: str) -> float | None:
    """The number a word says; a decimal comma counts as a point."""
    try:
        number = float(word.replace(",", "."))
    except ValueError:
        return None
    return number if abs(number) < float("inf") else None
