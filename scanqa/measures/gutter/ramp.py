"""What height above the glass does to light and focus, from the gutter ramp.

*Light* (``gutter.light_at_*``): paper on the slope over paper on the ramp's flat part, in linear
luma. With a blank scan of the same size its light is divided out first, so that edge shadow is not
taken for height (`slope_light`). *Focus* (``gutter.focus_at_*_height``): SFR50 on the slope over
that on the glass, from edges that run up the slope and are measured across it (the other direction
is foreshortened); ``gutter.depth_of_field`` is the height at which it has fallen to half
(`slope_focus`; edges after ISO 12233).

A height follows from a place on the sheet, which the tags of the slope tell: how foreshortened it
looks does not count, and the perspective of a lens does little. The lip's height is that of the
ramp as designed, unless it was measured. Fails: no ramp
scan; slope or flat part not located; too few edges. How true the slope stands, and the blur of the
print, are part of the doubt.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.catalogue import RAMP_HEIGHTS_MM
from scanqa.measures.gutter.slope_focus import FocusCurve, focus_over_height
from scanqa.measures.gutter.slope_light import HeightCurve, light_over_height
from scanqa.model import (
    Curve,
    Evidence,
    Measurement,
    Placement,
    Reason,
    Results,
    Shared,
    Told,
    not_measurable,
    with_doubt,
)

HALF = 0.5
DEPTH = "gutter.depth_of_field"
NAMES = (
    *(f"gutter.{what}_at_{h}mm_height" for what in ("light", "focus") for h in RAMP_HEIGHTS_MM),
    DEPTH,
)
NO_RAMP = Reason(
    "no-scan", "no gutter ramp was found: print, fold and scan that sheet at the book edge"
)
NO_FLAT = Reason(
    "not-found", "the ramp's flat part was not located: lay it on the glass in the image"
)


@dataclass(frozen=True, slots=True)
class Ramp:
    """What one ramp says of height, or why it does not."""

    scan: str
    light: HeightCurve | Reason
    focus: FocusCurve | Reason
    print_label: str = ""


def located_ramps(
    pieces: Sequence[Placement], told: Told, blanks: Sequence[Placement]
) -> list[Ramp]:
    """Light and focus against height for each slope.

    Parameters
    ----------
    pieces : sequence of Placement
        Of gutter ramps: slopes, and the flat part of the same scan.
    told : Told
        `ramp_height_mm`, the height of the lip above the table as measured, as designed if None;
        `print_label`.
    blanks : sequence of Placement
        Blank scans; the first of the ramp's size is used.
    """
    ramps = []
    for slope in pieces:
        if slope.piece is None or slope.piece.rise is None:
            continue
        flat = next(
            (p for p in pieces if p.scan is slope.scan and p.piece and not p.piece.rise), None
        )
        if flat is None:
            ramps.append(Ramp(slope.scan.name, NO_FLAT, NO_FLAT))
            continue
        blank = same_size(slope, blanks)
        light = light_over_height(slope, flat, height_mm=told.ramp_height_mm, blank=blank)
        focus = focus_over_height(slope, flat, height_mm=told.ramp_height_mm)
        ramps.append(Ramp(slope.scan.name, light, focus, told.print_label))
    return ramps


def same_size(placement: Placement, blanks: Sequence[Placement]) -> Placement | None:
    """The first blank scan of the size of another scan."""
    size = placement.overview.preview.shape
    return next((blank for blank in blanks if blank.overview.preview.shape == size), None)


def no_ramp() -> Results:
    """All that a ramp would have said."""
    return Results(tuple(not_measurable(name, NO_RAMP) for name in NAMES))


def over_height(ramp: Ramp) -> Results:
    """Light and focus at each height, depth of field, and their figures."""
    return Results(
        (*_light(ramp), *_focus(ramp), _depth_of_field(ramp)),
        evidence=(*_light_figure(ramp), *_focus_figure(ramp)),
    )


# --------------------------------------------------------------------------------- light


def _light(ramp: Ramp) -> Iterator[Measurement]:
    for height in RAMP_HEIGHTS_MM:
        name = f"gutter.light_at_{height}mm_height"
        if isinstance(ramp.light, Reason):
            yield not_measurable(name, ramp.light, ramp.scan)
            continue
        light = ramp.light.at(height)
        if light is None:
            why = Reason("range", "the ramp is not that high")
            yield not_measurable(name, why, ramp.scan)
        else:
            error = 100 * ramp.light.error_at(height)
            yield Measurement(name, 100 * light, error, scan=ramp.scan)


def _light_figure(ramp: Ramp) -> Iterator[Evidence]:
    if not isinstance(ramp.light, Reason):
        yield Evidence(
            "gutter",
            "curves",
            "Light on a page against its height above the glass",
            scan=ramp.scan,
            x_label="Height above the glass, mm",
            y_label="Light against that on the glass, %",
            unit="%",
            curves=(Curve("ramp", ramp.light.height_mm, 100 * ramp.light.light),),
        )


# --------------------------------------------------------------------------------- focus


def _focus(ramp: Ramp) -> Iterator[Measurement]:
    for height in RAMP_HEIGHTS_MM:
        name = f"gutter.focus_at_{height}mm_height"
        if isinstance(ramp.focus, Reason):
            yield not_measurable(name, ramp.focus, ramp.scan)
            continue
        found = ramp.focus.at(height)
        if found is None:
            highest = ramp.focus.height_mm[-1]
            words = f"no edge could be measured higher up than {highest:.1f} mm"
            why = Reason("range", f"{words}: too blurred, or not in the image")
            yield not_measurable(name, why, ramp.scan)
        else:
            share, error = found
            off = 0.0 if isinstance(ramp.light, Reason) else height * ramp.light.height_share
            near, far = (ramp.focus.at(h) or found for h in (height - off, height + off))
            error = math.hypot(error, (near[0] - far[0]) / 2)
            m = Measurement(name, 100 * share, 100 * error, scan=ramp.scan)
            yield doubted_by_print(m, ramp, 100 * ramp.focus.print_error(share))


def doubted_by_print(m: Measurement, ramp: Ramp, size: float) -> Measurement:
    """A value with what the print of the ramp may add to its doubt."""
    return with_doubt(m, Shared("print", ramp.print_label, size))


def _depth_of_field(ramp: Ramp) -> Measurement:
    """Height at which the median of edges of one height first falls to half."""
    if isinstance(ramp.focus, Reason):
        return not_measurable(DEPTH, ramp.focus, ramp.scan)
    found = ramp.focus.falls_to(HALF)
    share = 0.0 if isinstance(ramp.light, Reason) else ramp.light.height_share
    if found is None:
        why = "sharpness is still over half at the highest edge that could be measured"
        highest, error = float(ramp.focus.height_mm[-1]), ramp.focus.end_error(share)
        return Measurement(DEPTH, highest, error, "at-least", why, ramp.scan, reason_kind="range")
    height, error = found
    m = Measurement(DEPTH, height, math.hypot(error, height * share), scan=ramp.scan)
    return doubted_by_print(m, ramp, ramp.focus.print_error_of_fall(HALF))


def _focus_figure(ramp: Ramp) -> Iterator[Evidence]:
    if not isinstance(ramp.focus, Reason):
        heights, values = (
            np.array([getattr(site, key) for site in ramp.focus.sites])
            for key in ("height_mm", "sfr50")
        )
        yield Evidence(
            "gutter",
            "curves",
            "Sharpness against height above the glass",
            scan=ramp.scan,
            x_label="Height above the glass, mm",
            y_label="SFR50, cy/mm",
            unit="cy/mm",
            curves=(Curve("edges of the ramp", heights, values),),
        )
