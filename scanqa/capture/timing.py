"""From measured seconds per scan to pages per hour and the length of a job.

Between scans a page is turned, which takes `catalogue.TURN_S` unless stated.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable
from dataclasses import dataclass

from scanqa.capture.session import Entry
from scanqa.catalogue.sizes import HOURS_A_DAY, TURN_S
from scanqa.errors import BadOption

SAME_AREA = 0.02


@dataclass(frozen=True, slots=True)
class Pace:
    """Speed in one way of scanning.

    Attributes
    ----------
    scans : int
        How many were timed; `seconds` is their median, over the whole bed.
    """

    dpi: float
    mode: str
    bits: int
    scans: int
    seconds: float

    def pages_per_hour(self, turn_s: float = TURN_S) -> float:
        """One page a scan, the book turned in between."""
        return 3600 / (self.seconds + turn_s)


def paces(entries: Iterable[Entry]) -> tuple[Pace, ...]:
    """Paces of the scans that were timed, slowest last; scans of a part of the bed are left out."""
    timed = [(e, e.seconds, e.dpi) for e in entries if e.seconds is not None and e.dpi is not None]
    area = {id(e): e.width_px * e.height_px / dpi[0] / dpi[1] for e, _, dpi in timed}
    whole = max(area.values(), default=0.0)
    groups: dict[tuple[float, str, int], list[float]] = {}
    for e, seconds, dpi in timed:
        if area[id(e)] >= (1 - SAME_AREA) * whole:
            mode = e.mode or ("colour" if e.channels == 3 else "grey")
            groups.setdefault((dpi[0], mode, e.bits), []).append(seconds)
    found = [
        Pace(dpi, mode, bits, len(seconds), statistics.median(seconds))
        for (dpi, mode, bits), seconds in groups.items()
    ]
    return tuple(sorted(found, key=lambda pace: pace.seconds))


def table(found: Iterable[Pace], *, pages: int | None = None, turn_s: float = TURN_S) -> str:
    """Paces as lines of text; with `pages`, the hours and days of a job.

    Raises
    ------
    BadOption
        If `pages` is not a positive number.
    """
    if pages is not None and pages < 1:
        raise BadOption(f"--pages {pages}: give a number of pages")
    lines = [f"  dpi  mode      bits  s per scan  pages/hour (turning a page: {turn_s:g} s)"]
    for pace in found:
        rate = pace.pages_per_hour(turn_s)
        line = f"{pace.dpi:5.0f}  {pace.mode:<8.8s}  {pace.bits:4d}  {pace.seconds:10.1f}  "
        line += f"{rate:10.0f}"
        if pages is not None:
            hours = pages / rate
            line += f"   {pages} pages: {hours:.1f} h, {_days(hours)} of {HOURS_A_DAY:g} h"
        lines.append(line)
    if len(lines) == 1:
        return "No pace: the scans were not timed."
    return "\n".join(lines)


def _days(hours: float) -> str:
    days = max(-(-hours // HOURS_A_DAY), 1)
    return f"{days:.0f} day{'s' if days > 1 else ''}"
