"""The state of the search for lines: pages on the sensor, lines, and the baseline of columns."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from scanqa.model import Array
from scanqa.numeric.medians import known_medians

FEWEST_EARLIER = 8  # pages for a baseline
HELD_BACK = 12  # newest pages, which no baseline holds
BASELINE = 40  # pages
RENEWED = 4  # pages after which the baseline is reckoned anew
RULES = ((5, 2.6), (4, 4.0), (3, 6.0))  # judged pages in a row, the least z of them
IN_A_ROW = RULES[0][0]
BESIDE = 3  # columns on either side that are one line


@dataclass(frozen=True, slots=True, eq=False)
class Laid:
    """Columns of one page on the sensor.

    Attributes
    ----------
    number : int
        Of the page, in the order of the job.
    off, error, ends, ends_error : (columns,)
        Per cent; NaN where not judged.
    turned : bool
        Whether the page's columns run the other way.
    skew_deg : float or None
        Of the print.
    """

    number: int
    off: Array
    error: Array
    ends: Array
    ends_error: Array
    turned: bool
    skew_deg: float | None


@dataclass(frozen=True, slots=True)
class Line:
    """A line that was found, at a column of the sensor.

    Attributes
    ----------
    kind : str
        ``line``, or ``line-or-print`` until a blank decides.
    contrast, error : float
        Per cent.
    since, last : int
        Numbers of the first page, and of the last one so far.
    without : int
        Judged pages since then that did not show it.
    """

    kind: Literal["line", "line-or-print"]
    column: float
    contrast: float
    error: float
    since: int
    last: int
    without: int = 0
    gone: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Search:
    """The state of the search: earlier pages, newest pages, runs, lines.

    Attributes
    ----------
    earlier : tuple of Laid
        For the baseline, the oldest first.
    newest : tuple of Laid
        The last `HELD_BACK`.
    middle, scatter, count : (2 × columns,)
        Baseline, its scatter from page to page, pages that it rests on.
    runs : (rules, 2, 2 × columns)
        Judged pages in a row that are off upwards, and downwards, far enough for each rule.
    printed : (2, 2 × columns)
        Runs that were seen to be print; a run that is broken is forgotten.
    """

    width: int
    earlier: tuple[Laid, ...] = ()
    newest: tuple[Laid, ...] = ()
    middle: Array | None = None
    scatter: Array | None = None
    count: Array | None = None
    aged: int = 0
    runs: Array | None = None
    printed: Array | None = None
    lines: tuple[Line, ...] = ()


def with_pairs(page: Laid) -> Laid:
    """The page with the means of neighbouring columns behind its columns."""
    off, ends = (
        np.append(v, np.append((v[:-1] + v[1:]) / 2, np.nan)) for v in (page.off, page.ends)
    )
    errors = [
        np.append(v, np.append(np.hypot(v[:-1], v[1:]) / 2, np.nan))
        for v in (page.error, page.ends_error)
    ]
    return replace(page, off=off, error=errors[0], ends=ends, ends_error=errors[1])


def both(near: slice, width: int) -> list[slice]:
    """The same part of the columns and of the means of neighbours."""
    return [near, slice(near.start + width, near.stop + width)]


def aged(state: Search) -> Search:
    """Pages that are no longer new become part of what later ones are held against."""
    if len(state.newest) < IN_A_ROW:
        return state
    # The baseline ends HELD_BACK pages ago; at the start of a job it begins sooner.
    enough = len(state.earlier) >= FEWEST_EARLIER
    held = HELD_BACK if enough else IN_A_ROW
    moved = len(state.newest) - held
    if moved <= 0:
        return state
    old = tuple(_without_lines(page, state.lines) for page in state.newest[:moved])
    earlier = (*state.earlier, *old)[-BASELINE:]
    aged = state.aged + moved
    state = replace(state, earlier=earlier, newest=state.newest[moved:], aged=aged)
    if len(earlier) < FEWEST_EARLIER or (state.middle is not None and aged < RENEWED):
        return state
    middle, scatter, count = _baseline(earlier)
    zeros = np.zeros((len(RULES), 2, 2 * state.width))
    return replace(
        state,
        middle=middle,
        scatter=scatter,
        count=count,
        aged=0,
        runs=zeros if state.runs is None else state.runs,
        printed=zeros[0] if state.printed is None else state.printed,
    )


def _without_lines(page: Laid, lines: tuple[Line, ...]) -> Laid:
    """A page without the columns of lines that it shows: a baseline knows no line."""
    off = page.off
    for line in lines:
        if line.since <= page.number <= line.last:
            off = off.copy()
            for part in both(beside(line.column, len(off) // 2), len(off) // 2):
                off[part] = np.nan
    return page if off is page.off else replace(page, off=off)


def _baseline(pages: tuple[Laid, ...]) -> tuple[Array, Array, Array]:
    """Median of each column, its robust scatter, number of pages; NaN with too few."""
    values = np.stack([page.off for page in pages])
    medians, count = known_medians(values, axis=0)
    middle = np.asarray(medians, np.float64)
    scatter = 1.4826 * known_medians(np.abs(values - middle), axis=0)[0]
    few = count < FEWEST_EARLIER
    middle[few] = np.nan
    scatter[few] = np.nan
    return middle, scatter, count.astype(np.float64)


def beside(column: float, width: int, reach: int = BESIDE) -> slice:
    """Columns about one, as far as there are any."""
    at = round(column)
    return slice(max(at - reach, 0), min(at + reach + 1, width))
