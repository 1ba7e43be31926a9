"""The scanner's geometry and the printer's, told apart by turning the sheet between scans."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from scanqa.measures.geometry.straight import (
    LEAST_TAGS,
    RULE_MM,
    bend_maps,
    middle_error_mm,
    printed_scale,
    tag_middles,
)
from scanqa.model import MM_PER_INCH, Direction, Floats, Measurement, Placement, Point, Results
from scanqa.numeric.reversal import Reading, Separation, separate

LEAST_NOISE_MM = 0.003  # of a tag's middle: paper is no steadier
ONE_SHEET_MM = 0.05  # scans of one sheet agree to this


def skew_only(results: Results) -> Results:
    """What reversal does not say: how each sheet lay; and why, where nothing could be said."""
    return Results(
        tuple(m for m in results.measurements if m.name == "geometry.skew" or m.value is None)
    )


def reversed_sheet(placements: Sequence[Placement], bars_mm: Point | None) -> Results | None:
    """The scanner's own geometry and the printer's, or None if the turns do not tell them apart."""
    usable = [p for p in placements if len(p.tags) >= LEAST_TAGS]
    readings = []
    for placement in usable:
        px, mm = tag_middles(placement)
        readings.append(Reading(placement.tags, mm, px))
    if len(readings) < 2:
        return None
    noise = max(LEAST_NOISE_MM, *map(middle_error_mm, usable))
    found = separate(readings, noise)
    if found is None:
        return None
    scale = printed_scale(usable[0], bars_mm)
    size, size_error = _common_scale(found, usable[0], scale)
    doubt = ""
    if found.noise > ONE_SHEET_MM:
        doubt = (
            f"the scans differ by {1e3 * found.noise:.0f} µm where one sheet would not: "
            "was it the same print, and did it lie flat?"
        )
    words = [doubt] if doubt else []
    unknown = "the printer's mean scale is taken as true" if scale is None else ""
    sheet = usable[0].sheet
    assert sheet is not None
    diagonal = math.hypot(sheet.width_mm, sheet.height_mm)
    measurements = [
        *_machine_rows(found, size, size_error, "; ".join(filter(None, [unknown, *words]))),
        *_printer_rows(found, size, size_error, "; ".join(filter(None, [unknown, *words]))),
        _largest("geometry.distortion", found.bends, found.bend_errors, diagonal, doubt),
        _largest(
            "geometry.printer_distortion",
            np.array(list(found.plate_bends.values())),
            np.full((len(found.plate_bends), 2), found.plate_bend_error),
            diagonal,
            doubt,
        ),
    ]
    return Results(tuple(measurements), evidence=bend_maps(found.at, found.bends, ""))


def _common_scale(found: Separation, placement: Placement, scale: Point | None) -> Point:
    """How much larger than drawn the printer's mean scale is, and its relative error."""
    assert placement.sheet is not None
    if scale is None or placement.sheet.bars_mm is None:
        return 1.0, 0.0
    drawn = np.sqrt(np.diag(found.metrics.plate))
    size = math.sqrt(scale[0] * scale[1] / float(drawn[0] * drawn[1]))
    return size, RULE_MM / min(placement.sheet.bars_mm) / math.sqrt(2)


def _machine_rows(
    found: Separation, size: float, size_error: float, reason: str
) -> list[Measurement]:
    lengths = size * np.sqrt(np.diag(found.metrics.machine))
    directions: tuple[Direction, Direction] = ("across", "travel")
    rows = [
        Measurement(
            f"geometry.dpi_{direction}",
            MM_PER_INCH / length,
            MM_PER_INCH / length * math.hypot(error, size_error),
            reason=reason,
            direction=direction,
        )
        for direction, length, error in zip(
            directions, map(float, lengths), found.relative_errors, strict=True
        )
    ]
    rows.append(
        Measurement(
            "geometry.orthogonality",
            _excess_deg(found.metrics.machine),
            math.degrees(found.angle_error),
        )
    )
    return rows


def _printer_rows(
    found: Separation, size: float, size_error: float, reason: str
) -> list[Measurement]:
    lengths = size * np.sqrt(np.diag(found.metrics.plate))
    across, down, angle = found.plate_errors
    rows = [
        Measurement(
            f"geometry.printer_{axis}",
            100 * (float(length) - 1),
            100 * math.hypot(error, size_error),
            reason=reason,
        )
        for axis, length, error in zip(("across", "down"), lengths, (across, down), strict=True)
    ]
    rows.append(
        Measurement(
            "geometry.printer_squareness", _excess_deg(found.metrics.plate), math.degrees(angle)
        )
    )
    return rows


def _excess_deg(metric: Floats) -> float:
    """Angle between the two axes of a metric, less 90°."""
    cosine = float(metric[0, 1] / math.sqrt(metric[0, 0] * metric[1, 1]))
    return math.degrees(math.acos(cosine)) - 90


def _largest(name: str, bends: Floats, errors: Floats, diagonal: float, reason: str) -> Measurement:
    sizes = np.hypot(*bends.T)
    worst = int(sizes.argmax())
    return Measurement(
        name,
        100 * float(sizes[worst]) / diagonal,
        100 * float(np.hypot(*errors[worst])) / diagonal / math.sqrt(2),
        reason=reason,
    )
