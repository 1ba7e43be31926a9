"""Lamp health from the light index, settle time, neutrality, channel balance and stray light.

White calibration hides the level of a lamp, so it is judged by what calibration cannot hide. Which
signs mean what is data (``lamp.toml``); this code reads the signs off the series.
"""

from __future__ import annotations

import statistics
import tomllib
from collections.abc import Sequence
from functools import cache
from importlib import resources
from typing import Any, Literal

from scanqa.over_time import Lamp, Series
from scanqa.records.changes import find_changes
from scanqa.records.store import Check

LIGHT, SETTLE, TINT, HAZE = (
    "noise.light_index", "drift.settle_time", "colour.neutrality", "veil.stray_light",
)  # fmt: skip
MATTERS = 0.05  # of the light: less than this is said to be the same (our limit)
FEWEST = 4  # checks, as for every series

Sign = Literal["worse", "same", "unknown"]


def lamp(series: Sequence[Series], checks: Sequence[Check], run_length: float) -> Lamp:
    """Lamp health in words; `run_length` as for the series."""
    light, light_words = _light([s for s in series if s.key[0] == LIGHT])
    balance, balance_words = _balance(checks, series, run_length)
    tint, tint_words = _higher(series, TINT)
    settle, settle_words = _higher(series, SETTLE)
    haze, haze_words = _higher(series, HAZE)
    colour: Sign = (
        "worse"
        if "worse" in (balance, tint)
        else "same"
        if "same" in (balance, tint)
        else "unknown"
    )
    found = {"light": light, "settle": settle, "colour": colour, "haze": haze}
    rule = next(r for r in _rules() if all(found[n] in r[n] for n in found if n in r))
    signs = (
        ("light index", light_words),
        ("settle time", settle_words),
        ("channel balance", balance_words),
        ("neutrality", tint_words),
        ("stray light", haze_words),
    )
    action, caution = rule.get("action", ""), rule.get("caution", "")
    return Lamp(rule["verdict"], rule["sentence"], signs, action, caution)


@cache
def _rules() -> list[dict[str, Any]]:
    text = (resources.files("scanqa.records") / "lamp.toml").read_text("utf-8")
    rules: list[dict[str, Any]] = tomllib.loads(text)["rule"]
    return rules


def _light(channels: Sequence[Series]) -> tuple[str, str]:
    """How the light fares since the last event, over the channels."""
    judged = [s for s in channels if s.state != "too few checks"]
    if not judged:
        return "unknown", "not known: too few checks with two blank scans"
    ratios = [_now(s) / first for s in judged if (first := _first(s)) > 0]
    ratio = statistics.median(ratios) if ratios else 1.0
    moved = [s for s in judged if s.state in ("changed", "drifting")]
    if len(moved) * 2 < len(judged) or abs(ratio - 1) < MATTERS:
        return "same", f"as before ({100 * ratio:.0f} % of the first checks)"
    since = min(
        [s.dates[c.began] for s in moved for c in s.changes if c.began >= s.starts[-1]]
        or [s.dates[s.starts[-1]] for s in moved]
    )[:10]
    words = f"{100 * ratio:.0f} % of the first checks, since about {since}"
    if ratio > 1:
        return "rises", words
    drifting = sum(s.state == "drifting" for s in moved) * 2 >= len(moved)
    return ("falls slowly" if drifting else "falls at once"), words


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


def _higher(series: Sequence[Series], name: str) -> tuple[Sign, str]:
    """Whether a measure that should be low has risen."""
    found = [s for s in series if s.key[0] == name and s.state != "too few checks"]
    if not found:
        return "unknown", "not measured in enough checks"
    s = found[0]
    was, now = _first(s), _now(s)
    said = f"{was:.3g} to {now:.3g} {s.unit}".strip()
    if s.state in ("changed", "drifting") and now > was:
        return "worse", f"risen, {said}"
    return "same", "as before" if s.state == "steady" else f"lower, {said}"


def _balance(
    checks: Sequence[Check], series: Sequence[Series], run_length: float
) -> tuple[Sign, str]:
    """Whether red or blue light has moved against green since the last event."""
    green = next((s for s in series if s.key[:3] == (LIGHT, "", "green")), None)
    if green is None:
        return "unknown", "not known: takes colour scans of blank paper"
    worst: tuple[Sign, str] = ("unknown", "not known: too few checks")
    for channel in ("red", "blue"):
        ratios = _ratios(checks, green, channel)
        if len(ratios) < FEWEST:
            continue
        found = find_changes(ratios, run_length=run_length)
        if found:
            change = 100 * (statistics.median(ratios[found[-1].began :]) / found[0].before - 1)
            return "worse", f"{channel} against green moved by {change:+.0f} %"
        worst = "same", "as before"
    return worst


def _ratios(checks: Sequence[Check], green: Series, channel: str) -> list[float]:
    since = green.dates[green.starts[-1]]
    ratios = []
    for check in checks:
        if check.taken < since:
            continue
        found = {
            v.channel: v.value
            for v in check.values
            if v.name == LIGHT and v.dpi == green.dpi and v.value > 0
        }
        if channel in found and "green" in found:
            ratios.append(found[channel] / found["green"])
    return ratios
