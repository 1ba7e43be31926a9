"""From signs to likely causes and what to do.

Words, causes, actions and cautions are data (``causes.toml``); here stands only which sign calls
which row, and how strong it must be.
"""

from __future__ import annotations

import statistics
import tomllib
from collections.abc import Callable, Iterator
from functools import cache
from importlib import resources
from typing import Any

from scanqa.catalogue import SIDES
from scanqa.findings.statistic import matching, summarise
from scanqa.model import Finding, Measurement, Point, Results, ScanFacts, Severity, Streak

SHADOW_WORTH_SAYING_MM = 0.5
DEAD_MARGIN_WORTH_SAYING_MM = 0.5
UNEVEN_WORTH_SAYING_PERCENT = 8.0  # FADGI 2023 tolerates about 8 % at its mildest level
SOFT_SHARE = 0.8  # effective dpi under this share of the delivered dpi is called soft
TILT_SHARE = 0.75  # a side or corner whose SFR50 is under this share of the whole is called soft
SHARPENED_PEAK = 1.1
FRINGES_PX = 0.33  # FADGI 2023, 4 star
GUTTER_DELTA_L = 5.0
CLIPPED_PERCENT = 1.0
NATIVE_FRACTION = 0.95


@cache
def _causes() -> dict[str, Any]:
    text = (resources.files("scanqa.findings") / "causes.toml").read_text("utf-8")
    return tomllib.loads(text)


def diagnose(results: Results, scans: tuple[ScanFacts, ...]) -> tuple[Finding, ...]:
    """Findings of kind ``diagnosis``, the gravest first."""
    found = [
        *_streaks(results),
        *_marks(results),
        *_edges(results),
        *_uneven(results),
        *_sharpness(results, scans),
        *_claim(results),
        *_fringes(results),
        *_gutter(results),
        *_clipped(results),
    ]
    order = {"fault": 0, "warning": 1, "note": 2, "good": 3}
    return tuple(sorted(found, key=lambda f: order[f.severity]))


def _finding(
    cause: str, severity: Severity, rests_on: tuple[str, ...], reason: str, **words: str
) -> Finding:
    row = _causes()[cause]
    cautions = _causes()["cautions"]
    return Finding(
        "diagnosis",
        row["title"].format(**words),
        severity,
        reason=reason,
        rests_on=rests_on,
        causes=tuple(row["causes"]),
        action=row["action"].format(**words),
        caution=" ".join(cautions[name] for name in row["caution"].split("+") if name),
        source=row.get("source", "common practice, no source"),
    )


def _streaks(results: Results) -> Iterator[Finding]:
    for streak in sorted(results.streaks, key=lambda s: -s.contrast_percent):
        cause = _streak_cause(streak)
        if cause == "paper":
            severity: Severity = "note"
        else:
            severity = "fault" if streak.visible else "note"
        where = f"{streak.at_mm:.1f} mm"
        seen = "visible" if streak.visible else "too faint to be seen"
        than = {"dark": "darker", "bright": "brighter"}[streak.polarity]
        reason = (
            f"{streak.contrast_percent:.2f} % {than} than its surroundings "
            f"({streak.delta_L:.2f} L*), {streak.width_um:.0f} µm wide, {seen}"
        )
        yield _finding(cause, severity, ("streaks",), reason, where=where)


def _streak_cause(streak: Streak) -> str:
    said = streak.likely_cause.lower()
    for words, cause in (
        ("paper", "paper"),
        ("element", "dead-element"),
        ("segment", "segment-joins"),
        ("calibration", "white-strip-dirt"),
        ("moving", "moving-dirt"),
        ("sensor window", "moving-dirt"),
        ("glass", "glass-dirt"),
    ):
        if words in said:
            return cause
    return "unsure-line"


def _marks(results: Results) -> Iterator[Finding]:
    if results.marks:
        strongest = max(mark.contrast_percent for mark in results.marks)
        yield _finding(
            "marks",
            "warning",
            ("glass.marks",),
            f"they stay in place while the paper moves; the strongest is {strongest:.1f} %",
            count=str(len(results.marks)),
        )


def _edges(results: Results) -> Iterator[Finding]:
    for side in SIDES:
        for m in results.named(f"edges.shadow_{side}"):
            if m.value is not None and m.value > SHADOW_WORTH_SAYING_MM:
                value = f"{m.value:.1f}"
                reason = f"until within 2 L* of the level further in{_pm(m)}"
                yield _finding("shadow", "warning", (m.name,), reason, side=side, value=value)
                break
        for m in results.named(f"edges.dead_margin_{side}")[:1]:
            if m.value is not None and m.value > DEAD_MARGIN_WORTH_SAYING_MM:
                value = f"{m.value:.1f}"
                reason = f"from the strip hooked over that edge{_pm(m)}"
                yield _finding("dead-margin", "note", (m.name,), reason, side=side, value=value)


def _uneven(results: Results) -> Iterator[Finding]:
    found = summarise(results, "shading.nonuniformity", "highest")
    if found and found.value > UNEVEN_WORTH_SAYING_PERCENT:
        yield _finding(
            "uneven",
            "warning",
            ("shading.nonuniformity",),
            "lightest against darkest part of the bed, edge shadows left out",
            value=f"{found.value:.1f}",
        )


def _sharpness(results: Results, scans: tuple[ScanFacts, ...]) -> Iterator[Finding]:
    measured = matching(results, "sharpness.effective_dpi")
    delivered = {scan.file: scan.dpi for scan in scans}
    for axis, direction in enumerate(("across", "travel")):
        sites = [m for m in measured if m.direction == direction and m.value is not None]
        if not sites:
            continue
        dpi = delivered[sites[0].scan][axis]
        middle = statistics.median(m.value for m in sites if m.value is not None)
        if middle < SOFT_SHARE * dpi:
            yield _finding(
                "soft",
                "warning",
                ("sharpness.effective_dpi",),
                f"median of {len(sites)} sites",
                value=f"{middle:.0f}",
                dpi=f"{dpi:.0f}",
                direction=direction,
            )
    for direction in ("across", "travel"):
        sfr50 = matching(results, "sharpness.sfr50")
        yield from _soft_region([m for m in sfr50 if m.direction == direction])
    peak = summarise(results, "sharpness.peak", "median of the worse direction, upwards")
    if peak and peak.value > SHARPENED_PEAK:
        yield _finding(
            "sharpened",
            "warning",
            ("sharpness.peak",),
            "an unsharpened response never exceeds 1",
            value=f"{peak.value:.2f}",
        )


def _soft_region(sites: list[Measurement]) -> Iterator[Finding]:
    """A side or corner of the bed that is softer than the rest: the softest one.

    Sides and corners are the outer thirds. SFR50 is used, not the effective dpi, which is capped.
    """
    placed = [(m.at_mm, m.value) for m in sites if m.at_mm is not None and m.value is not None]
    if len(placed) < 12:
        return
    middle = statistics.median(value for _, value in placed)
    softest: tuple[float, str, float] | None = None
    for words, inside in _regions([at for at, _ in placed]).items():
        values = [value for at, value in placed if inside(at)]
        if len(values) < 2:
            continue
        here = statistics.median(values)
        if softest is None or here < softest[0]:
            softest = here, words, len(values)
    if softest is not None and softest[0] < TILT_SHARE * middle:
        here, words, count = softest
        yield _finding(
            "tilt",
            "warning",
            ("sharpness.sfr50",),
            f"SFR50 median of {count} edges there and of {len(placed)} in all, "
            f"measured {sites[0].direction}",
            soft=f"{here:.1f}",
            where=words,
            middle=f"{middle:.1f}",
        )


def _regions(places: list[Point]) -> dict[str, Callable[[Point], bool]]:
    """Names of sides and corners, and whether a place lies in the outer third there."""
    bounds = []
    for axis in (0, 1):
        low, high = min(p[axis] for p in places), max(p[axis] for p in places)
        bounds.append((low + (high - low) / 3, high - (high - low) / 3))
    ends: dict[str, Callable[[Point], bool]] = {
        "left": lambda at: at[0] <= bounds[0][0],
        "right": lambda at: at[0] >= bounds[0][1],
        "top": lambda at: at[1] <= bounds[1][0],
        "bottom": lambda at: at[1] >= bounds[1][1],
    }

    def both(a: str, b: str) -> Callable[[Point], bool]:
        return lambda at: ends[a](at) and ends[b](at)

    corners = {f"{v} {h}": both(v, h) for v in ("top", "bottom") for h in ("left", "right")}
    return ends | corners


def _claim(results: Results) -> Iterator[Finding]:
    for direction in ("across", "travel"):
        made_up = [
            m
            for m in results.named("claim.native_fraction")
            if m.direction == direction and m.value is not None and m.value < NATIVE_FRACTION
        ]
        if made_up:
            worst = min(made_up, key=lambda m: m.value or 0.0)
            yield _finding(
                "false-dpi",
                "fault",
                ("claim.native_fraction", "claim.factor"),
                f"{worst.scan}: {worst.reason}",
                direction=direction,
                value=f"{100 * (worst.value or 0.0):.0f}",
            )


def _fringes(results: Results) -> Iterator[Finding]:
    for direction in ("across", "travel"):
        sites = [m for m in matching(results, "colour.registration") if m.direction == direction]
        if not sites:
            continue
        medians = []
        for channel in ("red", "blue"):
            values = [m.value for m in sites if m.channel == channel and m.value is not None]
            if values:
                medians.append(statistics.median(values))
        worst = max(medians, key=abs, default=0.0)
        if abs(worst) > FRINGES_PX * 0.75:
            severity: Severity = "warning" if abs(worst) > FRINGES_PX else "note"
            yield _finding(
                "fringes",
                severity,
                ("colour.registration",),
                f"median over {len(sites)} edges and channels",
                value=f"{abs(worst):.2f}",
                direction=direction,
            )


def _gutter(results: Results) -> Iterator[Finding]:
    found = summarise(results, "gutter.delta_L_at_5mm", "highest")
    if found and found.value > GUTTER_DELTA_L:
        reach = summarise(results, "gutter.reach_5", "highest")
        reason = "paper level of the open book, median along the spine"
        if reach:
            reason += f"; less than 5 L* darker from {reach.value:.1f} mm on"
        yield _finding(
            "gutter",
            "warning",
            ("gutter.delta_L_at_5mm", "gutter.reach_5"),
            reason,
            value=f"{found.value:.1f}",
        )


def _clipped(results: Results) -> Iterator[Finding]:
    found = summarise(results, "tone.clipped", "highest")
    if found and found.value > CLIPPED_PERCENT:
        yield _finding(
            "clipped",
            "warning",
            ("tone.clipped",),
            "the worst of the scans",
            value=f"{found.value:.1f}",
        )


def _pm(m: Measurement) -> str:
    return f" (± {m.uncertainty:.2f} {m.unit})" if m.uncertainty is not None else ""
