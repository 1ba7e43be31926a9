"""A job of many pages, and what it will take."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from scanqa.model.terms import Point


@dataclass(frozen=True, slots=True)
class Job:
    """Pages to be scanned.

    Attributes
    ----------
    page_mm : (width, height)
        Size of what is kept of each scan, in mm; `page` is its name.
    smallest_mm : float
        Height of the smallest lower-case letters.
    turn_s : float
        Time to turn a page, between scans.
    seconds : float or None
        Time of a scan, if the user says it.
    """

    pages: int
    page: str
    page_mm: Point
    smallest_mm: float
    turn_s: float
    seconds: float | None = None


@dataclass(frozen=True, slots=True)
class FileSize:
    """Bytes in one format, and where the number comes from."""

    format: str
    bytes: float
    uncertainty: float | None
    basis: str


# What is known of the optics for a job: nothing; that they support what the letters ask for, or do
# not; or only that they support as much as could be measured, so that they may support it.
OpticsFor = Literal["not-measured", "enough", "too-little", "at-least"]


@dataclass(frozen=True, slots=True)
class Plan:
    """What a job will take.

    Attributes
    ----------
    needed_dpi, dpi : float, int
        What the smallest letters ask for; the setting to scan at.
    optics, optics_dpi : str, float or None
        What is known of the optics, and how much they support.
    index, legibility : float, str
        Quality index that the letters reach, and its word: those that they would reach if the
        optics support it, unless that is known.
    timed : str
        Whether the time of a scan was told or timed; empty if neither.
    seconds, pages_per_hour, hours, days : float or None
        None if it was neither.
    at_most : bool
        Whether the pace is an upper bound: it was timed at a coarser dpi.
    sizes : tuple of FileSize
        Of one page.
    quoted : str
        What the timing says of itself, in its words.
    why_dpi, why_time : str
        In words: why it is this setting; how the time is known, or why it is not.
    """

    job: Job
    needed_dpi: float
    dpi: int
    optics: OpticsFor
    optics_dpi: float | None
    index: float
    legibility: str
    sizes: tuple[FileSize, ...]
    timed: Literal["told", "timed", ""] = ""
    seconds: float | None = None
    pages_per_hour: float | None = None
    rate_uncertainty: float | None = None
    at_most: bool = False
    hours: float | None = None
    days: int | None = None
    quoted: str = ""
    why_dpi: str = ""
    why_time: str = ""

    @property
    def optics_known(self) -> bool:
        """Whether it is known what the optics make of the letters."""
        return self.optics in ("enough", "too-little")
