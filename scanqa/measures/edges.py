"""Edge shadow, dead margin and what remains of the bed.

*Edge shadow*: from blank paper; along each side, the distance from the image's border inwards
until lightness is within `shadow_delta_l` of the level further in on the same side (a straight
line through 20 to 45 mm: gentle falloff is not shadow). A black band that the light never reaches
is part of it. The figure is the median along the side; where a part of the side is deeper, the
reason says so and the usable rectangle keeps clear of it.

*Lost*: what of a sheet or sleeve, laid the better way, sticks out of the usable rectangle.

*Dead margin*: glass that the sensor never sees, from a strip hooked over the glass edge: its tags
say where its fold would lie in the image, and the fold lies on the glass edge.

Definitions are our own; no standard states them. Fails (not measurable) without blank scans, on
images too small to show a level further in, on scans too dark, and for sides without a strip.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from scanqa.catalogue import FORMATS_MM, SIDES, Side
from scanqa.model import (
    MM_PER_INCH,
    Curve,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Point,
    Results,
    not_measurable,
)
from scanqa.numeric.border import Shadow, far_line, far_zone_mm, shadow
from scanqa.numeric.lightness import lstar, luma
from scanqa.numeric.scatter import median_error, repeat_error
from scanqa.numeric.sides import depths_mm, from_side, inwards_dpi

SHADOW_DELTA_L = 2.0
SHOWN_MM = 25.0  # of each profile in the figure
SHOWN_PITCH_MM = 0.1
TOO_DARK_L = 20.0  # paper that is darker than this was not lit (or is not paper)
FAR_DELTA_L = 10.0  # a level further in that lies lower than the middle by this is in shadow itself
UNEVEN_MM = 0.5  # a part of a side deeper than the median by this is named
WHOLE_MM = 0.5  # less is not missed
OVERLAP_MM = 10.0  # that two scans of one sheet must share to be joined (common practice)
FOLD_SD_MM = 0.1  # how well a strip is folded on its line and hooked on (common practice)
READ_SD_MM = 0.3  # a millimetre scale read by eye to the nearest tick: 1 mm / √12
FOLD_INSIDE_MM = 3.0  # a fold this far inside the image was not on the glass edge
FOLD_TURN_DEG = 10.0


def measure(
    blanks: Sequence[Placement],
    strips: Sequence[Placement],
    *,
    shadow_delta_l: float = SHADOW_DELTA_L,
    read_mm: Mapping[Side, float] | None = None,
) -> Results:
    """Edge shadows and usable bed from blank paper, dead margins from edge strips.

    Parameters
    ----------
    blanks : sequence of Placement
        Plain white paper over the whole bed. Scans of one size count together.
    strips : sequence of Placement
        Pieces of the edge strip, each with its fold line.
    shadow_delta_l : float
        How much darker (L*) than the level further in counts as shadow.
    read_mm : mapping, optional
        Dead margins read by eye from the strip's scale: used where no strip was located, named
        beside the value where one was.

    Returns
    -------
    Results
        ``edges.shadow_*``, ``edges.usable_*`` and ``edges.lost_*`` for each size of scan,
        ``edges.dead_margin_*``, and the profiles. `at_mm` of the usable
        width and height is the rectangle's top-left corner.
    """
    results = Results()
    for _, group in groupby(sorted(blanks, key=_size), key=_size):
        results += _shadows(list(group), shadow_delta_l)
    if not blanks:
        why = "no blank scan: scan plain white paper that covers the whole bed"
        names = [f"edges.shadow_{side}" for side in SIDES]
        names += ["edges.usable_width", "edges.usable_height"]
        names += [f"edges.lost_{form}" for form in FORMATS_MM]
        results += Results(tuple(not_measurable(name, why) for name in names))
    return results + Results(tuple(_dead_margins(strips, read_mm or {})))


def _size(blank: Placement) -> tuple[int, int, float, float]:
    return blank.scan.height_px, blank.scan.width_px, *blank.dpi


# ------------------------------------------------------------------------------- shadows


@dataclass(frozen=True, slots=True, eq=False)
class _SideDepth:
    """The shadow of one side: median and deepest part, or the reason why there is none."""

    measurement: Measurement
    deepest_mm: float = 0.0
    curve: Curve | None = None


def side_lightness(blank: Placement, side: Side) -> Floats:
    """L* of the outer half of a blank scan, (bands along the side, pixels inwards)."""
    means = blank.overview.row_means if side in ("top", "bottom") else blank.overview.column_means
    inwards = from_side(means, side)
    return lstar(luma(blank.light.light(inwards[:, : inwards.shape[1] // 2])))


def _shadows(blanks: list[Placement], delta_l: float) -> Results:
    name = blanks[0].scan.name if len(blanks) == 1 else ""
    found = {side: _side_depth(blanks, side, delta_l, name) for side in SIDES}
    measurements = tuple(depth.measurement for depth in found.values())
    width, height = _usable(blanks[0], found, name)
    usable = (width, height, *_lost(width, height))
    curves = tuple(depth.curve for depth in found.values() if depth.curve)
    if not curves:
        return Results(measurements + usable)
    ends = tuple(
        (depth.measurement.value, f"{side}: {depth.measurement.value:.1f} mm")
        for side, depth in found.items()
        if depth.measurement.value
    )
    evidence = Evidence(
        "edges",
        "curves",
        "Lightness from each side of the image inwards",
        scan=name,
        x_label="Distance from the side of the image, mm",
        y_label="L*",
        unit="L*",
        curves=curves,
        lines_mm=ends,
        note=f"Median along each side; shadow ends {delta_l:g} L* below the level further in.",
    )
    return Results(measurements + usable, evidence=(evidence,))


def _side_depth(blanks: list[Placement], side: Side, delta_l: float, name: str) -> _SideDepth:
    measure_name = f"edges.shadow_{side}"
    dpi = inwards_dpi(blanks[0].dpi, side)
    scans = [side_lightness(blank, side) for blank in blanks]
    at_mm = depths_mm(scans[0].shape[1], dpi)
    zone = far_zone_mm(2 * at_mm[-1]) if len(at_mm) > 1 else None
    if zone is None or np.diff(np.searchsorted(at_mm, zone)) < 2:
        return _SideDepth(
            not_measurable(measure_name, "the image is too small to show its edges", name)
        )
    bands = np.vstack(scans)
    further_in = float(
        np.median(far_line(at_mm, bands, zone)[:, np.searchsorted(at_mm, zone[1]) - 1])
    )
    middle = float(np.median(bands[:, at_mm > 0.9 * at_mm[-1]]))
    if middle < TOO_DARK_L:
        return _SideDepth(
            not_measurable(measure_name, "the scan is too dark for white paper", name)
        )
    found = shadow(at_mm, bands, zone, delta_l)
    curve = _curve(at_mm, bands, side)
    if not np.isfinite(found.depth) or further_in < middle - FAR_DELTA_L:
        why = f"darkness reaches further than {zone[0]:.0f} mm: no level further in to compare with"
        least = Measurement(measure_name, zone[0], None, "lower-bound", why, name)
        return _SideDepth(least, zone[0], curve)
    alone = np.array([shadow(at_mm, scan, zone, delta_l).depth for scan in scans])
    uncertainty = _depth_error(found, alone[np.isfinite(alone)], MM_PER_INCH / dpi)
    deepest, words = _uneven(found, blanks[0], side, len(blanks))
    result = Measurement(measure_name, found.depth, uncertainty, reason=words, scan=name)
    return _SideDepth(result, deepest, curve)


def _depth_error(found: Shadow, repeats: Floats, pixel_mm: float) -> float:
    """Scatter along the side or between scans, whichever is larger, and a pixel's width."""
    finite = found.depths[np.isfinite(found.depths)]
    along = float(median_error(finite)) if len(finite) else 0.0
    between = float(repeat_error(repeats)) if len(repeats) else 0.0
    return float(np.hypot(max(along, between), pixel_mm / np.sqrt(12)))


def _uneven(found: Shadow, blank: Placement, side: Side, scans: int) -> tuple[float, str]:
    """Deepest part of a side, and words about it if it is clearly deeper than the median.

    One band alone is a mark, not a part of the side: bands are medians of three.
    """
    depths = np.where(np.isfinite(found.depths), found.depths, found.at_mm[-1])
    depths = np.median(depths.reshape(scans, -1), axis=0)
    if len(depths) < 5:
        return found.depth, ""
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(depths, 3), axis=1)
    deepest = float(smooth.max())
    if deepest - found.depth <= UNEVEN_MM:
        return found.depth, ""
    edges = _band_edges_mm(blank, side, len(depths))
    part = np.flatnonzero(smooth > found.depth + UNEVEN_MM) + 1
    start, end = edges[part[0]], edges[part[-1] + 1]
    return deepest, f"uneven: up to {deepest:.1f} mm deep between {start:.0f} and {end:.0f} mm"


def _band_edges_mm(blank: Placement, side: Side, count: int) -> Floats:
    width_mm, height_mm = blank.size_mm
    if side in ("top", "bottom"):
        return np.linspace(0, width_mm, count + 1, dtype=np.float64)
    rows = np.arange(count + 1) * blank.overview.band_rows_px
    return np.asarray(np.minimum(rows * MM_PER_INCH / blank.dpi[1], height_mm), np.float64)


def _curve(at_mm: Floats, bands: Floats, side: Side) -> Curve:
    """Median profile, thinned to what a figure can show."""
    profile = np.median(bands[:, at_mm <= SHOWN_MM], axis=0)
    every = max(1, round(SHOWN_PITCH_MM / float(at_mm[1] - at_mm[0])))
    whole = len(profile) // every * every
    return Curve(
        side,
        at_mm[:whole].reshape(-1, every).mean(axis=1),
        profile[:whole].reshape(-1, every).mean(axis=1),
    )


def _usable(
    blank: Placement, found: dict[Side, _SideDepth], name: str
) -> tuple[Measurement, Measurement]:
    """Width and height of the evenly lit bed, both at its top-left corner."""
    corner = (found["left"].deepest_mm, found["top"].deepest_mm)
    axes: tuple[tuple[str, float, tuple[Side, Side]], ...] = (
        ("edges.usable_width", blank.size_mm[0], ("left", "right")),
        ("edges.usable_height", blank.size_mm[1], ("top", "bottom")),
    )
    faults = [d.measurement.reason for d in found.values() if d.measurement.status != "ok"]
    both = []
    for measure_name, extent, sides in axes:
        if faults:
            why = f"a side could not be measured: {faults[0]}"
            both.append(not_measurable(measure_name, why, name))
            continue
        size = max(extent - sum(found[side].deepest_mm for side in sides), 0.0)
        error = math.hypot(*(found[side].measurement.uncertainty or 0.0 for side in sides))
        both.append(Measurement(measure_name, size, error, scan=name, at_mm=corner))
    return both[0], both[1]


def _lost(width: Measurement, height: Measurement) -> Iterator[Measurement]:
    """What of each format sticks out, laid upright or across, whichever loses less."""
    for form, (words, short, long) in FORMATS_MM.items():
        name = f"edges.lost_{form}"
        if width.value is None or height.value is None:
            yield not_measurable(name, width.reason or height.reason, width.scan)
            continue
        bed = (width.value, height.value)
        upright, across = _excess(bed, (short, long)), _excess(bed, (long, short))
        lies, excess, size = min(
            ("upright", upright, (short, long)),
            ("across", across, (long, short)),
            key=lambda way: sum(way[1]),
        )
        reason = _how_it_fits(words, lies, excess, bed, size)
        errors = [
            m.uncertainty or 0.0 for m, over in zip((width, height), excess, strict=True) if over
        ]
        yield Measurement(name, sum(excess), math.hypot(*errors), reason=reason, scan=width.scan)


def _excess(bed: Point, size: Point) -> Point:
    """By how much a sheet is too wide and too high."""
    return max(size[0] - bed[0], 0.0), max(size[1] - bed[1], 0.0)


def _how_it_fits(words: str, lies: str, excess: Point, bed: Point, size: Point) -> str:
    """In one scan; in two, the sheet turned by half a turn between them; or not."""
    if max(excess) < WHOLE_MM:
        return f"{words} fits, laid {lies}"
    if min(excess) >= WHOLE_MM:
        return f"{words} is too wide and too high, laid {lies}"
    axis = 0 if excess[0] > excess[1] else 1
    what = ("width", "height")[axis]
    gone = f"{excess[axis]:.0f} mm of the {what} of {words} are lost, laid {lies}"
    if 2 * bed[axis] - size[axis] >= OVERLAP_MM:
        return f"{gone}; a second scan, the sheet turned by 180°, recovers them"
    return f"{gone}; turning it round does not recover them"


# --------------------------------------------------------------------------- dead margins


@dataclass(frozen=True, slots=True)
class _Hooked:
    """A strip's fold line against the border of the image next to it."""

    side: Side
    margin_mm: float
    uncertainty_mm: float
    at_mm: Point
    scan: str
    fault: str


def _dead_margins(
    strips: Sequence[Placement], read_mm: Mapping[Side, float]
) -> Iterator[Measurement]:
    hooked = [found for strip in strips if (found := _hooked(strip)) is not None]
    for side in SIDES:
        name = f"edges.dead_margin_{side}"
        here = [found for found in hooked if found.side == side]
        good = [found for found in here if not found.fault]
        if good:
            margins = np.array([found.margin_mm for found in good])
            error = np.sqrt(np.mean([found.uncertainty_mm**2 for found in good]) / len(good))
            uncertainty = float(max(error, repeat_error(margins)))
            value = float(margins.mean())
            sure = value < -2 * uncertainty
            words = [f"the fold lies {-value:.1f} mm inside the image"] if sure else []
            if side in read_mm:
                words.append(f"by the strip's tags; read by eye it was {read_mm[side]:.1f} mm")
            yield Measurement(
                name,
                max(value, 0.0),
                uncertainty,
                reason="; ".join(words),
                scan=good[0].scan,
                at_mm=good[0].at_mm,
            )
        elif side in read_mm:
            yield Measurement(name, read_mm[side], READ_SD_MM, reason="read by eye from the scale")
        elif here:
            yield not_measurable(name, here[0].fault, here[0].scan)
        else:
            yield not_measurable(
                name, f"no edge strip there: fold one, hook it over the {side} glass edge and scan"
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
    fault = ""
    if margin < -FOLD_INSIDE_MM:
        fault = (
            f"the fold lies {-margin:.0f} mm inside the image: the strip was not hooked over the "
            "glass edge"
        )
    elif turn > FOLD_TURN_DEG:
        fault = f"the strip lies turned by {turn:.0f}°: lay its fold along the glass edge"
    error = float(np.hypot(FOLD_SD_MM, _placing_error_mm(strip, fold_mm.mean(axis=0))))
    return _Hooked(side, margin, error, at_mm, strip.scan.name, fault)


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
