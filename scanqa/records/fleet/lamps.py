"""Lamps by the time at which half of their light will be gone.

Each lamp's light index is followed since the event that last changed it (`scanqa.records.lamp`);
its straight line, channel by channel, says when half is left. Among hundreds of lamps some seem to
fall by chance: the expected share of those among the ones that are named is held at 5 %
(`scanqa.records.fleet.within_model.false_share_held`).
"""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from scanqa.model.fleet import LampEnd
from scanqa.model.history import Change, Drift
from scanqa.records.fleet.gather import Track, UnitChecks
from scanqa.records.fleet.within_model import FALSE_SHARE, false_share_held
from scanqa.records.health import FEWEST_FOR_TREND, begin_of_line, drift_of
from scanqa.records.lamp import LIGHT, months_to_half
from scanqa.records.trend import fit_line

DAY_S = 86400


@dataclass(frozen=True, slots=True, eq=False)
class Stretched:
    """A track with its present stretch and the changes in it."""

    track: Track
    start: int
    changes: tuple[Change, ...]


def lamp_ends(
    units: Sequence[UnitChecks], present: Mapping[str, Sequence[Stretched]]
) -> list[LampEnd]:
    """Lamps whose light falls, the one that ends first before the others.

    Parameters
    ----------
    present : mapping from scanner to sequence of Stretched
        All tracks of each scanner.
    """
    found = []
    for unit in units:
        channels = [
            (p, drift, first)
            for each in present.get(unit.name, ())
            if each.track.key.name == LIGHT and (known := _trend(unit, each)) is not None
            for p, drift, first in [known]
        ]
        if channels:
            p = statistics.median(p for p, _, _ in channels)
            found.append((p, unit, [(drift, first) for _, drift, first in channels]))
    falls = false_share_held([p for p, _, _ in found], FALSE_SHARE)
    ends = []
    for (_, unit, pairs), fell in zip(found, falls, strict=True):
        shares = [drift.values[1] / first for drift, first in pairs if first > 0]
        if fell and shares and statistics.median(d.per_month for d, _ in pairs) < 0:
            left = max(statistics.median(shares), 0.0)
            ends.append(LampEnd(unit.name, unit.identity.lamp, left, months_to_half(pairs)))
    return sorted(ends, key=_end)


def _end(lamp: LampEnd) -> tuple[float, float]:
    months = lamp.half_in_months
    return (months.likely if months else float("inf"), lamp.left)


def _trend(unit: UnitChecks, each: Stretched) -> tuple[float, Drift, float] | None:
    """How likely a light's fall is by chance, its line, and its first level; None if too few."""
    values = each.track.values.tolist()
    recent = [c for c in each.changes if c.began >= each.start]
    begin = begin_of_line(values, each.start, recent)
    days = [_day(unit.taken[at]) for at in each.track.at[begin:]]
    if len(days) < FEWEST_FOR_TREND or days[0] == days[-1]:
        return None
    line = fit_line(days, values[begin:])
    drift = drift_of(line, days)
    first = recent[0].before if recent else drift.values[0]
    return line.p_value, drift, first


def _day(moment: str) -> float:
    return datetime.fromisoformat(moment).timestamp() / DAY_S
