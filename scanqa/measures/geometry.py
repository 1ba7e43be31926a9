"""Scale, turn, squareness and bends of the scanned sheet.

The middles of the tags are known in sheet millimetres; a straight (affine) map from pixels to
millimetres is fitted to them. One step of a pixel to the right, and one down, are vectors on the
paper:

* *dpi*: 25.4 mm over their lengths (across, travel);
* *skew*: the turn of the sheet against the sensor line, positive clockwise in the image, less the
  quarter turn in which the sheet lay;
* *orthogonality*: the angle from the first to the second, less 90°;
* *distortion*: the largest distance of a tag from the map, over the sheet's diagonal.

Middles of tags do not move when ink spreads or the focus is soft. The printer's own scale,
squareness and bends are in these figures; the lengths of the sheet's bars, measured with a steel
rule, take its scale out.

*Reversal*: scans of one sheet that lay differently (by 90°, better also by 180°) tell the printer
from the scanner: then dpi, orthogonality and distortion are the scanner's own and stand once for
all scans, and the printer's own are given too (`scanqa.numeric.reversal`). Only a scale common to
both axes stays undecided: for that, the rule.

Uncertainty is what the scatter of the tags about the map gives (bends make it larger), and half a
tenth of a millimetre on the rule. Fails with fewer than four tags.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.errors import BadOption
from scanqa.model import (
    MM_PER_INCH,
    Direction,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Point,
    Results,
)
from scanqa.numeric.linear_fit import robust_least_squares
from scanqa.numeric.reversal import Reading, Separation, separate

NAMES = tuple(
    f"geometry.{what}"
    for what in ("dpi_across", "dpi_travel", "skew", "orthogonality", "distortion")
)
LEAST_TAGS = 4
RULE_MM = 0.05  # standard uncertainty of a length read to 0.1 mm
BAR_RANGE = (0.9, 1.1)  # a bar printed more wrongly than this was misread
PRINTER_INCLUDED = (
    "the printer's scale is included; measure the sheet's bars with a steel rule to take it out"
)
MAP_STEP_MM = 5.0
DPI_STEP = 10.0  # scans whose dpi agree to this are of one setting
LEAST_NOISE_MM = 0.003  # of a tag's middle: paper is no steadier
ONE_SHEET_MM = 0.05  # scans of one sheet agree to this


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


def measure(
    placements: Sequence[Placement], *, bars_mm: tuple[float, float] | None = None
) -> Results:
    """Geometry of every scan of a bed sheet.

    Parameters
    ----------
    placements : sequence of Placement
        Located bed sheets.
    bars_mm : (across, down), optional
        Lengths of the sheet's two bars as measured with a steel rule, mm.

    Returns
    -------
    Results
        Dpi, skew, orthogonality, distortion, and maps of what is left after the straight map.

    Raises
    ------
    BadOption
        If a bar's length is not near what was drawn.
    """
    sheets = [placement for placement in placements if placement.corners_px is not None]
    if not sheets:
        why = "no bed sheet was scanned"
        return Results(tuple(_missing(name, why, "") for name in NAMES))
    results = Results()
    for group in _of_one_sheet(sheets):
        apart = _reversed(group, bars_mm) if len(group) > 1 else None
        for placement in group:
            own = _of_one(placement, bars_mm)
            results += own if apart is None else _skew_only(own)
        results += apart or Results()
    return results


def _of_one_sheet(placements: Sequence[Placement]) -> list[list[Placement]]:
    """Groups of scans of one sheet at one dpi."""
    groups: dict[tuple[str, int, int], list[Placement]] = {}
    for placement in placements:
        assert placement.sheet is not None
        across, travel = placement.dpi
        key = (placement.sheet.id, round(across / DPI_STEP), round(travel / DPI_STEP))
        groups.setdefault(key, []).append(placement)
    return list(groups.values())


def _missing(name: str, why: str, scan: str) -> Measurement:
    return Measurement(name, None, status="not-measurable", reason=why, scan=scan)


def printed_scale(placement: Placement, bars_mm: tuple[float, float] | None) -> Point | None:
    """How much longer the sheet was printed than drawn, across and down the page, by the rule."""
    if bars_mm is None or placement.sheet is None or placement.sheet.bars_mm is None:
        return None
    across, down = (
        measured / drawn for measured, drawn in zip(bars_mm, placement.sheet.bars_mm, strict=True)
    )
    for ratio, measured in zip((across, down), bars_mm, strict=True):
        if not BAR_RANGE[0] < ratio < BAR_RANGE[1]:
            raise BadOption(
                f"a bar of {measured:g} mm: the bars of {placement.sheet.id} were drawn "
                f"{placement.sheet.bars_mm[0]:g} mm (across) and "
                f"{placement.sheet.bars_mm[1]:g} mm (down)"
            )
    return across, down


def tag_middles(placement: Placement) -> tuple[Floats, Floats]:
    """Middles of the tags in pixels and in sheet mm, (tags, 2) each."""
    assert placement.corners_px is not None
    assert placement.piece is not None
    drawn = {tag.id: tag.centre_mm for tag in placement.piece.tags}
    mm = np.array([drawn[number] for number in placement.tags]).reshape(-1, 2)
    return placement.corners_px.mean(axis=1), mm


def _of_one(placement: Placement, bars_mm: tuple[float, float] | None) -> Results:
    scan = placement.scan.name
    px, mm = tag_middles(placement)
    if len(px) < LEAST_TAGS or np.linalg.matrix_rank(mm - mm.mean(axis=0), tol=1.0) < 2:
        why = f"only {len(px)} tags, or all in one line: at least {LEAST_TAGS} are needed"
        return Results(tuple(_missing(name, why, scan) for name in NAMES))
    scale = printed_scale(placement, bars_mm)
    found = steps(px, mm * (scale or (1.0, 1.0)))
    return Results(
        (*_dpi(found, placement, scale), *_angles(found, placement), _distortion(found, placement)),
        evidence=bend_maps(_image_mm(px, placement), found.bends_mm, scan),
    )


def _image_mm(px: Floats, placement: Placement) -> Floats:
    return np.asarray((px + 0.5) * MM_PER_INCH / np.array(placement.dpi))


def _dpi(found: Steps, placement: Placement, scale: Point | None) -> list[Measurement]:
    assert placement.sheet is not None
    rule = 0.0 if scale is None else RULE_MM / min(placement.sheet.bars_mm or (math.inf,))
    directions: tuple[Direction, Direction] = ("across", "travel")
    return [
        Measurement(
            f"geometry.dpi_{direction}",
            dpi,
            dpi * math.hypot(relative, rule),
            reason=PRINTER_INCLUDED if scale is None else "",
            scan=placement.scan.name,
            direction=direction,
        )
        for direction, dpi, relative in zip(directions, found.dpi, found.relative, strict=True)
    ]


def _angles(found: Steps, placement: Placement) -> list[Measurement]:
    skew = (found.turn_deg - placement.rotation_deg + 180) % 360 - 180
    across, both = found.relative[0], math.hypot(*found.relative)
    scan = placement.scan.name
    return [
        Measurement("geometry.skew", skew, math.degrees(across), scan=scan),
        Measurement(
            "geometry.orthogonality",
            found.excess_deg,
            math.degrees(both),
            reason="the printer's squareness is included",
            scan=scan,
        ),
    ]


def _distortion(found: Steps, placement: Placement) -> Measurement:
    assert placement.sheet is not None
    diagonal = math.hypot(placement.sheet.width_mm, placement.sheet.height_mm)
    return Measurement(
        "geometry.distortion",
        100 * float(np.hypot(*found.bends_mm.T).max()) / diagonal,
        100 * middle_error_mm(placement) / diagonal,
        reason="the printer's own bends are included",
        scan=placement.scan.name,
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


# ------------------------------------------------------------------------------- reversal


def _skew_only(results: Results) -> Results:
    """What reversal does not say: how each sheet lay; and why, where nothing could be said."""
    return Results(
        tuple(m for m in results.measurements if m.name == "geometry.skew" or m.value is None)
    )


def _reversed(placements: Sequence[Placement], bars_mm: Point | None) -> Results | None:
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
