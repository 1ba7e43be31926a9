"""What only a run of pages can show: light, tint, grain, sharpness by side, light at the edges.

Paper, ink and plates differ too: so these never order a page again; they ask for one blank, and the
blank decides. Each quantity has a chart of its own: two-sided CUSUM (Page 1954) of deviations from
the job's first pages, in their own robust scatter, each clipped so that no one page counts for
much. The allowance is large enough for the error of a centre that rests on a dozen pages.

After a change the chart begins anew at the new level: each change is told once.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from scanqa.model.watched import EventKind
from scanqa.watch.features import PageFeatures

START = 12  # pages with a value
CLIP, ALLOWANCE, LIMIT = 3.0, 1.0, 7.0  # deviations
SMALLEST_SD = {  # per cent, degrees for skew: a start may be quieter than the job by luck
    "light": 0.4,
    "red": 0.4,
    "blue": 0.4,
    "grain": 2.0,
    "sides": 0.8,
    "left": 0.6,
    "right": 0.6,
    "skew": 0.1,
}
LEAST = {  # per cent, degrees: less is nobody's concern
    "light": 2.0,
    "red": 1.5,
    "blue": 1.5,
    "grain": 6.0,
    "sides": 3.0,
    "left": 2.0,
    "right": 2.0,
    "skew": 0.4,
}
KINDS: dict[str, EventKind] = {
    "light": "light",
    "red": "tint",
    "blue": "tint",
    "grain": "grain",
    "sides": "sharpness",
    "left": "gutter",
    "right": "gutter",
    "skew": "gutter",
}
EDGE_BANDS = 2  # of 16, at each side
PERCENT = 100.0


@dataclass(frozen=True, slots=True)
class Chart:
    """One quantity.

    Attributes
    ----------
    start : tuple of float
        Values until there are enough of them.
    up, down : (float, int)
        Sum, and the page at which it left zero.
    recent : tuple of (int, float)
        Last values, by page.
    """

    name: str
    start: tuple[float, ...] = ()
    centre: float = 0.0
    sd: float = 0.0
    up: tuple[float, int] = (0.0, 0)
    down: tuple[float, int] = (0.0, 0)
    recent: tuple[tuple[int, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Shift:
    """A change that a chart shows: which quantity, since which page, by how much."""

    name: str
    since: int
    size: float
    error: float


def values_of(page: PageFeatures, *, turned: bool, lossy: bool) -> dict[str, float]:
    """The quantities of a page, sides as they lie on the sensor; what is not known is left out."""
    made = {"light": PERCENT * page.light}
    if page.tint is not None:
        made["red"], made["blue"] = PERCENT * page.tint[0], PERCENT * page.tint[1]
    if page.grain and not lossy:  # JPEG takes more or less of it as the print demands
        made["grain"] = PERCENT * math.log(page.grain)
    if page.edges is not None:
        sides = PERCENT * math.log(page.edges[0] / page.edges[1])
        made["sides"] = -sides if turned else sides
    across = np.array(page.across)[:: -1 if turned else 1]
    for name, part in (("left", across[:EDGE_BANDS]), ("right", across[-EDGE_BANDS:])):
        if np.isfinite(part).all():
            made[name] = float(part.mean())
    if page.skew_deg is not None:
        made["skew"] = page.skew_deg
    return made


def advance_charts(
    charts: Mapping[str, Chart], values: Mapping[str, float], number: int
) -> tuple[dict[str, Chart], list[Shift]]:
    """The charts after one more page, and the changes that this page makes certain."""
    after, found = dict(charts), []
    for name, value in values.items():
        chart, shift = _advance(charts.get(name, Chart(name)), value, number)
        after[name] = chart
        if shift is not None:
            found.append(shift)
    return after, found


def _advance(chart: Chart, value: float, number: int) -> tuple[Chart, Shift | None]:
    if len(chart.start) < START:
        return _begun(chart.name, (*chart.start, value)), None
    z = max(min((value - chart.centre) / chart.sd, CLIP), -CLIP)
    up, down = _summed(chart.up, z, number), _summed(chart.down, -z, number)
    recent = (*chart.recent, (number, value))[-4 * START :]
    chart = replace(chart, up=up, down=down, recent=recent)
    for total, since in (up, down):
        if total <= LIMIT:
            continue
        shown = np.array([v for n, v in recent if n >= since])
        size = float(np.median(shown) - chart.centre)
        if abs(size) < LEAST[chart.name]:
            # Certain, but of no concern: the centre moves along.
            return _begun(chart.name, tuple(shown[-START:].tolist())), None
        error = chart.sd * math.sqrt(1 / len(shown) + 1.57 / START)
        again = _begun(chart.name, tuple(shown[-START:].tolist()))
        return again, Shift(chart.name, since, size, error)
    return chart, None


def _begun(name: str, start: tuple[float, ...]) -> Chart:
    """A chart of these first values; it has a centre once they are enough."""
    if len(start) < START:
        return Chart(name, start)
    centre = float(np.median(start))
    sd = 1.4826 * float(np.median(np.abs(np.array(start) - centre)))
    # Of a dozen values the spread is known to a fifth: rather too large than too small.
    return Chart(name, start, centre, max(1.2 * sd, SMALLEST_SD[name]))


def _summed(state: tuple[float, int], z: float, number: int) -> tuple[float, int]:
    total = max(state[0] + z - ALLOWANCE, 0.0)
    since = number if state[0] == 0 else state[1]
    return total, since
