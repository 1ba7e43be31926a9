"""How a scanner fares over months: what changed, when, and when a limit will be met.

Pure functions over `Check` and `Event`. Each measure is a series; an event (cleaning, repair, new
lamp) begins it anew where it changed it. Within a stretch three charts watch it
(`scanqa.records.changes`). All measures of a scanner share one false-alarm budget, so that a
healthy scanner raises an alarm about once in `RUN_LENGTH` checks, whatever the number of its
measures. Streaks are followed by their place beside the charts (`scanqa.records.streak_lives`).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import pairwise

import numpy as np

from scanqa.catalogue import CATALOGUE
from scanqa.model import Bounds, Floats, Key
from scanqa.model.history import (
    DAYS_PER_MONTH,
    Change,
    Drift,
    Event,
    Health,
    MethodChange,
    Series,
    State,
)
from scanqa.records.baseline import baseline
from scanqa.records.changes import find_changes
from scanqa.records.effects import effects
from scanqa.records.lamp import lamp
from scanqa.records.series import Value
from scanqa.records.store import Check
from scanqa.records.streak_lives import streak_lives
from scanqa.records.trend import Line, crossing, fit_line
from scanqa.records.weigh import named, scatter_floor

RUN_LENGTH = 240.0  # checks between false alarms of one healthy scanner: twenty years of months
FEWEST_CHECKS = 4  # less than this after an event: too few to judge
FEWEST_FOR_TREND = 6
TREND_ERROR = 0.01  # of a trend where the charts have alarmed already
NORMAL_SIGMA = 3.0
NONE_FOUND = frozenset({"streaks.strongest_visible", "banding.amplitude"})  # at most: none is seen
ORDER: dict[State, int] = {"changed": 0, "drifting": 1, "steady": 2, "too few checks": 3}


def health(
    scanner: str,
    checks: Sequence[Check],
    events: Sequence[Event] = (),
    *,
    limits: Mapping[str, float] | None = None,
    on_record: int | None = None,
) -> Health:
    """Judge a scanner's history.

    Parameters
    ----------
    checks : sequence of Check
        Oldest first.
    events : sequence of Event
        Cleanings, repairs, lamp swaps.
    limits : mapping from measure name to value
        Limits whose crossing is to be dated.
    on_record : int or None
        How many checks there are if these are only the newest.

    Returns
    -------
    Health
        Values measured by an older method version or at another dpi than the newest are left out
        of their series.
    """
    on_record = len(checks) if on_record is None else on_record
    if not checks:
        return Health(scanner, (), tuple(events), (), (), None, 0, on_record, ("", ""))
    streaks, blanks = streak_lives(checks)
    made, run_length = _watched(checks, limits or {})
    # Each event begins every series anew, to see what it changed; then only those it did change:
    # to forget a baseline for nothing would hide a drift that sets in soon after.
    series = made(lambda key: events)
    found, changed = effects(series, events, streaks, blanks)
    if events:
        series = made(changed.__getitem__)
    series.sort(key=lambda s: ORDER[s.state])
    return Health(
        scanner,
        tuple(series),
        tuple(events),
        found,
        streaks,
        lamp(series, checks, run_length),
        len(checks),
        on_record,
        (checks[0].taken, checks[-1].taken),
    )


Begins = Callable[[Key], Sequence[Event]]  # the events that begin a series anew
Maker = Callable[[Begins], list[Series]]


def _watched(checks: Sequence[Check], limits: Mapping[str, float]) -> tuple[Maker, float]:
    """What makes all series, begun anew by the events of each, and the run length they share."""
    first = datetime.fromisoformat(checks[0].taken)
    day = {
        c.taken: (datetime.fromisoformat(c.taken) - first).total_seconds() / 86400 for c in checks
    }
    grouped = _grouped(checks)
    methods = _method_changes(checks)
    # What was seen fewer than FEWEST_CHECKS times raises no alarm and takes no share.
    watched = sum(len(points) >= FEWEST_CHECKS for points, _ in grouped.values())
    run_length = RUN_LENGTH * max(1, watched)

    def made(begins: Begins) -> list[Series]:
        return [
            replace(
                _series(key, points, left_out, day, begins(key), run_length, limits.get(key.name)),
                method=methods.get(key),
            )
            for key, (points, left_out) in grouped.items()
        ]

    return made, run_length


def _grouped(checks: Sequence[Check]) -> dict[Key, tuple[list[tuple[str, Value]], int]]:
    """The points of each series, and how many were left out."""
    groups: dict[Key, list[tuple[str, Value]]] = {}
    for check in checks:
        for value in check.values:
            if CATALOGUE[value.name].watched:
                key = value.key._replace(dpi=0)
                groups.setdefault(key, []).append((check.taken, value))
    found = {}
    for key, points in groups.items():
        kinds = {(v.method_version, v.dpi) for _, v in points}
        wanted = (max(version for version, _ in kinds), points[-1][1].dpi)
        alike = points
        if kinds != {wanted}:
            alike = [(w, v) for w, v in points if (v.method_version, v.dpi) == wanted]
        found[key._replace(dpi=wanted[1])] = (alike, len(points) - len(alike))
    return found


def _method_changes(checks: Sequence[Check]) -> dict[Key, MethodChange]:
    """What the method of now changed of each series, by the scans that both have measured."""
    pairs: dict[tuple[Key, int, int], list[float]] = {}
    for check in checks:
        now = {value.key: value for value in check.values}
        for old in check.measured_before:
            if old.key in now:
                versions = (old.key, old.method_version, now[old.key].method_version)
                pairs.setdefault(versions, []).append(now[old.key].value - old.value)
    found: dict[Key, MethodChange] = {}
    for (key, before, version), shifts in sorted(pairs.items(), key=lambda pair: pair[0][1:]):
        found[key] = MethodChange(
            before, version, len(shifts), statistics.median(shifts), min(shifts), max(shifts)
        )
    return found


def charted(v: Value) -> float:
    """What the charts see of a value: 0 where none was found, for what hides it goes its own way.

    A noisier lamp would else pass for a line that grows.
    """
    return 0.0 if v.status == "at-most" and v.name in NONE_FOUND else v.value


def _bounds(v: Value) -> Bounds:
    """What a value leaves open; of what is charted as none found nothing."""
    return Bounds() if charted(v) != v.value else Bounds(v.status, v.low, v.high)


def _own_doubt(values: Sequence[Value]) -> list[float | None]:
    """Uncertainty of each value without what all of the series share: one print, one curve."""
    common = set.intersection(*(named(v.shared) for v in values))
    doubt: list[float | None] = []
    for v in values:
        lone = [part.size for part in v.shared if (part.kind, part.of) not in common]
        known = v.random is not None or lone
        doubt.append(math.hypot(v.random or 0.0, *lone) if known else None)
    return doubt


def _series(
    key: Key,
    points: Sequence[tuple[str, Value]],
    left_out: int,
    day: Mapping[str, float],
    events: Sequence[Event],
    run_length: float,
    limit: float | None,
) -> Series:
    dates = [when for when, _ in points]
    days = [day[when] for when in dates]
    values = [charted(v) for _, v in points]
    stated = _own_doubt([v for _, v in points])
    starts = sorted({0, *(i for e in events if 0 < (i := _first_after(dates, e.at)) < len(dates))})
    changes: list[Change] = []
    for start, stop in zip(starts, [*starts[1:], len(values)], strict=True):
        floor = scatter_floor(key.name, values[start:stop], stated[start:stop])
        found = find_changes(values[start:stop], run_length=run_length, floor=floor)
        changes += [
            Change(c.began + start, c.alarm + start, c.before, c.after, c.chart) for c in found
        ]
    recent = [c for c in changes if c.began >= starts[-1]]
    begin = begin_of_line(values, starts[-1], recent)
    line = _line(days[begin:], values[begin:])
    meets = crossing(line, limit, confidence=0.95) if line and limit is not None else None
    # Where no chart has alarmed, a trend must be as unlikely as an alarm would be.
    trend = line is not None and line.p_value < (TREND_ERROR if recent else 1 / run_length)
    state: State
    if len(values) - starts[-1] < FEWEST_CHECKS and not recent:
        state = "too few checks"
    elif recent and not trend:
        state = "changed"
    elif recent or (trend and line is not None and _matters(line, days[begin:])):
        state = "drifting"
    else:
        state = "steady"
    drift = drift_of(line, days[begin:]) if state == "drifting" and line is not None else None
    beyond = limit is not None and _beyond(key.name, values[begin:], line, days[-1], limit)
    return Series(
        key, points[0][1].unit, tuple(dates), tuple(days), tuple(values), tuple(stated),
        tuple(starts), tuple(changes), _normal(values, starts[-1], recent), drift, meets, limit,
        left_out, state, beyond, begin, bounds=tuple(_bounds(v) for _, v in points),
    )  # fmt: skip


def _first_after(dates: Sequence[str], moment: str) -> int:
    return sum(date < moment for date in dates)


def _normal(
    values: Sequence[float], start: int, recent: Sequence[Change]
) -> tuple[float, float] | None:
    """Three sigma about the mean of the stretch before its first change."""
    stop = recent[0].began if recent else len(values)
    if stop - start < FEWEST_CHECKS:
        return None
    base = baseline(values[start:stop])
    half = NORMAL_SIGMA * base.sigma
    return base.mean - half, base.mean + half


def begin_of_line(values: Sequence[float], start: int, changes: Sequence[Change]) -> int:
    """From where on a straight line tells the checks: the stretch, or one of its changes.

    A drift raises one alarm after another. Of levels that step at the changes up to a place and a
    line from there on, for each place, the one is taken that leaves over the least variance.
    """
    x = np.arange(len(values), dtype=np.float64)
    y = np.asarray(values, np.float64)
    borders = [start, *(c.began for c in changes), len(y)]
    steps = [_left_over(x[a:b], y[a:b], 0) for a, b in pairwise(borders)]
    best = (sum(steps) / max(1, len(y) - start - len(steps)), borders[-2])
    for at, begin in enumerate(borders[:-1]):
        spare = len(y) - start - at - 2
        if len(y) - begin >= FEWEST_FOR_TREND and spare > 0:
            over = sum(steps[:at]) + _left_over(x[begin:], y[begin:], 1)
            best = min(best, (over / spare, begin))
    return best[1]


def _left_over(x: Floats, y: Floats, degree: int) -> float:
    """Sum of squares about the mean (degree 0) or the line (1)."""
    fitted = np.polynomial.Polynomial.fit(x, y, degree)(x) if degree else y.mean()
    return float(((y - fitted) ** 2).sum())


def _line(days: Sequence[float], values: Sequence[float]) -> Line | None:
    if len(values) < FEWEST_FOR_TREND or np.ptp(days) == 0:
        return None
    return fit_line(days, values)


def _matters(line: Line, days: Sequence[float]) -> bool:
    """Whether a significant trend has moved the measure by more than its scatter."""
    return abs(line.slope) * (days[-1] - days[0]) > 2 * line.residual_sd


def _beyond(
    name: str, values: Sequence[float], line: Line | None, today: float, limit: float
) -> bool:
    """Whether the present level lies on the wrong side of a limit."""
    trend = line is not None and line.p_value < TREND_ERROR
    level = line.at(today) if trend and line is not None else statistics.median(values)
    better = CATALOGUE[name].better
    return (better == "lower" and level > limit) or (better == "higher" and level < limit)


def drift_of(line: Line, days: Sequence[float]) -> Drift:
    """A line through checks at these days, as a trend per month."""
    low, high = (s * DAYS_PER_MONTH for s in line.slope_interval())
    ends = (days[0], days[-1])
    return Drift(line.slope * DAYS_PER_MONTH, low, high, ends, (line.at(ends[0]), line.at(ends[1])))
