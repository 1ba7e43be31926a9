"""What height above the glass does to light and focus, from the gutter ramp.

A page that rises towards the spine gets darker and blurrier. The ramp is a slope of known height:

*Light* (``gutter.light_at_*``): paper on the slope over paper on the ramp's flat part, in linear
luma. With a blank scan of the same size its light is divided out first, so that edge shadow is not
taken for height (`scanqa.numeric.ramp`). *Focus* (``gutter.focus_at_*_height``): SFR50 on the
slope over that on the glass, from edges that run up the slope and are measured across it (the other
direction is foreshortened); ``gutter.depth_of_field`` is the height at which it has fallen to
half (`scanqa.numeric.ramp_focus`; edges after ISO 12233).

A height follows from a place on the sheet, which the tags of the slope tell: how foreshortened it
looks does not count, and the perspective of a lens does little. The lip's height is that of the
ramp as designed, unless it was measured. Fails: no ramp
scan; slope or flat part not located; too few edges. A printed edge that limits SFR50 on the glass
makes the depth of field look larger than it is.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from scanqa.catalogue import RAMP_HEIGHTS_MM
from scanqa.model import Curve, Evidence, Measurement, Placement, Results, not_measurable
from scanqa.numeric.ramp import HeightCurve, light_over_height
from scanqa.numeric.ramp_focus import FocusCurve, focus_over_height

HALF = 0.5
DEPTH = "gutter.depth_of_field"

NAMES = (
    *(f"gutter.{what}_at_{h}mm_height" for what in ("light", "focus") for h in RAMP_HEIGHTS_MM),
    DEPTH,
)


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
    light = light_over_height(slope, flat, height_mm=height_mm, blank=blank)
    focus = focus_over_height(slope, flat, height_mm=height_mm)
    return Results(
        (*_light(light, name), *_focus(focus, name), _depth_of_field(focus, name)),
        evidence=(*_light_figure(light, name), *_focus_figure(focus, name)),
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


def _focus(curve: FocusCurve | str, name: str) -> Iterator[Measurement]:
    for height in RAMP_HEIGHTS_MM:
        measure_name = f"gutter.focus_at_{height}mm_height"
        if isinstance(curve, str):
            yield not_measurable(measure_name, curve, name)
            continue
        found = curve.at(height)
        if found is None:
            why = f"no edge could be measured higher up than {curve.height_mm[-1]:.1f} mm"
            yield not_measurable(measure_name, f"{why}: too blurred, or not in the image", name)
        else:
            yield Measurement(measure_name, 100 * found[0], 100 * found[1], scan=name)


def _depth_of_field(curve: FocusCurve | str, name: str) -> Measurement:
    """Height at which the median of edges of one height first falls to half."""
    if isinstance(curve, str):
        return not_measurable(DEPTH, curve, name)
    found = curve.falls_to(HALF)
    if found is None:
        why = "sharpness is still over half at the highest edge that could be measured"
        return Measurement(DEPTH, float(curve.height_mm[-1]), None, "lower-bound", why, name)
    return Measurement(DEPTH, *found, scan=name)


def _focus_figure(curve: FocusCurve | str, name: str) -> Iterator[Evidence]:
    if not isinstance(curve, str):
        heights, values = (
            np.array([getattr(site, key) for site in curve.sites]) for key in ("height_mm", "sfr50")
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
