"""Stray light, evenness, shadows, drift, and the gutter with its depth of focus."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.catalogue import SIDES, Side
from scanqa.findings.signs.sign import Looked, graded, sign
from scanqa.findings.statistic import Figure, figure
from scanqa.model import Seen
from scanqa.summary import Summary

VEIL = 3.0, 10.0  # %: a clean flatbed stays under 2
UNEVEN = 4.0, 8.0  # %; FADGI 2023 tolerates about 8 % at its mildest level
FALLOFF_MM, FALLOFF = 10, (1.5, 6.0)  # % of light lost at that distance from one side
ALL_SIDES_MM, ALL_SIDES = 5, 0.5
SLOPE_MM, SLOPE = 20, (1.5, 4.0)  # % between the two ends of the travel
SHADOW = 0.5, 2.0, 10.0  # mm
DEAD_MARGIN = 0.5, 3.0  # mm
DRIFT = 1.0, 3.0  # % from the first blank scan to the last
SETTLING_S = 60.0
GUTTER = 5.0  # L*
SHALLOW = 3.0, 1.5  # mm over the glass: a page of a bound book lifts by 1 to 4 mm at its spine
DEPTH = "gutter.depth_of_field"
DARKER, REACH = "gutter.delta_L_at_5mm", "gutter.reach_5"


def veil(measured: Sequence[Summary]) -> Looked:
    """Light that strays into black."""
    found = figure(measured, "veil.stray_light", "highest")
    if found is None:
        return
    sure = found.value > 3 * (found.uncertainty or 0.0)
    yield sign(
        "veil",
        graded(found.value, (VEIL[0], VEIL[0], VEIL[1])) if sure else None,
        "veil.stray_light",
        numbers={"percent": found.value, "uncertainty": found.uncertainty},
    )


def evenness(measured: Sequence[Summary]) -> Looked:
    """Unevenness of light, and how it is spread over the bed."""
    found = figure(measured, "shading.nonuniformity", "highest")
    if found:
        yield sign(
            "uneven",
            graded(_beyond_doubt(found), UNEVEN),
            "shading.nonuniformity",
            numbers={"percent": found.value},
        )
    near = _losses(measured, ALL_SIDES_MM)
    if len(near) == 4:
        yield "falls-all-sides", min(near.values()) >= ALL_SIDES
    losses = _losses(measured, FALLOFF_MM)
    worst = max(losses, key=lambda side: losses[side], default=None)
    if worst is not None:
        others = [loss for side, loss in losses.items() if side != worst]
        alone = max(others, default=0.0) < losses[worst] / 3
        yield sign(
            "falls-one-side",
            graded(losses[worst], FALLOFF) if alone else None,
            f"shading.falloff_{worst}_{FALLOFF_MM}mm",
            numbers={"percent": losses[worst], "distance_mm": FALLOFF_MM},
            terms={"side": worst},
        )
    ends = _losses(measured, SLOPE_MM)
    if "top" in ends and "bottom" in ends:
        slope = ends["top"] - ends["bottom"]
        opposite = ends["top"] * ends["bottom"] < 0
        yield sign(
            "slope",
            graded(abs(slope), SLOPE) if opposite else None,
            f"shading.falloff_top_{SLOPE_MM}mm",
            f"shading.falloff_bottom_{SLOPE_MM}mm",
            numbers={"percent": slope, "distance_mm": SLOPE_MM},
        )


def _beyond_doubt(found: Figure) -> float:
    """What is left of a value less two uncertainties: clouds of a paper may look like the rest."""
    return max(found.value - 2 * (found.uncertainty or 0.0), 0.0)


def _losses(measured: Sequence[Summary], distance_mm: int) -> dict[Side, float]:
    """Percent of light lost at a distance from each side, where it was measured."""
    out: dict[Side, float] = {}
    for side in SIDES:
        found = figure(measured, f"shading.falloff_{side}_{distance_mm}mm", "lowest")
        if found:
            out[side] = 100 - found.value
    return out


def edges(measured: Sequence[Summary]) -> Looked:
    """Shadows and dead margins."""
    shadows = _of_sides(measured, "shadow", "edges.shadow", SHADOW)
    if shadows is not None:
        yield "shadow", shadows
    margins = _of_sides(measured, "dead-margin", "edges.dead_margin", DEAD_MARGIN)
    if margins is not None:
        yield "dead-margin", margins
        yield "large-margin", any(seen.severity == "warning" for seen in margins)


def _of_sides(
    measured: Sequence[Summary], name: str, measure: str, limits: Sequence[float]
) -> tuple[Seen, ...] | None:
    """The sides at which a width reaches the limits; None if none was measured."""
    found = {side: figure(measured, f"{measure}_{side}", "highest") for side in SIDES}
    seen: list[Seen] = []
    for side, width in found.items():
        if width:
            seen += sign(
                name,
                graded(_beyond_doubt(width), limits),
                f"{measure}_{side}",
                numbers={"mm": width.value, "uncertainty": width.uncertainty},
                terms={"side": side},
            )[1]
    return tuple(seen) if any(found.values()) else None


def drift(measured: Sequence[Summary]) -> Looked:
    """Level from scan to scan."""
    level = figure(measured, "drift.level", "median")
    if level:
        severity = graded(abs(level.value), DRIFT)
        yield sign(
            "drifts",
            severity,
            "drift.level",
            numbers={"percent": level.value, "uncertainty": level.uncertainty},
        )
        if severity:
            yield "rises", level.value > 0
    settling = figure(measured, "drift.settle_time", "median")
    if settling:
        slow = settling.bound == "at-least" or settling.value > SETTLING_S
        yield sign(
            "settles-slowly",
            "note" if slow else None,
            "drift.settle_time",
            numbers={"seconds": settling.value},
            terms={"bound": settling.bound},
        )


def depth(measured: Sequence[Summary]) -> Looked:
    """Sharp only so far above the glass; what may be deeper is no sign."""
    found = figure(measured, DEPTH, "lowest")
    if found is None:
        return
    most = found.most + 2 * (found.uncertainty or 0.0)
    yield sign(
        "shallow-depth",
        graded(-most, [-limit for limit in SHALLOW]),
        DEPTH,
        numbers={"mm": found.value, "uncertainty": found.uncertainty},
    )


def gutter(measured: Sequence[Summary]) -> Looked:
    """A page that darkens toward the spine."""
    found = figure(measured, DARKER, "highest")
    if found is None:
        return
    reach = figure(measured, REACH, "highest")
    yield sign(
        "dark-gutter",
        "warning" if found.value > GUTTER else None,
        DARKER,
        REACH,
        numbers={"delta_L": found.value, "reach_mm": reach.value if reach else None},
    )
