"""What the watch over a job found: pages, events, what is to be scanned again."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

WATCH_SCHEMA = "scanqa.watch/1"

EventKind = Literal[
    "line",
    "line-or-print",
    "clipped",
    "crop",
    "size",
    "dpi",
    "compression",
    "resampling",
    "mode",
    "levels",
    "light",
    "tint",
    "grain",
    "sharpness",
    "gutter",
]
# What a person is to do: scan the pages again; scan one blank, which decides; look at the settings;
# have the scanner checked (the blank said that it is the scanner); nothing (any more).
Action = Literal["scan-again", "scan-blank", "look", "check", "none"]
# What a blank has said of an event: nothing yet, the scanner's or the book's.
Cause = Literal["", "scanner", "book"]
LeftOut = Literal["", "size", "columns", "resampled", "compression", "few-columns", "sheet"]


@dataclass(frozen=True, slots=True)
class Event:
    """Something that begins at a page.

    Attributes
    ----------
    number : int
        Counts from 1, in the order in which events were told.
    from_file, to_file : str
        First and last page that it touches, as far as the job went.
    lasts : bool
        Whether it is still there at the last page.
    at_mm, at_px : float or None
        Of a line: on `from_file` as delivered, from its left edge.
    contrast_percent, uncertainty : float or None
        Change of light, or of what the kind names, in per cent, and its standard uncertainty.
    side : str
        ``left`` or ``right`` of the page as delivered, where it is on one side.
    action : str
        ``scan-again``, ``scan-blank``, ``look``, ``check`` or ``none``.
    cause, decided_by : str
        What a blank said, and the blank's file; empty if none has.
    before, now : str
        Of a setting: as it was at the start, and as it is.
    files : tuple of str
        The pages that it touches.
    """

    number: int
    kind: EventKind
    from_file: str
    to_file: str
    lasts: bool
    action: Action
    at_mm: float | None = None
    at_px: float | None = None
    contrast_percent: float | None = None
    uncertainty: float | None = None
    side: Literal["", "left", "right"] = ""
    cause: Cause = ""
    decided_by: str = ""
    before: str = ""
    now: str = ""
    files: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class WatchedPage:
    """One page of the job.

    Attributes
    ----------
    ok : bool
        Whether nothing found asks for anything on this page.
    findings : tuple of str
        Kinds of the events that touch it.
    shows : str
        ``page``, ``blank``, ``sheet``, or ``unreadable``.
    turned : bool
        Whether its columns run the other way than those of the first page.
    left_out : str
        Why it is not searched for lines; empty if it is.
    judged_percent : float
        Columns of the sensor that could be judged on it.
    light_percent : float or None
        Light of its paper against the middle of the job's first pages.
    why : str
        Why it cannot be read.
    """

    file: str
    ok: bool
    findings: tuple[str, ...] = ()
    shows: str = "page"
    turned: bool = False
    left_out: LeftOut = ""
    judged_percent: float = 0.0
    light_percent: float | None = None
    sha256: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True)
class Watched:
    """A job as far as it went.

    Attributes
    ----------
    blind_percent : float
        Columns of the sensor under rules, edges or holes, where no line would be seen.
    columns_known : bool
        Whether the scanner's column pattern was recognised: only then are turned pages told.
    known_lines_mm : tuple of float
        Lines that the check before the job knows.
    checked : str
        When that check was made; empty if there is none on record.
    """

    scanner: str
    folder: str
    pages: tuple[WatchedPage, ...]
    events: tuple[Event, ...]
    redo: tuple[str, ...]
    blind_percent: float = 0.0
    columns_known: bool = False
    known_lines_mm: tuple[float, ...] = ()
    checked: str = ""
    notes: tuple[str, ...] = ()
    tool_version: str = ""
    settings: dict[str, str] = field(default_factory=dict)
    schema: str = WATCH_SCHEMA


@dataclass(frozen=True, slots=True, eq=False)
class FaultPicture:
    """A picture of a page with a fault.

    Attributes
    ----------
    event : int
        Its number.
    shows : str
        ``page``, the whole; ``detail``, a part of the margin, its contrast spread.
    png : bytes
        8 bits.
    at_px : float or None
        Where a line is, in columns of the picture.
    """

    event: int
    file: str
    shows: Literal["page", "detail"]
    png: bytes
    width_px: int
    height_px: int
    at_px: float | None
