"""Lamp health from the light index, settle time, neutrality, channel balance and stray light.

White calibration hides the level of a lamp, so it is judged by what calibration cannot hide. Which
signs mean what is data (`scanqa.catalogue.lamp_rules`); this code reads the signs off the series.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence

from scanqa.catalogue.lamp_rules import lamp_rules
from scanqa.model.history import Crossing, Drift, Lamp, LampSign, LampSignName, LampState, Series
from scanqa.records.changes import find_changes
from scanqa.records.store import Check

LIGHT, SETTLE, TINT, HAZE = (
    "noise.light_index", "drift.settle_time", "colour.neutrality", "veil.stray_light",
)  # fmt: skip
MATTERS = 0.05  # of the light: less than this is said to be the same (our limit)
SPENT = (
    0.5  # of the first light: noise has grown by √2 (shot noise), as far as a lamp is of use (ours)
)
LONGEST_MONTHS = 60.0  # no line is drawn further
FEWEST = 4  # checks, as for every series


def lamp(series: Sequence[Series], checks: Sequence[Check], run_length: float) -> Lamp:
    """Lamp health; `run_length` as for the series."""
    light = _light([s for s in series if s.key.name == LIGHT])
    settle = _higher(series, SETTLE, "settle")
    balance = _balance(checks, series, run_length)
    tint = _higher(series, TINT, "tint")
    haze = _higher(series, HAZE, "haze")
    seen = {balance.state, "same" if tint.state == "lower" else tint.state}
    colour = next((state for state in ("worse", "same") if state in seen), "unknown")
    states = {
        "light": light.state,
        "settle": "same" if settle.state == "lower" else settle.state,
        "colour": colour,
        "haze": "same" if haze.state == "lower" else haze.state,
    }
    rule = next(
        rule
        for rule in lamp_rules().values()
        if all(states[sign] in allowed for sign, allowed in rule.states.items())
    )
    falling = light.state in ("falls slowly", "falls at once")
    months = _months_to_half(series) if falling else None
    return Lamp(rule.id, (light, settle, balance, tint, haze), months)


def _light(channels: Sequence[Series]) -> LampSign:
    """How the light fares since the last event, over the channels; its first level is 1."""
    judged = [s for s in channels if s.state != "too few checks"]
    if not judged:
        return LampSign("light", "unknown")
    ratios = [_now(s) / first for s in judged if (first := _first(s)) > 0]
    ratio = statistics.median(ratios) if ratios else 1.0
    moved = [s for s in judged if s.state in ("changed", "drifting")]
    if len(moved) * 2 < len(judged) or abs(ratio - 1) < MATTERS:
        return LampSign("light", "same", 1.0, ratio)
    since = min(
        [s.dates[c.began] for s in moved for c in s.changes if c.began >= s.starts[-1]]
        or [s.dates[s.starts[-1]] for s in moved]
    )[:10]
    state: LampState = "rises"
    if ratio <= 1:
        drifting = sum(s.state == "drifting" for s in moved) * 2 >= len(moved)
        state = "falls slowly" if drifting else "falls at once"
    return LampSign("light", state, 1.0, ratio, since)


def _months_to_half(series: Sequence[Series]) -> Crossing | None:
    """When half of the first light is left, by the series of its channels."""
    return months_to_half(
        [(s.drift, _first(s)) for s in series if s.key.name == LIGHT and s.drift is not None]
    )


def months_to_half(channels: Sequence[tuple[Drift, float]]) -> Crossing | None:
    """When half of the first light is left: each channel's line goes on; the median of them.

    Parameters
    ----------
    channels : sequence of (Drift, float)
        The trend of each channel, and its level when the lamp was new.
    """
    found: list[tuple[float, float, float]] = []
    for drift, first in channels:
        if drift.high >= 0:
            continue  # a trend that may as well be level
        left = drift.values[1] - SPENT * first
        steepest, likely, flattest = (
            max(left, 0.0) / -pace for pace in (drift.low, drift.per_month, drift.high)
        )
        found.append((steepest, likely, flattest))
    if not found:
        return None
    earliest, likely, latest = map(statistics.median, zip(*found, strict=True))
    return Crossing(likely, earliest, latest) if likely <= LONGEST_MONTHS else None


def _first(s: Series) -> float:
    """The level of the present stretch before its first change, or where its trend began."""
    start = s.starts[-1]
    stop = min((c.began for c in s.changes if c.began >= start), default=None)
    if stop is None and s.drift is not None:
        return s.drift.values[0]
    return statistics.median(s.values[start:stop])


def _now(s: Series) -> float:
    if s.drift is not None:
        return s.drift.values[1]
    begin = max([s.starts[-1], *(c.began for c in s.changes)])
    return statistics.median(s.values[begin:])


def _higher(series: Sequence[Series], measure: str, name: LampSignName) -> LampSign:
    """Whether a measure that should be low has risen."""
    found = [s for s in series if s.key.name == measure and s.state != "too few checks"]
    if not found:
        return LampSign(name, "unknown")
    s = found[0]
    was, now = _first(s), _now(s)
    state: LampState = "same" if s.state == "steady" else "lower"
    if s.state in ("changed", "drifting") and now > was:
        state = "worse"
    return LampSign(name, state, was, now)


def _balance(checks: Sequence[Check], series: Sequence[Series], run_length: float) -> LampSign:
    """Whether red or blue light has moved against green since the last event."""
    green = next((s for s in series if s.key.name == LIGHT and s.key.channel == "green"), None)
    if green is None:
        return LampSign("balance", "unknown")
    found = LampSign("balance", "unknown", channel="green")  # too few checks to tell
    for channel in ("red", "blue"):
        ratios = _ratios(checks, green, channel)
        if len(ratios) < FEWEST:
            continue
        changes = find_changes(ratios, run_length=run_length)
        if changes:
            now = statistics.median(ratios[changes[-1].began :]) / changes[0].before
            return LampSign("balance", "worse", 1.0, now, channel=channel)
        found = LampSign("balance", "same")
    return found


def _ratios(checks: Sequence[Check], green: Series, channel: str) -> list[float]:
    since = green.dates[green.starts[-1]]
    ratios = []
    for check in checks:
        if check.taken < since:
            continue
        found = {
            v.channel: v.value
            for v in check.values
            if v.name == LIGHT and v.dpi == green.key.dpi and v.value > 0
        }
        if channel in found and "green" in found:
            ratios.append(found[channel] / found["green"])
    return ratios
