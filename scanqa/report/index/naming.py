"""Names of pages in a folder: nothing of another scanner, kind or day is ever overwritten.

A page goes by its scanner and kind (``heron.html``, ``heron-history.html``). Where that name is
taken by a page of another scanner or kind, or by a file that is none of scanqa's, the next one that
is free is used (``heron-history-2.html``). The plain name is the newest full report: an older one
moves to its date when another takes its place.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from itertools import count
from pathlib import Path

from scanqa.model import Record
from scanqa.report.index.shelf import facts_of

SMALL_ROLES = frozenset({"blank", "dark"})


def is_full(record: Record) -> bool:
    """Whether a record holds more than a check of blank paper."""
    return any(scan.role not in SMALL_ROLES for scan in record.scans)


def file_stem(words: str) -> str:
    """Words as part of a file name."""
    return re.sub(r"[^\w.-]+", "-", words).strip("-.") or "page"


def path_for(folder: Path, stem: str, facts: Mapping[str, str]) -> Path:
    """The first name of this stem that is free, or holds a page of the same facts.

    Parameters
    ----------
    facts : mapping
        What the page says of itself and what makes it another page: kind, scanner, day.
    """
    names = (f"{stem}.html" if n == 1 else f"{stem}-{n}.html" for n in count(1))
    return next(path for name in names if _ours(path := folder / name, facts))


def report_path(folder: Path, record: Record) -> Path:
    """Where the report of a record goes; an older full one makes room."""
    stem, scanner = file_stem(record.scanner), record.scanner
    day = day_of(record)
    if not is_full(record):
        small = {"page": "check", "scanner": scanner, "record": mark_of(record)}
        return path_for(folder, f"{stem}-check-{day}", small)
    plain = path_for(folder, stem, {"page": "qualification", "scanner": scanner})
    there = facts_of(plain) if plain.exists() else {}
    if there and there.get("record") != mark_of(record):
        if there.get("day", "") > day:
            return dated_path(folder, record)
        older = {**there, "page": "qualification", "scanner": scanner}
        old_day = there.get("day") or "earlier"
        plain.rename(path_for(folder, f"{stem}-{old_day}", _telling(older)))
    return plain


def dated_path(folder: Path, record: Record) -> Path:
    """A name by the day of the record."""
    kind = "qualification" if is_full(record) else "check"
    facts = {"page": kind, "scanner": record.scanner, "record": mark_of(record)}
    return path_for(folder, f"{file_stem(record.scanner)}-{day_of(record)}", facts)


def day_of(record: Record) -> str:
    """The day of the scans: as told, else by their files, else when they were measured."""
    stated = record.conditions.get("date", "")
    written = max((scan.modified or "" for scan in record.scans), default="")
    found = re.match(r"\d{4}-\d{2}-\d{2}", stated or written or record.created)
    return found[0] if found else "undated"


def mark_of(record: Record) -> str:
    """What tells one record of a scanner from another on its pages: its scans."""
    return "-".join(sorted(scan.sha256[:8] for scan in record.scans)[:12])


def _telling(facts: Mapping[str, str]) -> dict[str, str]:
    return {name: facts.get(name, "") for name in ("page", "scanner", "record")}


def _ours(path: Path, facts: Mapping[str, str]) -> bool:
    if not path.exists():
        return True
    found = facts_of(path)
    return all(_plain(found.get(name, "")) == _plain(words) for name, words in facts.items())


def _plain(words: str) -> str:
    """Words with all kinds of spaces alike: a page keeps some of them together."""
    return " ".join(words.split())


def history_path(folder: Path, scanner: str) -> Path:
    """Where the history of a scanner goes."""
    return path_for(
        folder, f"{file_stem(scanner)}-history", {"page": "history", "scanner": scanner}
    )


def comparison_path(folder: Path, first: str, second: str) -> Path:
    """Where a comparison goes."""
    facts = {"page": "comparison", "scanner": f"{first} and {second}"}
    return path_for(folder, f"{file_stem(first)}-{file_stem(second)}", facts)


def fleet_path(folder: Path) -> Path:
    """Where the page over all scanners goes; a scanner of that name keeps its report."""
    return path_for(folder, "fleet", {"page": "fleet"})
