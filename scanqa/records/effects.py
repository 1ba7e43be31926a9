"""What a cleaning, a repair or a new lamp changed: each measure before and after.

The levels before and after an event are the means of up to `AROUND` checks on each side, of the
stretch next to it (a streak that came just before a cleaning is its "before"). Scatter is taken
over the whole series from checks that follow each other without a change or an event between them:
s² = Σ (d − d̄)² / 2n of n successive differences, whose degrees of freedom are about 2n/3 (von
Neumann et al., Annals of Mathematical Statistics 12(2), 1941: large-sample efficiency 2/3); the
interval is Student's. A trend about the event is taken off, so that a lamp that dims all the while
is not held against the cleaning. The intervals of all measures of an event hold together
(`scanqa.records.weigh.each_alone`), and a change is shown where its interval leaves nought out.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from scanqa.model import Key
from scanqa.model.history import Effect, Event, Series, Shift, StreakLife
from scanqa.records.weigh import (
    FAMILY_ERROR,
    each_alone,
    improves,
    interval,
    matters,
    scatter_floor,
)

AROUND = 3  # checks on each side that are the level before and after
NEAR = 5  # steps on each side that show a trend


@dataclass(frozen=True, slots=True)
class _Step:
    """Levels of a measure before and after an event; the standard error of their difference."""

    series: Series
    before: float
    after: float
    difference: float
    error: float
    degrees: float


def effects(
    series: Sequence[Series],
    events: Sequence[Event],
    streaks: Sequence[StreakLife] = (),
    blanks: Sequence[str] = (),
) -> tuple[tuple[Effect, ...], dict[Key, list[Event]]]:
    """Before and after each event, in time order; and the events that changed each series.

    Parameters
    ----------
    series : sequence of Series
        Each begun anew at every event.
    streaks, blanks : sequences
        Streaks by place, and the times of the checks that looked for them.

    Returns
    -------
    effects : tuple of Effect
    changed : dict from key to list of Event
        Events with a shift that is shown, whether it matters or not, or that cannot be tested.
    """
    changed: dict[Key, list[Event]] = {s.key: [] for s in series}
    found = []
    for event in sorted(events, key=lambda e: e.at):
        tested = [(s, _step(s, event, events)) for s in series]
        known = [step for _, step in tested if step is not None]
        alone = each_alone(len(known))
        shown = [shift for step in known if (shift := _shift(step, alone)) is not None]
        for key in (*(s.key for s, step in tested if step is None), *(s.key for s in shown)):
            changed[key].append(event)
        large = [
            shift
            for shift in shown
            if abs(shift.difference) >= matters(shift.key.name, shift.before, shift.after)
        ]
        came, went = _streaks_beside(event, streaks, blanks)
        small = len(shown) - len(large)
        found.append(
            Effect(event, tuple(large), len(known), small, came, went, together=1 - FAMILY_ERROR)
        )
    return tuple(found), changed


def _streaks_beside(
    event: Event, streaks: Sequence[StreakLife], blanks: Sequence[str]
) -> tuple[tuple[StreakLife, ...], tuple[StreakLife, ...]]:
    """Streaks that came and that went between the last check before an event and the next."""
    before = max((at for at in blanks if at < event.at), default=None)
    after = min((at for at in blanks if at >= event.at), default=None)
    if before is None or after is None:
        return (), ()
    came = tuple(s for s in streaks if s.first == after and not s.since_start)
    return came, tuple(s for s in streaks if s.last == before and s.gone == after)


def _step(s: Series, event: Event, events: Sequence[Event]) -> _Step | None:
    """One measure over an event; None without checks on both sides or a scatter."""
    at = sum(date < event.at for date in s.dates)
    later = min((e.at for e in events if e.at > event.at), default="9")
    end = sum(date < later for date in s.dates)
    borders = sorted({*s.starts, *(c.began for c in s.changes)})
    begin = max((b for b in borders if b < at), default=0)
    until = min((b for b in borders if b > at), default=end)
    before = s.values[max(begin, at - AROUND) : at]
    after = s.values[at : min(until, end, at + AROUND)]
    steps = {i: s.values[i] - s.values[i - 1] for i in range(1, len(s.values)) if i not in borders}
    if not before or not after or not steps:
        return None
    floor = scatter_floor(s.key.name, s.values, s.uncertainties)
    middle = statistics.fmean(steps.values())
    spread = sum((d - middle) ** 2 for d in steps.values()) / (2 * len(steps))
    scatter = max(math.sqrt(spread), floor)
    trend, trend_error = _trend(steps, at, scatter)
    between = (len(before) + len(after)) / 2  # checks from the middle of one side to the other's
    degrees = max(1.0, 2 * len(steps) / 3)
    error = math.hypot(scatter * math.sqrt(1 / len(before) + 1 / len(after)), between * trend_error)
    was, became = statistics.fmean(before), statistics.fmean(after)
    return _Step(s, was, became, became - was - trend * between, error, degrees)


def _shift(step: _Step, confidence: float) -> Shift | None:
    """A step with its interval; None where that holds nought."""
    s, difference = step.series, step.difference
    low, high = interval(s.key.name, difference, step.error, step.degrees, confidence)
    if low <= 0 <= high:
        return None
    better = improves(s.key.name, difference)
    verdict: Literal["better", "worse", "different"] = (
        "different" if better is None else "better" if better else "worse"
    )
    return Shift(s.key, s.unit, step.before, step.after, difference, low, high, verdict)


def _trend(steps: Mapping[int, float], at: int, scatter: float) -> tuple[float, float]:
    """Change from check to check and its error, if both sides of an event show the same way."""
    sides = [
        [d for i, d in steps.items() if begin <= i < end]
        for begin, end in ((at - NEAR, at), (at + 1, at + 1 + NEAR))
    ]
    if not all(sides):
        return 0.0, 0.0
    slopes = [statistics.fmean(side) for side in sides]
    errors = [scatter * math.sqrt(2) / len(side) for side in sides]
    shown = [abs(slope) > 2 * error for slope, error in zip(slopes, errors, strict=True)]
    if not all(shown) or slopes[0] * slopes[1] < 0:
        return 0.0, 0.0
    return statistics.fmean(slopes), math.hypot(*errors) / 2
