"""The scanner's geometry and the printer's, told apart by turning the sheet between scans."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.measures.geometry.bars import PRINT_SCALE, RULE_MM, Rule, of_print, rule
from scanqa.measures.geometry.separate import Reading, Separation, separate
from scanqa.measures.geometry.straight import (
    LEAST_TAGS,
    bend_maps,
    middle_error_mm,
    tag_middles,
)
from scanqa.model import (
    DIRECTIONS,
    MM_PER_INCH,
    Direction,
    Floats,
    Measurement,
    Placement,
    Reason,
    Results,
    Told,
    together,
)

LEAST_NOISE_MM = 0.003  # of a tag's middle: paper is no steadier
ONE_SHEET_MM = 0.05  # scans of one sheet agree to this
SCALE_UNKNOWN = Reason("print", "the printer's mean scale is taken as true")


def skew_only(results: Results) -> Results:
    """What reversal does not say: how each sheet lay; and why, where nothing could be said."""
    return Results(
        tuple(m for m in results.measurements if m.name == "geometry.skew" or m.value is None)
    )


def reversed_sheet(placements: Sequence[Placement], told: Told) -> Results | None:
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
    bars = rule(usable[0], told.bars_mm)
    doubt = None
    if found.noise > ONE_SHEET_MM:
        doubt = Reason(
            "unlike",
            f"the scans differ by {1e3 * found.noise:.0f} µm where one sheet would not: "
            "was it the same print, and did it lie flat?",
        )
    why = together(None if bars else SCALE_UNKNOWN, doubt)
    size = _size(found, bars, told.print_label, why)
    sheet = usable[0].sheet
    assert sheet is not None
    diagonal = math.hypot(sheet.width_mm, sheet.height_mm)
    measurements = [
        *_machine_rows(found, size),
        *_printer_rows(found, size),
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


@dataclass(frozen=True, slots=True)
class _Size:
    """How much larger than drawn the printer's mean scale is, and its relative error.

    `bars` tells it, or is None where it is taken as true, as that of the print `label`; `why` is
    what to say of values that rest on it.
    """

    ratio: float
    error: float
    bars: Rule | None
    label: str
    why: Reason | None

    def measured(
        self,
        name: str,
        value: float,
        error: float,
        *,
        whole: float,
        direction: Direction | None = None,
    ) -> Measurement:
        """A value that rests on it; `error` is relative, as its own is, to `whole`."""
        of_size = whole * self.error
        return Measurement(
            name,
            value,
            whole * math.hypot(error, self.error),
            reason=self.why.words if self.why else "",
            reason_kind=self.why.kind if self.why else None,
            direction=direction,
            shared=self.bars.shared(of_size) if self.bars else of_print(self.label, of_size),
        )


def _size(found: Separation, bars: Rule | None, label: str, why: Reason | None) -> _Size:
    if bars is None:
        return _Size(1.0, PRINT_SCALE, None, label, why)
    drawn = np.sqrt(np.diag(found.metrics.plate))
    across, down = bars.scale
    ratio = math.sqrt(across * down / float(drawn[0] * drawn[1]))
    return _Size(ratio, RULE_MM / min(bars.drawn_mm) / math.sqrt(2), bars, label, why)


def _machine_rows(found: Separation, size: _Size) -> list[Measurement]:
    lengths = size.ratio * np.sqrt(np.diag(found.metrics.machine))
    rows = []
    for direction, length, error in zip(DIRECTIONS, lengths, found.relative_errors, strict=True):
        dpi = MM_PER_INCH / float(length)
        name = f"geometry.dpi_{direction}"
        rows.append(size.measured(name, dpi, error, whole=dpi, direction=direction))
    rows.append(
        Measurement(
            "geometry.orthogonality",
            _excess_deg(found.metrics.machine),
            math.degrees(found.angle_error),
        )
    )
    return rows


def _printer_rows(found: Separation, size: _Size) -> list[Measurement]:
    lengths = size.ratio * np.sqrt(np.diag(found.metrics.plate))
    across, down, angle = found.plate_errors
    rows = [
        size.measured(f"geometry.printer_{axis}", 100 * (float(length) - 1), error, whole=100)
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


def _largest(
    name: str, bends: Floats, errors: Floats, diagonal: float, doubt: Reason | None
) -> Measurement:
    sizes = np.hypot(*bends.T)
    worst = int(sizes.argmax())
    return Measurement(
        name,
        100 * float(sizes[worst]) / diagonal,
        100 * float(np.hypot(*errors[worst])) / diagonal / math.sqrt(2),
        reason=doubt.words if doubt else "",
        reason_kind=doubt.kind if doubt else None,
    )
