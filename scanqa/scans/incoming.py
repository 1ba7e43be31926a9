"""Files that others put into a folder: which are there, which have come to rest, in what order.

A file is taken when it has come to rest: two looks find the same time of change and size. That is
true on network shares too, where no system tells of changes. Whether it is whole, its decoder says
(`scanqa.scans.one_pass`, `scanqa.scans.overview`): a writer may pause for longer than two looks.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from scanqa.errors import BadOption
from scanqa.scans import SUFFIXES

LOOK_S = 0.4  # between two looks into a folder

Seen = dict[str, tuple[int, int]]  # name: time of its last change in ns, size


def look(folder: Path) -> Seen:
    """Scans in a folder; hidden files (passing names of those who write whole files) are none.

    Raises
    ------
    BadOption
        If the folder cannot be read.
    """
    found = {}
    try:
        for entry in os.scandir(folder):
            hidden = entry.name.startswith(".")
            if not hidden and Path(entry.name).suffix.lower() in SUFFIXES and entry.is_file():
                with suppress(FileNotFoundError):  # renamed meanwhile
                    facts = entry.stat()
                    found[entry.name] = (facts.st_mtime_ns, facts.st_size)
    except OSError as error:
        raise BadOption(f"{folder}: cannot be read ({error.strerror})") from error
    return found


def rested(before: Seen, now: Seen) -> Seen:
    """Files that two looks found alike, and that are not empty."""
    return {name: seen for name, seen in now.items() if before.get(name) == seen and seen[1] > 0}


def newest(files: Mapping[str, tuple[int, int]]) -> str | None:
    """Name of the file that was changed last; None if there is none."""
    return max(files, key=lambda name: files[name][0], default=None)


def in_order(files: Mapping[str, tuple[int, int]]) -> list[str]:
    """Names in the order in which the files were finished; by name where that does not tell."""
    return sorted(files, key=lambda name: (files[name][0], natural(name)))


def natural(name: str) -> tuple[tuple[int, str], ...]:
    """A key that sorts ``9.tif`` before ``10.tif``."""
    parts = re.split(r"(\d+)", name.lower())
    return tuple((int(part), "") if part.isdigit() else (-1, part) for part in parts)
