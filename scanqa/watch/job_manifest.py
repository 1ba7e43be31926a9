"""The files of a job as they are: sizes and hashes, against what the watch read or a record holds.

The manifest is also written as lines of ``sha256sum``, so that any system can check it.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from scanqa.errors import BadOption, UnreadableScan
from scanqa.model.job_record import JobFile
from scanqa.model.watched import Watched, WatchedPage
from scanqa.scans.header import read_header
from scanqa.scans.incoming import in_order, look
from scanqa.whole import hash_of

LINE = re.compile(r"([0-9a-f]{64}) [ *](.+)")


@dataclass(frozen=True, slots=True)
class Differences:
    """What became of files since a manifest was written."""

    same: tuple[str, ...]
    changed: tuple[str, ...]
    missing: tuple[str, ...]
    new: tuple[str, ...]

    @property
    def any(self) -> bool:
        """Whether anything is not as it was; new files are no change of the old ones."""
        return bool(self.changed or self.missing)


def files_of(
    folder: Path, watched: Watched, *, told: Callable[[str], None] = lambda name: None
) -> tuple[JobFile, ...]:
    """Every scan in a folder, hashed, in the order in which the files were finished.

    Parameters
    ----------
    folder : Path
        Of the job.
    watched : Watched
        What the watch read.
    told : callable
        Told each name.

    Raises
    ------
    BadOption
        If the folder or a file in it cannot be read.
    """
    known = {page.file: page for page in watched.pages}
    made = []
    for name in in_order(look(folder)):
        told(name)
        made.append(_file(folder / name, known))
    return tuple(made)


def manifest(files: tuple[JobFile, ...]) -> str:
    """Lines of ``sha256sum``."""
    return "".join(f"{file.sha256}  {file.file}\n" for file in files)


def compare(folder: Path, hashes: Mapping[str, str]) -> Differences:
    """The files of a folder against hashes by name; raises as `files_of`."""
    here = look(folder)
    same: list[str] = []
    changed: list[str] = []
    for name, sha256 in hashes.items():
        if name in here:
            (same if _hash_of(folder / name) == sha256 else changed).append(name)
    missing = [name for name in hashes if name not in here]
    return Differences(tuple(same), tuple(changed), tuple(missing), tuple(_new(here, hashes)))


def hashes_in(text: str) -> dict[str, str]:
    """Hashes by name in lines of ``sha256sum``; raises ValueError on another text."""
    made = {}
    for line in text.splitlines():
        found = LINE.fullmatch(line)
        if not found:
            raise ValueError(line[:60])
        made[found[2]] = found[1]
    return made


def _hash_of(path: Path) -> str:
    """SHA-256 of a file.

    Raises
    ------
    BadOption
        If it cannot be read.
    """
    try:
        return hash_of(path)
    except OSError as error:
        raise BadOption(f"{path}: cannot be read ({error.strerror})") from error


def _new(here: Mapping[str, object], hashes: Mapping[str, str]) -> Iterator[str]:
    yield from (name for name in here if name not in hashes)


def _file(path: Path, known: Mapping[str, WatchedPage]) -> JobFile:
    sha256, facts = _hash_of(path), path.stat()
    modified = datetime.fromtimestamp(facts.st_mtime, UTC).isoformat(timespec="seconds")
    page = known.get(path.name)
    state: Literal["as-watched", "changed", "not-watched"] = "not-watched"
    if page is not None and page.shows != "unreadable":
        state = "as-watched" if page.sha256 == sha256 else "changed"
    try:
        header = read_header(path)
    except UnreadableScan:
        return JobFile(path.name, facts.st_size, sha256, modified, "unreadable")
    return JobFile(
        file=path.name,
        bytes=facts.st_size,
        sha256=sha256,
        modified=modified,
        state=state,
        format=header.format,
        width_px=header.width_px,
        height_px=header.height_px,
        channels=header.channels,
        bits=header.bits,
        dpi=header.dpi,
        lossy=header.lossy,
        shows=page.shows if page is not None else "page",
    )
