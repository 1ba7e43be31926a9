"""Scale, turn, squareness and bends of one scan, the printer's own included."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from scanqa.measures.geometry.bars import (
    PRINT_BENDS_MM,
    PRINT_SCALE,
    PRINT_SQUARE_DEG,
    RULE_MM,
    Rule,
    of_print,
    rule,
)
from scanqa.model import (
    DIRECTIONS,
    MM_PER_INCH,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Point,
    Reason,
    Results,
    Told,
    not_measurable,
)
from scanqa.numeric.linear_fit import robust_least_squares

NAMES = tuple(
    f"geometry.{what}"
    for what in ("dpi_across", "dpi_travel", "skew", "orthogonality", "distortion")
)
LEAST_TAGS = 4
PRINTER_INCLUDED = (
    "the printer's scale is included; measure the sheet's bars with a steel rule to take it out"
)
MAP_STEP_MM = 5.0


@dataclass(frozen=True, slots=True, eq=False)
class Steps:
    """What one step of a pixel means on the paper.

    Attributes
    ----------
    mm : (2, 2)
        Columns: the step right and the step down, in sheet mm.
    relative : (across, travel)
        Standard uncertainty of either step, over its length.
    bends_mm : (tags, 2)
        How far each tag lies from the straight map, along image x and y.
    """

    mm: Floats
    relative: Point
    bends_mm: Floats

    @property
    def dpi(self) -> Point:
        """Samples per inch across and along travel."""
        across, travel = np.hypot(*self.mm)
        return MM_PER_INCH / float(across), MM_PER_INCH / float(travel)

    @property
    def turn_deg(self) -> float:
        """How the sheet is turned against the sensor line, clockwise, -180 to 180."""
        return -math.degrees(math.atan2(self.mm[1, 0], self.mm[0, 0]))

    @property
    def excess_deg(self) -> float:
        """Angle from the sensor line to the travel, less 90°."""
        (ax, bx), (ay, by) = self.mm
        return math.degrees(math.atan2(ax * by - ay * bx, ax * bx + ay * by)) - 90


def steps(px: Floats, mm: Floats) -> Steps:
    """Fit the straight map from pixels to millimetres.

    Parameters
    ----------
    px, mm : (tags, 2)
        The same points in both; at least four, not in one line.
    """
    middle = px.mean(axis=0)
    design = np.column_stack([px - middle, np.ones(len(px))])
    fits = [robust_least_squares(design, mm[:, axis]) for axis in range(2)]
    matrix = np.array([fit.solution[:2] for fit in fits])
    residuals = np.stack([fit.residuals for fit in fits], axis=1)
    variance = np.mean([np.diag(fit.covariance)[:2] for fit in fits], axis=0)
    lengths = np.hypot(*matrix)
    relative = np.sqrt(variance) / lengths
    # A tag that lies too far right in the image reads too much on the paper.
    bends = -residuals @ (matrix / lengths)
    return Steps(matrix, (float(relative[0]), float(relative[1])), bends)


def tag_middles(placement: Placement) -> tuple[Floats, Floats]:
    """Middles of the tags in pixels and in sheet mm, (tags, 2) each."""
    assert placement.corners_px is not None
    assert placement.piece is not None
    drawn = {tag.id: tag.centre_mm for tag in placement.piece.tags}
    mm = np.array([drawn[number] for number in placement.tags]).reshape(-1, 2)
    return placement.corners_px.mean(axis=1), mm


def of_one(placement: Placement, told: Told) -> Results:
    """Dpi, skew, orthogonality and distortion of one scan, and its maps."""
    scan = placement.scan.name
    px, mm = tag_middles(placement)
    if len(px) < LEAST_TAGS or np.linalg.matrix_rank(mm - mm.mean(axis=0), tol=1.0) < 2:
        words = f"only {len(px)} tags, or all in one line: at least {LEAST_TAGS} are needed"
        why = Reason("too-few", words)
        return Results(tuple(not_measurable(name, why, scan) for name in NAMES))
    bars, label = rule(placement, told.bars_mm), told.print_label
    found = steps(px, mm * ((1.0, 1.0) if bars is None else bars.scale))
    return Results(
        (
            *_dpi(found, bars, label, scan),
            *_printed(bars, scan),
            *_angles(found, placement, label, bars),
            _distortion(found, placement, label),
        ),
        evidence=bend_maps(_image_mm(px, placement), found.bends_mm, scan),
    )


def _image_mm(px: Floats, placement: Placement) -> Floats:
    return np.asarray((px + 0.5) * MM_PER_INCH / np.array(placement.dpi))


def _dpi(found: Steps, bars: Rule | None, label: str, scan: str) -> Iterator[Measurement]:
    of_size = PRINT_SCALE if bars is None else RULE_MM / min(bars.drawn_mm)
    for direction, dpi, relative in zip(DIRECTIONS, found.dpi, found.relative, strict=True):
        shared = bars.shared(dpi * of_size) if bars else of_print(label, dpi * of_size)
        yield Measurement(
            f"geometry.dpi_{direction}",
            dpi,
            dpi * math.hypot(relative, of_size),
            reason=PRINTER_INCLUDED if bars is None else "",
            reason_kind="print" if bars is None else None,
            scan=scan,
            direction=direction,
            shared=shared,
        )


def _printed(bars: Rule | None, scan: str) -> Iterator[Measurement]:
    """How much larger than drawn the sheet was printed, where the rule says it."""
    if bars is None:
        return
    for axis, ratio, drawn_mm in zip(("across", "down"), bars.scale, bars.drawn_mm, strict=True):
        error = 100 * RULE_MM / drawn_mm
        yield Measurement(
            f"geometry.printer_{axis}",
            100 * (ratio - 1),
            error,
            reason="by the steel rule",
            scan=scan,
            shared=bars.shared(error),
        )


def _angles(found: Steps, placement: Placement, label: str, bars: Rule | None) -> list[Measurement]:
    """Turn and squareness; unlike scales of a print feign a turn where it lies askew."""
    skew = (found.turn_deg - placement.rotation_deg + 180) % 360 - 180
    across, both = found.relative[0], math.hypot(*found.relative)
    scan = placement.scan.name
    of_scales = PRINT_SCALE if bars is None else RULE_MM / min(bars.drawn_mm)
    feigned = math.sqrt(2) * of_scales * abs(skew)
    shared = bars.shared(feigned) if bars else of_print(label, feigned)
    return [
        Measurement(
            "geometry.skew",
            skew,
            math.hypot(math.degrees(across), feigned),
            scan=scan,
            shared=shared,
        ),
        Measurement(
            "geometry.orthogonality",
            found.excess_deg,
            math.hypot(math.degrees(both), PRINT_SQUARE_DEG),
            reason="the printer's squareness is included",
            reason_kind="print",
            scan=scan,
            shared=of_print(label, PRINT_SQUARE_DEG),
        ),
    ]


def _distortion(found: Steps, placement: Placement, label: str) -> Measurement:
    assert placement.sheet is not None
    diagonal = math.hypot(placement.sheet.width_mm, placement.sheet.height_mm)
    of_bends = 100 * PRINT_BENDS_MM / diagonal
    return Measurement(
        "geometry.distortion",
        100 * float(np.hypot(*found.bends_mm.T).max()) / diagonal,
        math.hypot(100 * middle_error_mm(placement) / diagonal, of_bends),
        reason="the printer's own bends are included",
        reason_kind="print",
        scan=placement.scan.name,
        shared=of_print(label, of_bends),
    )


def middle_error_mm(placement: Placement) -> float:
    """Standard uncertainty of a tag's middle, from how its corners fit one another.

    The corners of each tag are compared with the sheet's map moved (and its square grown) to fit
    them; what is left is the error of a corner, and a middle is the mean of four.
    """
    assert placement.corners_px is not None
    assert placement.piece is not None
    drawn = {tag.id: tag.corners_mm for tag in placement.piece.tags}
    corners_mm = np.array([drawn[number] for number in placement.tags])
    expected = placement.sheet_px(corners_mm.reshape(-1, 2)).reshape(-1, 4, 2)
    left = placement.corners_px - expected
    left -= left.mean(axis=1, keepdims=True)
    outward = expected - expected.mean(axis=1, keepdims=True)
    growth = (left * outward).sum() / (outward**2).sum()
    left -= growth * outward
    free = 6 * len(left)  # 8 numbers a tag, less its two of place
    px_mm = MM_PER_INCH / (sum(placement.dpi) / 2)
    return float(np.sqrt((left**2).sum() / free)) * px_mm / 2


def bend_maps(at: Floats, bends_mm: Floats, scan: str) -> tuple[Evidence, ...]:
    """Smooth maps of how far points at image mm lie off, along image x and along image y."""
    from scipy.interpolate import RBFInterpolator

    left, top = at.min(axis=0)
    right, bottom = at.max(axis=0)
    columns = max(int((right - left) / MAP_STEP_MM), 2)
    rows = max(int((bottom - top) / MAP_STEP_MM), 2)
    xs = left + (np.arange(columns) + 0.5) * (right - left) / columns
    ys = top + (np.arange(rows) + 0.5) * (bottom - top) / rows
    grid = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(-1, 2)
    smooth = RBFInterpolator(at, 1e3 * bends_mm, kernel="thin_plate_spline")(grid)
    return tuple(
        Evidence(
            "geometry.distortion",
            "map",
            f"Distortion {words}",
            scan=scan,
            x_label="x, mm",
            y_label="y, mm",
            unit="µm",
            image=smooth[:, axis].reshape(rows, columns),
            extent_mm=(float(left), float(top), float(right), float(bottom)),
            note="how far things appear from where a straight map puts them, positive to the "
            + ("right" if axis == 0 else "bottom"),
        )
        for axis, words in enumerate(("across", "along travel"))
    )
