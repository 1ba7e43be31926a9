"""The record of a job: its files tied to checks, settings, the watch, a plan for the eye."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from scanqa.model.watched import Watched

JOB_SCHEMA = "scanqa.job-record/1"


@dataclass(frozen=True, slots=True)
class JobFile:
    """A file of the job as it is now.

    Attributes
    ----------
    state : str
        ``as-watched``; ``changed`` since the watch read it; ``not-watched``; ``unreadable``.
    modified : str
        When it was last written, ISO 8601, UTC.
    """

    file: str
    bytes: int
    sha256: str
    modified: str
    state: Literal["as-watched", "changed", "not-watched", "unreadable"]
    format: str = ""
    width_px: int = 0
    height_px: int = 0
    channels: int = 0
    bits: int = 0
    dpi: tuple[float, float] | None = None
    lossy: bool = False
    shows: str = "page"


@dataclass(frozen=True, slots=True)
class JobCheck:
    """A check of the scanner on record: when its scans were made, and what it said."""

    taken: str
    created: str
    outcome: str
    scans: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Lot:
    """Pages of which a sample is looked at by eye.

    Attributes
    ----------
    pages : int
        In the lot.
    sample : tuple of str
        Files to look at, drawn by lot; the draw rests on the files' hashes, so that it can be made
        again.
    reject_from : int
        Faulty pages in the sample from which on the whole lot is rejected.
    """

    number: int
    first: str
    last: str
    pages: int
    sample: tuple[str, ...]
    reject_from: int


@dataclass(frozen=True, slots=True)
class JobRecord:
    """A job, whole.

    Attributes
    ----------
    before, after : JobCheck or None
        The newest check before the first page, the oldest one after the last.
    counts_days, counts_pages : int
        How long a check counts, in days and in pages; what ends first.
    counts_until : str
        The day on which the check before ends to count; empty without one.
    covered : str
        ``yes``, ``no``, or ``open``: whether every page lies within what checks count for.
    """

    scanner: str
    folder: str
    created: str
    tool_version: str
    files: tuple[JobFile, ...]
    watched: Watched
    lots: tuple[Lot, ...]
    before: JobCheck | None
    after: JobCheck | None
    counts_days: int
    counts_pages: int
    counts_until: str
    covered: Literal["yes", "no", "open"]
    schema: str = JOB_SCHEMA
