"""What a cleaning, a repair or a new lamp changed: each measure before and after.

The levels before and after an event are the means of up to `AROUND` checks on each side, of the
stretch next to it (a streak that came just before a cleaning is its "before"). Scatter is taken
over the whole series from checks that follow each other without a change or an event between them:
s² = Σ d² / 2n of n successive differences, whose degrees of freedom are about 2n/3 (von Neumann
et al., Annals of Mathematical Statistics 12(2), 1941: large-sample efficiency 2/3); the interval is
Student's. Over all measures of an event Holm holds the chance of a false claim.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from typing import Literal

from scanqa.numeric.trend import student_tail, student_width
from scanqa.over_time import Effect, Event, Series, Shift, digits_of, key_words
from scanqa.records.weigh import holm, improves, matters

AROUND = 3
CONFIDENCE = 0.95


def effects(series: Sequence[Series], events: Sequence[Event]) -> tuple[Effect, ...]:
    """Before and after each event, in time order."""
    return tuple(_effect(series, event, events) for event in sorted(events, key=lambda e: e.at))


def _effect(series: Sequence[Series], event: Event, events: Sequence[Event]) -> Effect:
    found = [(s, t) for s in series if (t := _tested(s, event, events)) is not None]
    falls = holm([p for _, (_, p) in found])
    shown = [(s, shift) for (s, (shift, _)), fell in zip(found, falls, strict=True) if fell]
    large = [
        shift
        for s, shift in shown
        if abs(shift.difference) >= matters(s.key[0], shift.before, shift.after)
    ]
    sentence = _sentence(event, large, len(found), len(shown) - len(large))
    return Effect(event, tuple(large), len(found), len(shown) - len(large), sentence)


def _tested(s: Series, event: Event, events: Sequence[Event]) -> tuple[Shift, float] | None:
    """The shift of one measure and its p value; None without checks on both sides or a scatter."""
    at = sum(date < event.at for date in s.dates)
    later = min((e.at for e in events if e.at > event.at), default="9")
    end = sum(date < later for date in s.dates)
    borders = sorted({*s.starts, *(c.began for c in s.changes)})
    begin = max((b for b in borders if b < at), default=0)
    until = min((b for b in borders if b > at), default=end)
    before = s.values[max(begin, at - AROUND) : at]
    after = s.values[at : min(until, end, at + AROUND)]
    steps = [s.values[i] - s.values[i - 1] for i in range(1, len(s.values)) if i not in borders]
    if not before or not after or not steps:
        return None
    known = [u for u in s.uncertainties if u is not None]
    floor = 10.0 ** -digits_of(s.key)
    if known:
        floor = max(floor, 0.5 * statistics.median(known))
    scatter = max(math.sqrt(sum(d * d for d in steps) / (2 * len(steps))), floor)
    degrees = max(1.0, 2 * len(steps) / 3)
    error = scatter * math.sqrt(1 / len(before) + 1 / len(after))
    was, became = statistics.mean(before), statistics.mean(after)
    difference = became - was
    half = student_width(CONFIDENCE, degrees) * error
    better = improves(s.key[0], difference)
    verdict: Literal["better", "worse", "different"] = (
        "different" if better is None else "better" if better else "worse"
    )
    shift = Shift(
        s.key, s.unit, was, became, difference, difference - half, difference + half, verdict
    )
    return shift, 2 * student_tail(-abs(difference / error), degrees)


def _sentence(event: Event, shifts: Sequence[Shift], compared: int, small: int) -> str:
    head = f"{event.at[:10]}, {event.words}: "
    if not compared:
        return head + "no checks on both sides yet to compare."
    if not shifts:
        return head + f"no change beyond scatter that matters, in {of_measures(compared)}."
    said = "; ".join(_words(shift) for shift in shifts)
    rest = compared - len(shifts)
    return head + f"{said}. No change that matters in {of_measures(rest)} more."


def of_measures(count: int) -> str:
    """``1 measure`` or ``5 measures``."""
    return "1 measure" if count == 1 else f"{count} measures"


def _words(shift: Shift) -> str:
    digits = digits_of(shift.key)
    unit = f" {shift.unit}" if shift.unit else ""
    return (
        f"{key_words(shift.key)} {shift.verdict}, from {shift.before:.{digits}f} to "
        f"{shift.after:.{digits}f}{unit} (by {shift.low:+.{digits}f} to {shift.high:+.{digits}f})"
    )
