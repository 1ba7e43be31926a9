"""How a scanner fares over months: what changed, when, and when a limit will be met.

Pure functions over `Check` and `Event`. Each measure is a series; an event (cleaning, repair, new
lamp) begins it anew. Within a stretch, values are turned into self-starting scores and watched by
an individuals chart and a CUSUM; the two share one false-alarm budget, which all measures of a
scanner share in turn, so that a healthy scanner raises an alarm about once in `RUN_LENGTH` checks,
whatever the number of its measures. After an alarm the series begins anew at the estimated change,
so that every change is found, not only the first.
"""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from scanqa.catalogue import CATALOGUE
from scanqa.numeric.control import Baseline, cusum, individuals
from scanqa.numeric.selfstart import FIRST_SCORED, cusum_limit, q_scores, shewhart_limit
from scanqa.numeric.trend import Crossing, Line, crossing, fit_line
from scanqa.records.series import Value
from scanqa.records.store import Check, Event

RUN_LENGTH = 240.0  # checks between false alarms of one healthy scanner: twenty years of months
FEWEST_CHECKS = 4  # less than this after an event: too few to judge
FEWEST_FOR_TREND = 6
TREND_CONFIDENCE = 0.99
DAYS_PER_MONTH = 365.2425 / 12

State = Literal["steady", "changed", "drifting", "too few checks"]


@dataclass(frozen=True, slots=True)
class Change:
    """A change found in a series.

    Attributes
    ----------
    began : int
        Index of the first check that belongs to it (an estimate).
    alarm : int
        Index of the check that gave it away.
    before, after : float
        Medians on both sides.
    """

    began: int
    alarm: int
    before: float
    after: float


@dataclass(frozen=True, slots=True)
class Series:
    """One measure of one scanner over time.

    Attributes
    ----------
    days : tuple of float
        Time of each check, in days since the first check of the scanner.
    starts : tuple of int
        Where the series begins anew because of an event.
    changes : tuple of Change
        In time order, each not explained by an event.
    line : Line or None
        Through the checks since the last event or abrupt change, where there are enough.
    crossing : Crossing or None
        In days since the first check, where a limit was given and the trend is significant.
    limit : float or None
        The limit that `crossing` speaks of.
    """

    key: tuple[str, str, str, str]
    unit: str
    dates: tuple[str, ...]
    days: tuple[float, ...]
    values: tuple[float, ...]
    uncertainties: tuple[float | None, ...]
    starts: tuple[int, ...]
    changes: tuple[Change, ...]
    line: Line | None
    crossing: Crossing | None
    limit: float | None
    state: State
    sentence: str


@dataclass(frozen=True, slots=True)
class Health:
    """All series of a scanner, the ones that call for attention first."""

    scanner: str
    series: tuple[Series, ...]
    events: tuple[Event, ...]
    checks: int
    sentence: str


def health(
    scanner: str,
    checks: Sequence[Check],
    events: Sequence[Event] = (),
    *,
    limits: Mapping[str, float] | None = None,
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

    Returns
    -------
    Health
        Values measured by an older method version than the newest are left out of their series.
    """
    if not checks:
        return Health(scanner, (), tuple(events), 0, f"No check of {scanner} is on record.")
    first = datetime.fromisoformat(checks[0].taken)
    grouped = _grouped(checks)
    # What was seen fewer than FEWEST_CHECKS times raises no alarm and takes no share.
    watched = sum(len(points) >= FEWEST_CHECKS for points in grouped.values())
    run_length = RUN_LENGTH * max(1, watched)
    series = [
        _series(key, points, first, events, run_length, (limits or {}).get(key[0]))
        for key, points in grouped.items()
    ]
    order = {"changed": 0, "drifting": 1, "steady": 2, "too few checks": 3}
    series.sort(key=lambda s: order[s.state])
    return Health(
        scanner,
        tuple(series),
        tuple(events),
        len(checks),
        _overall(scanner, checks, series),
    )


def _grouped(
    checks: Sequence[Check],
) -> dict[tuple[str, str, str, str], list[tuple[str, Value]]]:
    groups: dict[tuple[str, str, str, str], list[tuple[str, Value]]] = {}
    for check in checks:
        for value in check.values:
            groups.setdefault(value.key, []).append((check.taken, value))
    newest = {key: max(v.method_version for _, v in points) for key, points in groups.items()}
    return {
        key: [(when, v) for when, v in points if v.method_version == newest[key]]
        for key, points in groups.items()
    }


def _series(
    key: tuple[str, str, str, str],
    points: Sequence[tuple[str, Value]],
    first: datetime,
    events: Sequence[Event],
    run_length: float,
    limit: float | None,
) -> Series:
    dates = [when for when, _ in points]
    days = [(datetime.fromisoformat(when) - first).total_seconds() / 86400 for when in dates]
    values = [v.value for _, v in points]
    stated = [v.uncertainty for _, v in points]
    starts = sorted({0, *(i for e in events if 0 < (i := _first_after(dates, e.at)) < len(dates))})
    changes: list[Change] = []
    for start, stop in zip(starts, [*starts[1:], len(values)], strict=True):
        changes += _changes(values, stated, start, stop, run_length)
    recent = [c for c in changes if c.began >= starts[-1]]
    begin = _begin_of_line(values, starts[-1], recent)
    line = _line(days[begin:], values[begin:])
    meets = crossing(line, limit, confidence=0.95) if line and limit is not None else None
    trend = line is not None and line.p_value < 1 - TREND_CONFIDENCE
    state: State
    if len(values) - starts[-1] < FEWEST_CHECKS and not recent:
        state = "too few checks"
    elif recent and not trend:
        state = "changed"
    elif recent or (trend and line is not None and _matters(line, days, values)):
        state = "drifting" if trend else "changed"
    else:
        state = "steady"
    sentence = _sentence(key, points, dates, days, starts, recent, line, meets, limit, state)
    return Series(
        key, points[0][1].unit, tuple(dates), tuple(days), tuple(values), tuple(stated),
        tuple(starts), tuple(changes), line, meets, limit, state, sentence,
    )  # fmt: skip


def _first_after(dates: Sequence[str], moment: str) -> int:
    return sum(date < moment for date in dates)


def _changes(
    values: Sequence[float],
    stated: Sequence[float | None],
    start: int,
    stop: int,
    run_length: float,
) -> list[Change]:
    """Every change in a stretch without events: alarm, estimate, begin anew there, and so on."""
    # The two charts halve the budget: each alone alarms half as often as both together may.
    limit_cusum = cusum_limit(2 * run_length)
    limit_single = shewhart_limit(2 * run_length)
    standard = Baseline(0.0, 1.0, 1)
    known = [u for u in stated[start:stop] if u is not None]
    # Scatter from check to check cannot be smaller than what each check's uncertainty says.
    floor = 0.5 * statistics.median(known) if known else 0.0
    changes: list[Change] = []
    while stop - start > FIRST_SCORED:
        scores = q_scores(values[start:stop], floor=floor)
        summed = cusum(scores, standard, limit_sigma=limit_cusum)
        single = individuals(scores, standard, limit_sigma=limit_single)
        alarm = min((*summed.alarms, *single.alarms), default=None)
        if alarm is None:
            return changes
        began = alarm
        if alarm in summed.alarms:
            began = max(1, summed.began[summed.alarms.index(alarm)])
        before = statistics.median(values[start : start + began])
        after = statistics.median(values[start + began : start + alarm + 1])
        changes.append(Change(start + began, start + alarm, before, after))
        start += began  # at least 1: the first value of a stretch cannot be a change
    return changes


def _begin_of_line(values: Sequence[float], start: int, changes: Sequence[Change]) -> int:
    """From the last step on; within that, from where a drift set in."""
    begin, drifting = start, False
    for change in changes:
        if _abrupt(values, change):
            begin, drifting = change.began, False
        elif not drifting:
            begin, drifting = change.began, True
    return begin


def _abrupt(values: Sequence[float], change: Change) -> bool:
    """A step rather than the start of a drift: the first value after it is already there."""
    step = change.after - change.before
    return abs(values[change.began] - change.before) > 0.5 * abs(step)


def _line(days: Sequence[float], values: Sequence[float]) -> Line | None:
    if len(values) < FEWEST_FOR_TREND or np.ptp(days) == 0:
        return None
    return fit_line(days, values)


def _matters(line: Line, days: Sequence[float], values: Sequence[float]) -> bool:
    """Whether a significant trend has moved the measure by more than its scatter."""
    return abs(line.slope) * (days[-1] - days[0]) > 2 * line.residual_sd


# ---------------------------------------------------------------------------------- words


def _sentence(
    key: tuple[str, str, str, str],
    points: Sequence[tuple[str, Value]],
    dates: Sequence[str],
    days: Sequence[float],
    starts: Sequence[int],
    recent: Sequence[Change],
    line: Line | None,
    meets: Crossing | None,
    limit: float | None,
    state: State,
) -> str:
    unit = points[0][1].unit
    digits = CATALOGUE[key[0]].digits + 1

    def number(value: float) -> str:
        return f"{value:.{digits}f} {unit}".strip()

    if state == "too few checks":
        return f"Too few checks ({len(dates) - starts[-1]}) since the start or the last event."
    parts = []
    for change in recent:
        parts.append(
            f"Changed about {dates[change.began][:10]} from {number(change.before)} to "
            f"{number(change.after)} (noticed {dates[change.alarm][:10]})."
        )
    if state == "drifting" and line is not None:
        low, high = (s * DAYS_PER_MONTH for s in line.slope_interval())
        parts.append(
            f"Drifts by {number(line.slope * DAYS_PER_MONTH)} a month "
            f"({low:.{digits}f} to {high:.{digits}f})."
        )
    if limit is not None:
        parts.append(_limit_words(meets, days[-1], number(limit)))
    return " ".join(parts) or "Steady: no change and no trend shown."


def _limit_words(meets: Crossing | None, today: float, limit: str) -> str:
    if meets is None:
        return f"No trend shown, so no date for the limit {limit}."
    if meets.latest is not None and meets.latest < today:
        return f"The limit {limit} is already crossed."
    soon = max(0.0, meets.earliest - today) / DAYS_PER_MONTH
    if meets.latest is None:
        return f"The limit {limit} will not be met within {soon:.0f} months."
    late = (meets.latest - today) / DAYS_PER_MONTH
    if late < 0 or meets.likely < today - (meets.latest - meets.earliest):
        return f"The trend leads away from the limit {limit}."
    return f"The limit {limit} will be met in {soon:.0f} to {late:.0f} months if this goes on."


def _overall(scanner: str, checks: Sequence[Check], series: Sequence[Series]) -> str:
    moved = [s for s in series if s.state in ("changed", "drifting")]
    span = f"{checks[0].taken[:10]} to {checks[-1].taken[:10]}, {len(checks)} checks"
    if all(s.state == "too few checks" for s in series):
        return f"{scanner}: too few checks yet ({span}) to speak of a history."
    if not moved:
        return f"{scanner} is steady ({span}): no change and no trend shown."
    names = ", ".join(dict.fromkeys(s.key[0] for s in moved))
    return f"{scanner} has moved ({span}): {names}."
