"""Glass that the sensor never sees, from strips hooked over the edges of the glass."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.catalogue import SIDES, Side
from scanqa.model import (
    MM_PER_INCH,
    Floats,
    Measurement,
    Placement,
    Point,
    Reason,
    not_measurable,
)
from scanqa.numeric.scatter import repeat_error
from scanqa.reading.sides import inwards_dpi

FOLD_SD_MM = 0.1  # how well a strip is folded on its line and hooked on (common practice)
READ_SD_MM = 0.3  # a millimetre scale read by eye to the nearest tick: 1 mm / √12
FOLD_INSIDE_MM = 3.0  # a fold this far inside the image was not on the glass edge
FOLD_TURN_DEG = 10.0


@dataclass(frozen=True, slots=True)
class _Hooked:
    """A strip's fold line against the border of the image next to it, and why it may not count."""

    side: Side
    margin_mm: float
    uncertainty_mm: float
    at_mm: Point
    scan: str
    fault: Reason | None


def dead_margins(
    strips: Sequence[Placement], read_mm: Mapping[Side, float]
) -> Iterator[Measurement]:
    """Dead margin of each side, from its strips, else as it was read by eye.

    Parameters
    ----------
    strips : sequence of Placement
        Pieces of edge strips.
    read_mm : mapping from side to mm
        What the user read from the strip's scale.
    """
    hooked = [found for strip in strips if (found := _hooked(strip)) is not None]
    for side in SIDES:
        name = f"edges.dead_margin_{side}"
        here = [found for found in hooked if found.side == side]
        good = [found for found in here if found.fault is None]
        refused = next((found for found in here if found.fault is not None), None)
        if good:
            yield _margin(name, good, read_mm.get(side))
        elif side in read_mm:
            yield Measurement(name, read_mm[side], READ_SD_MM, reason="read by eye from the scale")
        elif refused is not None and refused.fault is not None:
            yield not_measurable(name, refused.fault, refused.scan)
        else:
            words = f"no edge strip there: fold one, hook it over the {side} glass edge and scan"
            yield not_measurable(name, Reason("no-scan", words))


def _margin(name: str, strips: Sequence[_Hooked], read_mm: float | None) -> Measurement:
    """Mean of the strips of one side."""
    margins = np.array([strip.margin_mm for strip in strips])
    error = np.sqrt(np.mean([strip.uncertainty_mm**2 for strip in strips]) / len(strips))
    uncertainty = float(max(error, repeat_error(margins)))
    value = float(margins.mean())
    sure = value < -2 * uncertainty
    words = [f"the fold lies {-value:.1f} mm inside the image"] if sure else []
    if read_mm is not None:
        words.append(f"by the strip's tags; read by eye it was {read_mm:.1f} mm")
    return Measurement(
        name,
        max(value, 0.0),
        uncertainty,
        reason="; ".join(words),
        scan=strips[0].scan,
        at_mm=strips[0].at_mm,
    )


def _hooked(strip: Placement) -> _Hooked | None:
    """Where a strip's fold lies, or None if it has no fold or was not located."""
    if strip.piece is None or strip.piece.fold_mm is None or strip.to_px is None:
        return None
    fold_mm = np.asarray(strip.piece.fold_mm, np.float64)
    start, end = strip.sheet_px(fold_mm)
    run = np.abs((end - start) / np.asarray(strip.dpi))
    x, y = (start + end) / 2
    width, height = strip.scan.width_px, strip.scan.height_px
    side: Side
    if run[1] >= run[0]:
        side = "left" if x < (width - 1) / 2 else "right"
        outside_px = -0.5 - x if side == "left" else x - (width - 0.5)
        at_mm = strip.mm(-0.5 if side == "left" else width - 0.5, float(np.clip(y, 0, height - 1)))
    else:
        side = "top" if y < (height - 1) / 2 else "bottom"
        outside_px = -0.5 - y if side == "top" else y - (height - 0.5)
        at_mm = strip.mm(float(np.clip(x, 0, width - 1)), -0.5 if side == "top" else height - 0.5)
    margin = float(outside_px * MM_PER_INCH / inwards_dpi(strip.dpi, side))
    turn = float(np.degrees(np.arctan2(run.min(), run.max())))
    error = float(np.hypot(FOLD_SD_MM, _placing_error_mm(strip, fold_mm.mean(axis=0))))
    return _Hooked(side, margin, error, at_mm, strip.scan.name, _fault(margin, turn))


def _fault(margin_mm: float, turn_deg: float) -> Reason | None:
    """Why a strip does not lie with its fold on the edge of the glass, if it does not."""
    if margin_mm < -FOLD_INSIDE_MM:
        return Reason(
            "not-found",
            f"the fold lies {-margin_mm:.0f} mm inside the image: the strip was not hooked over "
            "the glass edge",
        )
    if turn_deg > FOLD_TURN_DEG:
        words = f"the strip lies turned by {turn_deg:.0f}°: lay its fold along the glass edge"
        return Reason("not-found", words)
    return None


def _placing_error_mm(strip: Placement, point_mm: Floats) -> float:
    """Standard error of a sheet point carried into the image by the fitted affine map.

    Ordinary least squares: residual sd × √(aᵀ (AᵀA)⁻¹ a), with A the tag corners (x, y, 1).
    The residual is a distance in the plane, so one axis has it over √2; three unknowns for each
    axis are paid for.
    """
    assert strip.piece is not None
    corners = [c for tag in strip.piece.tags if tag.id in strip.tags for c in tag.corners_mm]
    if len(corners) < 4 or strip.residual_um is None:
        return FOLD_SD_MM  # not known: as much again as the fold itself
    centre = np.mean(corners, axis=0)
    design = np.column_stack([np.asarray(corners) - centre, np.ones(len(corners))])
    at = np.append(point_mm - centre, 1.0)
    leverage = float(at @ np.linalg.pinv(design.T @ design) @ at)
    spent = len(corners) / (len(corners) - 3)
    return strip.residual_um / 1000 * math.sqrt(leverage * spent / 2)
