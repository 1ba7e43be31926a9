"""A job's record: files, checks before and after, what the watch found, what the eye is to see.

How long a check counts is ours, for want of a source: a scanner drifts slowly and is soiled at any
moment; the watch sees the second, so that days are for the first.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Literal

from scanqa.model.job_record import JobCheck, JobFile, JobRecord
from scanqa.model.watched import Watched
from scanqa.version import __version__
from scanqa.watch.sampling import lots

COUNTS_DAYS, COUNTS_PAGES = 14, 2000


def job_record(
    watched: Watched,
    files: Sequence[JobFile],
    checks: Sequence[JobCheck],
    *,
    counts_days: int = COUNTS_DAYS,
    counts_pages: int = COUNTS_PAGES,
    now: datetime | None = None,
) -> JobRecord:
    """Tie everything known of a job together.

    Parameters
    ----------
    watched : Watched
        What the watch found.
    files : sequence of JobFile
        As they are now, in the order in which they were finished.
    checks : sequence of JobCheck
        All checks of the scanner on record.
    counts_days, counts_pages : int
        How long a check counts; what ends first.
    now : datetime or None
        When the record is made.
    """
    pages = [file for file in files if file.shows == "page"]
    first = min((_time(file.modified) for file in pages), default=None)
    last = max((_time(file.modified) for file in pages), default=None)
    before, after = _around(checks, first, last)
    ends = None if before is None else _time(before.taken) + timedelta(days=counts_days)
    return JobRecord(
        scanner=watched.scanner,
        folder=watched.folder,
        created=(now or datetime.now(UTC)).isoformat(timespec="seconds"),
        tool_version=__version__,
        files=tuple(files),
        watched=watched,
        lots=lots([(file.file, file.sha256) for file in pages]),
        before=before,
        after=after,
        counts_days=counts_days,
        counts_pages=counts_pages,
        counts_until="" if ends is None else ends.date().isoformat(),
        covered=_covered(before, after, last, ends, few=len(pages) <= counts_pages),
    )


def _around(
    checks: Sequence[JobCheck], first: datetime | None, last: datetime | None
) -> tuple[JobCheck | None, JobCheck | None]:
    """The newest check before the first page, the oldest one after the last."""
    if first is None or last is None:
        return None, None
    ordered = sorted(checks, key=lambda check: _time(check.taken))
    before = [check for check in ordered if _time(check.taken) <= first]
    after = [check for check in ordered if _time(check.taken) >= last]
    return (before[-1] if before else None), (after[0] if after else None)


def _covered(
    before: JobCheck | None,
    after: JobCheck | None,
    last: datetime | None,
    ends: datetime | None,
    *,
    few: bool,
) -> Literal["yes", "no", "open"]:
    """A check before that still counted, and one after: yes; the one after can still come: open."""
    if before is None or last is None or ends is None or last > ends or not few:
        return "no"
    return "yes" if after is not None else "open"


def _time(text: str) -> datetime:
    """A moment; without a zone it is UTC."""
    made = datetime.fromisoformat(text)
    return made if made.tzinfo else made.replace(tzinfo=UTC)
