"""Reads the known response of an edge: a text table of frequency and contrast."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from scanqa.errors import BadOption
from scanqa.model import Floats

FEWEST = 4  # rows: fewer are no curve


def read_response(path: Path) -> Callable[[Floats], Floats]:
    """Response at frequencies in cy/mm, by straight lines between the rows of a table.

    Parameters
    ----------
    path : Path
        A text file; each row has a frequency in cy/mm and the response there (1 at 0), parted by
        blanks, tabs, a semicolon or a comma; `#` begins a comment.

    Returns
    -------
    callable
        Beyond the last row the response is 0: not known.

    Raises
    ------
    BadOption
        If it cannot be read, or is not such a table.
    """
    try:
        text = path.read_text(encoding="utf-8", errors="strict")
    except (OSError, UnicodeDecodeError) as error:
        raise BadOption(f"{path}: not a text file that can be read") from error
    rows = [_row(path, line) for line in text.splitlines() if line.partition("#")[0].strip()]
    if len(rows) < FEWEST:
        raise BadOption(f"{path}: {len(rows)} rows are no response; give {FEWEST} or more")
    frequency, response = np.array(rows).T
    if frequency[0] < 0 or np.any(np.diff(frequency) <= 0):
        raise BadOption(f"{path}: frequencies must rise from row to row, from 0 on")
    if np.any((response < 0) | (response > 1.2)) or response[0] < 0.9:
        raise BadOption(f"{path}: a response lies between 0 and about 1 and begins at 1")
    return lambda at: np.interp(at, frequency, response, left=1.0, right=0.0)


def _row(path: Path, line: str) -> tuple[float, float]:
    words = line.partition("#")[0].replace(";", " ").replace(",", " ").split()
    try:
        frequency, response = (float(word) for word in words)
    except ValueError as error:
        raise BadOption(
            f"{path}: “{line.strip()}” is not a frequency in cy/mm and a response"
        ) from error
    if not np.isfinite([frequency, response]).all():
        raise BadOption(f"{path}: “{line.strip()}” is not finite")
    return frequency, response
