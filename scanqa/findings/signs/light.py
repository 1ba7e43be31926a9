"""Stray light, evenness, shadows, drift, and the gutter."""

from __future__ import annotations

from scanqa.catalogue import SIDES
from scanqa.findings.signs.sign import Seen, Sign, evidence, graded, plus_minus, value_of
from scanqa.findings.statistic import summarise
from scanqa.model import Results

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


def veil(results: Results) -> Seen:
    """Light that strays into black."""
    found = summarise(results, "veil.stray_light", "highest")
    if found is None:
        return
    sure = found.value > 3 * (found.uncertainty or 0.0)
    severity = graded(found.value, (VEIL[0], VEIL[0], VEIL[1])) if sure else None
    error = f" ± {found.uncertainty:.1f}" if found.uncertainty else ""
    sign = Sign(
        f"{found.value:.0f} % of the light strays into black",
        f"black ink is lighter in white surroundings: {found.value:.1f}{error} % of the light "
        "strays (1 to 2 % is usual)",
        severity,
        ("veil.stray_light",),
    )
    yield "veil", (sign,) if severity else ()


def evenness(results: Results) -> Seen:
    """Unevenness of light, and how it is spread over the bed."""
    found = summarise(results, "shading.nonuniformity", "highest")
    if found:
        severity = graded(found.value, UNEVEN)
        sign = Sign(
            f"light is uneven by {found.value:.1f} %",
            f"lightest against darkest part of the bed: {found.value:.1f} %, edge shadows left out",
            severity,
            ("shading.nonuniformity",),
        )
        yield "uneven", (sign,) if severity else ()
    near = _losses(results, ALL_SIDES_MM)
    if len(near) == 4:
        yield "falls-all-sides", evidence(min(near.values()) >= ALL_SIDES)
    losses = _losses(results, FALLOFF_MM)
    worst = max(losses, key=lambda side: losses[side], default=None)
    if worst is not None:
        name = f"shading.falloff_{worst}_{FALLOFF_MM}mm"
        severity = graded(losses[worst], FALLOFF)
        sign = Sign(
            f"light falls by {losses[worst]:.1f} % toward the {worst} edge",
            f"{FALLOFF_MM} mm from the {worst} edge, against the middle of the bed",
            severity,
            (name,),
        )
        others = [loss for side, loss in losses.items() if side != worst]
        alone = max(others, default=0.0) < losses[worst] / 3
        yield "falls-one-side", (sign,) if severity and alone else ()
    ends = _losses(results, SLOPE_MM)
    if "top" in ends and "bottom" in ends:
        slope = ends["top"] - ends["bottom"]
        opposite = ends["top"] * ends["bottom"] < 0
        severity = graded(abs(slope), SLOPE) if opposite else None
        way = "brighter" if slope > 0 else "darker"
        sign = Sign(
            f"light grows {way} by {abs(slope):.1f} % along travel",
            f"from {SLOPE_MM} mm below the top to {SLOPE_MM} mm above the bottom of one scan",
            severity,
            (f"shading.falloff_top_{SLOPE_MM}mm", f"shading.falloff_bottom_{SLOPE_MM}mm"),
        )
        yield "slope", (sign,) if severity else ()


def _losses(results: Results, distance_mm: int) -> dict[str, float]:
    """Percent of light lost at a distance from each side, where it was measured."""
    out: dict[str, float] = {}
    for side in SIDES:
        found = results.named(f"shading.falloff_{side}_{distance_mm}mm")
        if found:
            out[side] = 100 - min(map(value_of, found))
    return out


def edges(results: Results) -> Seen:
    """Shadows and dead margins."""
    shadows, margins = [], []
    looked: set[str] = set()
    for side in SIDES:
        for m in results.named(f"edges.shadow_{side}"):
            looked.add("shadow")
            severity = graded(value_of(m), SHADOW)
            if severity:
                shadows.append(
                    Sign(
                        f"shadow {value_of(m):.1f} mm deep along the {side} edge",
                        f"{value_of(m):.2f}{plus_minus(m)} mm to within 2 L* of the level inside",
                        severity,
                        (m.name,),
                    )
                )
                break
        for m in results.named(f"edges.dead_margin_{side}")[:1]:
            looked.add("dead-margin")
            severity = graded(value_of(m), DEAD_MARGIN)
            if severity:
                margins.append(
                    Sign(
                        f"{value_of(m):.1f} mm at the {side} edge are never seen",
                        f"{value_of(m):.2f}{plus_minus(m)} mm by the strip hooked over that edge",
                        severity,
                        (m.name,),
                    )
                )
    if "shadow" in looked:
        yield "shadow", tuple(shadows)
    if "dead-margin" in looked:
        yield "dead-margin", tuple(margins)
        large = [m for m in margins if m.severity == "warning"]
        yield "large-margin", evidence(bool(large))


def drift(results: Results) -> Seen:
    """Level from scan to scan."""
    for m in results.named("drift.level")[:1]:
        severity = graded(abs(value_of(m)), DRIFT)
        way = "rises" if value_of(m) > 0 else "falls"
        sign = Sign(
            f"the level {way} by {abs(value_of(m)):.1f} % from scan to scan",
            f"first against last blank scan: {value_of(m):+.1f}{plus_minus(m)} %",
            severity,
            ("drift.level",),
        )
        yield "drifts", (sign,) if severity else ()
        if severity:
            yield "rises", evidence(value_of(m) > 0)
    for m in results.named("drift.settle_time")[:1]:
        slow = m.status == "lower-bound" or value_of(m) > SETTLING_S
        least = "more than " if m.status == "lower-bound" else ""
        sign = Sign(
            f"the light needs {least}{value_of(m):.0f} s to settle",
            "time until blank scans stay within 0.5 % of their end",
            "note",
            ("drift.settle_time",),
        )
        yield "settles-slowly", (sign,) if slow else ()


def gutter(results: Results) -> Seen:
    """A page that darkens toward the spine."""
    found = summarise(results, "gutter.delta_L_at_5mm", "highest")
    if found is None:
        return
    reason = "paper level of the open book, median along the spine"
    reach = summarise(results, "gutter.reach_5", "highest")
    if reach:
        reason += f"; less than 5 L* darker from {reach.value:.1f} mm on"
    sign = Sign(
        f"the page is {found.value:.1f} L* darker 5 mm from the spine",
        reason,
        "warning",
        ("gutter.delta_L_at_5mm", "gutter.reach_5"),
    )
    yield "dark-gutter", (sign,) if found.value > GUTTER else ()
