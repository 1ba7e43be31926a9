"""What the watch has read, page by page, outside the folder that it watches.

A file that only grows: a line for each page, written in one piece and flushed to the disk before
anything is told of the page. A line that a crash cut off is dropped when the journal is opened, and
its page is read again. So the same command goes on where it stopped, whatever stopped it.
"""

from __future__ import annotations

import fcntl
import hashlib
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from io import FileIO
from pathlib import Path
from typing import Any

from scanqa.errors import BadOption
from scanqa.watch.features import PageFeatures, as_plain, from_plain

SCHEMA = "scanqa.watch-journal/2"  # another one is not read: its pages are measured again
ENVIRONMENT = "SCANQA_STATE"


def place_of(folder: Path, scanner: str, base: Path | None = None) -> Path:
    """The journal of a folder and scanner: under ``SCANQA_STATE``, else the user's state folder."""
    given = os.environ.get(ENVIRONMENT)
    if base is None and given:
        base = Path(given)
    elif base is None:
        import platformdirs

        base = platformdirs.user_state_path("scanqa")
    key = hashlib.sha256(f"{folder.resolve()}\0{scanner}".encode()).hexdigest()[:16]
    return base / "watch" / f"{folder.resolve().name or 'root'}-{key}.jsonl"


class Journal:
    """An open journal; made by `open_journal`."""

    def __init__(self, path: Path, file: FileIO) -> None:
        self.path, self._file = path, file

    def pages(self) -> Iterator[PageFeatures]:
        """Every page so far, the first first."""
        for number, line in enumerate(_lines(self._file)):
            if number:  # behind the head
                yield from_plain(json.loads(line))

    def append(self, page: PageFeatures) -> None:
        """Add a page.

        Raises
        ------
        BadOption
            If it cannot be written; what was written before is kept.
        """
        end = self._file.seek(0, os.SEEK_END)
        text = json.dumps(as_plain(page), separators=(",", ":"), allow_nan=False)
        try:
            _write(self._file, text.encode() + b"\n")
        except OSError as error:
            self._file.truncate(end)
            raise BadOption(
                f"{self.path}: cannot be written ({error.strerror}); what was watched so far is "
                "kept: make room, then the same command goes on"
            ) from error


@contextmanager
def open_journal(folder: Path, scanner: str, base: Path | None = None) -> Iterator[Journal]:
    """The journal of a folder, for this process alone; under `base`, else as `place_of` says.

    Raises
    ------
    BadOption
        If it cannot be opened, or another process watches the same folder.
    """
    path = place_of(folder, scanner, base)
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        file = FileIO(os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666), "r+")
    except OSError as error:
        raise BadOption(
            f"{path}: cannot be opened ({error.strerror}); name another place in {ENVIRONMENT}"
        ) from error
    with file:
        try:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            raise BadOption(
                f"{folder}: is watched already for {scanner}; end that watch first"
            ) from None
        head = {"schema": SCHEMA, "folder": str(folder.resolve()), "scanner": scanner}
        try:
            _mend(file, head)
        except OSError as error:
            raise BadOption(
                f"{path}: cannot be written ({error.strerror}); make room, then the same command "
                "goes on"
            ) from error
        yield Journal(path, file)


def _mend(file: FileIO, head: dict[str, Any]) -> None:
    """Cut off what a crash left unfinished; begin anew if the journal is of another kind."""
    whole = 0
    for number, line in enumerate(_lines(file)):
        try:
            made = json.loads(line) if line.endswith(b"\n") else None
            if number == 0 and made != head:
                break
            if number and made is not None:
                from_plain(made)
        except (ValueError, KeyError, TypeError):
            break
        if made is None:
            break
        whole += len(line)
    file.truncate(whole)
    if whole == 0:
        _write(file, json.dumps(head).encode() + b"\n")


def _lines(file: FileIO) -> Iterator[bytes]:
    with os.fdopen(os.dup(file.fileno()), "rb", buffering=1 << 16) as again:
        again.seek(0)
        yield from again


def _write(file: FileIO, data: bytes) -> None:
    file.seek(0, os.SEEK_END)
    left = memoryview(data)
    while left:
        left = left[file.write(left) :]
    os.fsync(file.fileno())
