"""Whole files or none: a reader never sees half a page."""

from __future__ import annotations

import os
from pathlib import Path

from scanqa.errors import BadOption


def write_whole(path: Path, text: str) -> None:
    """Write `text` as UTF-8 under a passing name beside `path`, then rename.

    Folders that are missing are made. The file gets the usual rights of a new file.

    Raises
    ------
    BadOption
        If the place cannot be written to.
    """
    passing = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            with passing.open("x", encoding="utf-8", newline="\n") as file:
                file.write(text)
            passing.replace(path)
        finally:
            passing.unlink(missing_ok=True)
    except OSError as error:
        raise BadOption(f"{path}: cannot be written: {error.strerror or error}") from error
