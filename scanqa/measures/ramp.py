"""What height above the glass does to light and focus, from the gutter ramp.

A page that rises towards the spine gets darker and blurrier. The ramp is a slope of known height:

*Light* (``gutter.light_at_*``): paper on the slope over paper on the ramp's flat part, in linear
luma. With a blank scan of the same size its light is divided out first, so that edge shadow is not
taken for height. *Focus* (``gutter.depth_of_field``): the height at which SFR50 has fallen to half
of that on the glass, from edges that run up the slope and are measured across it (the other
direction is foreshortened). Edges: `scanqa.numeric.edge`, ISO 12233.

Heights are those of the folded ramp as designed, unless its height was measured. Fails: no ramp
scan; slope or flat part not located; too few edges. A printed edge that limits SFR50 on the glass
makes the depth of field look larger than it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.catalogue import RAMP_HEIGHTS_MM
from scanqa.model import (
    Curve,
    Edge,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Results,
    not_measurable,
)
from scanqa.numeric.edge import locate_edge, measure_edge
from scanqa.numeric.edge_fit import Unmeasured
from scanqa.numeric.edge_window import edge_window
from scanqa.numeric.lightness import luma
from scanqa.numeric.ramp import HeightCurve, distance_up, light_over_height
from scanqa.numeric.scatter import median_error

HALF = 0.5
CLEAR = 0.3  # of the clean distance beside an edge: more blur than this cannot be measured
MIN_SITES = 4
MODEL_SHARE = 0.1  # of what two ways to interpolate differ by: how far the better one can be off
STEP_MM = 0.4  # of height: edges nearer to each other count together

NAMES = (*(f"gutter.light_at_{h}mm_height" for h in RAMP_HEIGHTS_MM), "gutter.depth_of_field")


def measure(
    placements: Sequence[Placement],
    *,
    height_mm: float | None = None,
    blanks: Sequence[Placement] = (),
) -> Results:
    """Light and focus against height for each scan of the ramp.

    Parameters
    ----------
    placements : sequence of Placement
        Pieces of gutter ramps: the slope, and the flat part of the same scan.
    height_mm : float, optional
        Height of the lip above the table as measured with a rule.
    blanks : sequence of Placement
        Blank scans; the first of the ramp's size is used.
    """
    slopes = [p for p in placements if p.piece is not None and p.piece.rise is not None]
    if not slopes:
        why = "no gutter ramp was found: print, fold and scan that sheet at the book edge"
        return Results(tuple(not_measurable(name, why) for name in NAMES))
    results = Results()
    for slope in slopes:
        results += _of_scan(slope, placements, height_mm, blanks)
    return results


def _of_scan(
    slope: Placement,
    placements: Sequence[Placement],
    height_mm: float | None,
    blanks: Sequence[Placement],
) -> Results:
    name = slope.scan.name
    flat = next(
        (p for p in placements if p.scan.name == name and p.piece is not None and not p.piece.rise),
        None,
    )
    if flat is None:
        why = "the ramp's flat part was not located: lay it on the glass in the image"
        return Results(tuple(not_measurable(each, why, name) for each in NAMES))
    size = slope.overview.preview.shape
    blank = next((b for b in blanks if b.overview.preview.shape == size), None)
    curve = light_over_height(slope, flat, height_mm=height_mm, blank=blank)
    sites = sorted(_sites(slope, flat, height_mm), key=lambda site: site.height_mm)
    return Results(
        (*_light(curve, name), _depth_of_field(sites, name)),
        evidence=(*_light_figure(curve, name), *_focus_figure(sites, name)),
    )


# --------------------------------------------------------------------------------- light


def _light(curve: HeightCurve | str, name: str) -> Iterator[Measurement]:
    for height in RAMP_HEIGHTS_MM:
        measure_name = f"gutter.light_at_{height}mm_height"
        if isinstance(curve, str):
            yield not_measurable(measure_name, curve, name)
            continue
        light = curve.at(height)
        if light is None:
            yield not_measurable(measure_name, "the ramp is not that high", name)
        else:
            yield Measurement(measure_name, 100 * light, 100 * curve.error, scan=name)


def _light_figure(curve: HeightCurve | str, name: str) -> Iterator[Evidence]:
    if not isinstance(curve, str):
        yield Evidence(
            "gutter",
            "curves",
            "Light on a page against its height above the glass",
            scan=name,
            x_label="Height above the glass, mm",
            y_label="Light against that on the glass, %",
            unit="%",
            curves=(Curve("ramp", curve.height_mm, 100 * curve.light),),
        )


# --------------------------------------------------------------------------------- focus


@dataclass(frozen=True, slots=True)
class _Site:
    """SFR50 of one edge at a height."""

    height_mm: float
    sfr50: float
    error: float


def _sites(slope: Placement, flat: Placement, height_mm: float | None) -> Iterator[_Site]:
    assert slope.piece is not None
    assert slope.piece.rise is not None
    rise = slope.piece.rise
    per_mm = (rise.height_mm if height_mm is None else height_mm) / rise.length_mm
    foot = np.subtract(rise.foot_mm[1], rise.foot_mm[0])
    for piece in (flat, slope):
        assert piece.piece is not None
        for edge in piece.piece.edges:
            run = np.subtract(edge.end_mm, edge.start_mm)
            if abs(run @ foot) > HALF * np.hypot(*run) * np.hypot(*foot):
                continue  # it runs along the foot: measured up the slope, foreshortened
            middle = (
                (edge.start_mm[0] + edge.end_mm[0]) / 2,
                (edge.start_mm[1] + edge.end_mm[1]) / 2,
            )
            site = _site(piece, edge, max(distance_up(slope, middle), 0.0) * per_mm)
            if site is not None:
                yield site


def _site(piece: Placement, edge: Edge, height_mm: float) -> _Site | None:
    place = edge_window(piece, edge)
    if place is None:
        return None
    codes = piece.scan.window(place.window)
    light = luma(piece.light.light(codes))
    located = locate_edge(light, place.line, place.reach_px)
    # High up the blur outgrows the clean paper beside the edge: nothing is level there any more.
    if isinstance(located, Unmeasured) or located[1].sigma_px > CLEAR * place.reach_px:
        return None
    found = measure_edge(light, place.line, place.reach_px)
    if isinstance(found, Unmeasured) or found.sfr50 is None:
        return None
    per_mm = 1 / place.mm_per_px
    return _Site(height_mm, found.sfr50.frequency * per_mm, found.sfr50.uncertainty * per_mm)


def _depth_of_field(sites: Sequence[_Site], name: str) -> Measurement:
    """Height at which the median of edges of one height first falls to half.

    Blur of defocus grows with height and adds to that of the optics in quadrature, so that
    ``1/SFR50²`` is straight in ``height²``: so it is between the edges on either side. How far
    that can be off where they lie wide apart is told by straight interpolation.
    """
    measure_name = "gutter.depth_of_field"
    glass = np.array([site.sfr50 for site in sites if site.height_mm == 0])
    above = [site for site in sites if site.height_mm > 0]
    if len(glass) < MIN_SITES or len(above) < MIN_SITES:
        return not_measurable(measure_name, "too few edges of the ramp could be measured", name)
    level = float(np.median(glass))
    heights, values = _by_height(above)
    heights, shares = np.append(0.0, heights), np.append(1.0, values / level)
    below = np.flatnonzero(shares <= HALF)
    if not len(below):
        why = "sharpness is still over half at the highest edge that could be measured"
        return Measurement(measure_name, float(heights[-1]), None, "lower-bound", why, name)
    pair = slice(int(below[0]) - 1, int(below[0]) + 1)
    value, slope = _crossing(heights[pair], shares[pair])
    straight = float(np.interp(-HALF, -shares[pair], heights[pair]))
    noise = np.hypot(
        float(np.median([site.error for site in above])) / level,
        HALF * float(median_error(glass)) / level,
    )
    error = float(np.hypot(noise / slope, MODEL_SHARE * (value - straight)))
    return Measurement(measure_name, value, error, scan=name)


def _crossing(heights: Floats, shares: Floats) -> tuple[float, float]:
    """Height where the share is a half, and how steeply it falls there (per mm)."""
    low, high = heights**2
    start, end = shares**-2.0
    square = low + (HALF**-2 - start) / (end - start) * (high - low)
    height = float(np.sqrt(square))
    # d share / d height = -share³/2 × d(share⁻²)/d(height²) × 2 height
    return height, float(HALF**3 * (end - start) / (high - low) * height)


def _by_height(sites: Sequence[_Site]) -> tuple[Floats, Floats]:
    """Mean height and median SFR50 of the sites of each step of height, rising."""
    steps: dict[int, list[_Site]] = {}
    for site in sites:
        steps.setdefault(int(site.height_mm / STEP_MM), []).append(site)
    ordered = [steps[step] for step in sorted(steps)]
    heights = [np.mean([site.height_mm for site in step]) for step in ordered]
    return np.array(heights), np.array([np.median([s.sfr50 for s in step]) for step in ordered])


def _focus_figure(sites: Sequence[_Site], name: str) -> Iterator[Evidence]:
    if len(sites) >= MIN_SITES:
        heights, values = (
            np.array([getattr(s, key) for s in sites]) for key in ("height_mm", "sfr50")
        )
        yield Evidence(
            "gutter",
            "curves",
            "Sharpness against height above the glass",
            scan=name,
            x_label="Height above the glass, mm",
            y_label="SFR50, cy/mm",
            unit="cy/mm",
            curves=(Curve("edges of the ramp", heights, values),),
        )
