"""Whole files or none: a file with its final name is always complete; and what a file holds."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from scanqa.errors import BadOption


@contextmanager
def whole(path: Path) -> Iterator[Path]:
    """A passing name beside `path` to write to; it gets the final name if all went well.

    Folders that are missing are made. Whatever goes wrong, what stood at `path` still does.

    Raises
    ------
    BadOption
        If the place cannot be written to.
    """
    passing = path.with_name(f".{os.getpid()}.{path.name}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield passing
        passing.replace(path)
    except OSError as error:
        raise BadOption(f"{path}: cannot be written: {error.strerror or error}") from error
    finally:
        with suppress(OSError):
            passing.unlink()


def check_writable(folder: Path) -> None:
    """See that a file can be written in a folder, made for it or there: before the work, not after.

    Nothing of the trial stays, so that a call that is refused afterwards leaves no empty folder.

    Raises
    ------
    BadOption
        If it cannot.
    """
    missing = [each for each in (folder, *folder.parents) if not each.exists()]
    try:
        with whole(folder / ".scanqa-try") as passing:
            passing.touch()
    finally:
        with suppress(OSError):
            (folder / ".scanqa-try").unlink()
        for each in missing:
            with suppress(OSError):
                each.rmdir()


def write_whole(path: Path, content: str | bytes) -> None:
    """Write text (as UTF-8) or bytes, whole or not at all; errors as for `whole`."""
    with whole(path) as passing:
        passing.write_bytes(content.encode("utf-8") if isinstance(content, str) else content)


def hash_of(path: Path, algorithm: str = "sha256") -> str:
    """Hash of a file's bytes, hexadecimal; raises `OSError` if it cannot be read."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, algorithm).hexdigest()
