"""Waits until the light rests: short scans until two of them agree.

The first scan after switching on or connecting is not trusted alone: a lamp warms up, and a driver
may calibrate while it does. Drivers of SANE wait 30 to 65 s, or until two lines 1 s apart agree
within 0.2 % in 16 bits (sources of 2017); here two short scans, some seconds apart, within 0.5 %.
What was seen is kept with the first blank.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from scanqa.capture.device import Settings
from scanqa.capture.one_scan import scan_to
from scanqa.model import MM_PER_INCH
from scanqa.scans.header import SMALLEST_PX

AGREE = 0.005  # of the level: what is called settled throughout
GAP_S = 4.0  # from the start of one short scan to that of the next
LONGEST_S = 300.0  # the longest that a driver waits
HEIGHT_MM = 10.0
PASSING = "lamp.tif"

Levels = tuple[tuple[float, float], ...]  # seconds since the first, per cent of the scale


@dataclass(frozen=True, slots=True)
class LampWait:
    """Levels of the short scans, and whether the last two agree."""

    levels: Levels
    rested: bool

    @property
    def seconds(self) -> float:
        """From the first short scan to the last."""
        return self.levels[-1][0] - self.levels[0][0]

    @property
    def moved_percent(self) -> float:
        """How far the last is off the one before, in per cent of it."""
        (_, before), (_, last) = self.levels[-2:]
        return 100 * (last / before - 1) if before else 0.0


def wait_for_light(
    level: Callable[[], float],
    *,
    longest_s: float = LONGEST_S,
    clock: Callable[[], float] = time.monotonic,
    sleep: Callable[[float], None] = time.sleep,
) -> LampWait:
    """Look at the light again and again, at least twice, until it rests or time is up.

    Parameters
    ----------
    level : callable
        Makes a short scan: mean of it, in per cent of the scale.
    longest_s : float
        No new look begins later than this.
    clock, sleep : callable
        Of a clock that never goes backwards.
    """
    begun = clock()
    seen: list[tuple[float, float]] = []
    while True:
        at = clock() - begun
        seen.append((round(at, 2), level()))
        if len(seen) > 1:
            before, last = seen[-2][1], seen[-1][1]
            rested = abs(last - before) <= AGREE * max(before, last)
            if rested or clock() - begun > longest_s:
                return LampWait(tuple(seen), rested)
        sleep(max(GAP_S - (clock() - begun - at), 0.0))


def short(settings: Settings) -> Settings | None:
    """The same settings for the first rows of the area only; None if it has no area."""
    if settings.size_mm is None:
        return None
    values = dict(settings.values)
    least_mm = (SMALLEST_PX + 1) * MM_PER_INCH / settings.dpi  # less than that is no scan
    height_mm = min(max(HEIGHT_MM, least_mm), settings.size_mm[1])
    high = float(values["y"]) * height_mm / settings.size_mm[1]
    values["y"] = f"{math.ceil(high)}"
    rows_mm = float(values["y"]) * settings.size_mm[1] / float(dict(settings.values)["y"])
    size = (settings.size_mm[0], rows_mm)
    return replace(settings, values=tuple(values.items()), size_mm=size)


def level_of(folder: Path, settings: Settings, *, stall_s: float) -> float:
    """Mean of a short scan, in per cent of the scale; its file is gone afterwards.

    Raises
    ------
    ScanFailed
        If there is none.
    """
    path = folder / PASSING
    try:
        taken = scan_to(path, settings, stall_s=stall_s)
        return float(100 * taken.overview.preview.mean() / (2**taken.scan.bits - 1))
    finally:
        path.unlink(missing_ok=True)
