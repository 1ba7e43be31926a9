"""Veiling glare: white surroundings that brighten black.

Haze on mirrors, lens or glass sends a share of the light of every place astray, over several
millimetres. White paper stays white, since it loses as much as it gains; black in white
surroundings is lifted. White calibration cannot take that out, and a black card over the whole bed
does not show it: there is no light that could stray.

``stray_light``: on a located bed sheet, the light of solid black (the tags' squares and the solid
patch, `FROM_EDGE_MM` away from anything brighter, so that blur does not count) is fitted by a line
against the mean light around it, weighted by a Gaussian; of `REACHES_MM` the one is taken that fits
best. Ink has the same reflectance everywhere, so that a slope is light that strays: with a share s
that strays, the surroundings keep about 1 − s of their own contrast, the slope is s / (1 − s). The
idea is that of ISO 18844 (flare: the level of black in bright surroundings); places and weights are
ours. Light that strays over the whole bed alike looks like lighter ink and is not seen.

Fails without a located sheet, where black is cut off at the bottom of the scale, and where too few
places are black or their surroundings are all alike.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scanqa.model import (
    MM_PER_INCH,
    Curve,
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
from scanqa.reading.bed_light import bed_luma
from scanqa.reading.patches import inside_quad

NAME = "veil.stray_light"
REACHES_MM = (4.0, 8.0, 16.0)
FROM_EDGE_MM = 0.75
BLACK = 0.4  # of the light of paper: below it ink is solid
FEWEST_PLACES = 8
LEAST_RANGE = 0.1  # of the light of paper, between the darkest and the brightest surroundings
CURVE_POINTS = 20
NO_SHEET = Reason("no-scan", "no sheet was found in any scan: scan the printed bed sheet")
TOO_FEW = Reason("too-few", "too few places of solid black were found on the sheet")
CUT_OFF = Reason("clipped", "black is cut off at the bottom of the scale")
ALIKE = Reason("no-detail", "the surroundings of black are alike everywhere on the sheet")


@dataclass(frozen=True, slots=True, eq=False)
class _Black:
    """Blocks of solid black: their light, that around them (both against paper), and whose."""

    light: Floats
    around: Floats  # (reaches, blocks)
    place: NDArray[np.int64]


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Stray light on each bed sheet.

    Parameters
    ----------
    scans : sequence of Placement
        Bed sheets; those that were not located are passed over.
    told : Told
        Nothing of it is needed.

    Returns
    -------
    Results
        ``veil.stray_light`` (% of the light of white paper) of each, and a figure.
    """
    results = Results()
    for placement in scans:
        if placement.piece is not None and placement.to_px is not None:
            results += _measure(placement)
    if not results.measurements:
        return Results((not_measurable(NAME, NO_SHEET),))
    return results


def _measure(placement: Placement) -> Results:
    scan = placement.scan.name
    black = _black(placement)
    if black is None or len(np.unique(black.place)) < FEWEST_PLACES:
        return Results((not_measurable(NAME, TOO_FEW, scan),))
    if float(np.median(black.light)) <= 0:
        return Results((not_measurable(NAME, CUT_OFF, scan),))
    if float(np.ptp(black.around[0])) < LEAST_RANGE:
        return Results((not_measurable(NAME, ALIKE, scan),))
    lines = [_line(black.light, around, black.place) for around in black.around]
    best = int(np.argmin([line.rest for line in lines]))
    slope = lines[best].slope / (1 + max(lines[best].slope, 0.0))
    error = lines[best].error / (1 + max(lines[best].slope, 0.0)) ** 2
    reason = ""
    if slope < 0:
        slope, reason = 0.0, "black is no lighter in bright surroundings than in dark ones"
    measured = Measurement(NAME, 100 * slope, 100 * error, reason=reason, scan=scan)
    return Results((measured,), evidence=(_evidence(black, best, lines[best], scan),))


def _black(placement: Placement) -> _Black | None:
    from scipy.ndimage import distance_transform_edt, gaussian_filter

    assert placement.piece is not None
    overview = placement.overview
    light = bed_luma(placement)
    step = overview.step_px
    paper = float(np.median(light[light > 0.5 * np.percentile(light, 95)]))
    if paper <= 0:
        return None
    light = light / paper
    block_mm = [step * MM_PER_INCH / dpi for dpi in placement.dpi[::-1]]
    around = [
        gaussian_filter(light, [reach / each for each in block_mm], mode="nearest", truncate=3)
        for reach in REACHES_MM
    ]
    inner = distance_transform_edt(light < BLACK, sampling=block_mm) >= FROM_EDGE_MM
    piece = placement.piece
    outlines: list[tuple[Point, ...]] = [tag.corners_mm for tag in piece.tags]
    outlines += [_box(patch.box_mm) for patch in piece.patches if patch.cover == 1.0]
    place = np.full(light.shape, -1)
    for number, outline in enumerate(outlines):
        corners = (placement.sheet_px(np.asarray(outline, np.float64)) + 0.5) / step - 0.5
        low = np.maximum(np.floor(corners.min(axis=0)).astype(int), 0)
        high = np.ceil(corners.max(axis=0)).astype(int) + 1
        part = np.s_[low[1] : high[1], low[0] : high[0]]
        if place[part].size:
            place[part][inside_quad(corners - low, place[part].shape)] = number
    use = inner & (place >= 0)
    if not use.any():
        return None
    return _Black(light[use], np.stack([each[use] for each in around]), place[use])


def _box(box: tuple[float, float, float, float]) -> tuple[Point, ...]:
    left, top, right, bottom = box
    return ((left, top), (right, top), (right, bottom), (left, bottom))


@dataclass(frozen=True, slots=True)
class _Line:
    """Black against its surroundings; `rest` is the mean square that it leaves."""

    slope: float
    error: float
    level: float
    rest: float


def _line(light: Floats, around: Floats, place: NDArray[np.int64]) -> _Line:
    """Straight line through black blocks.

    Every place counts alike, however many blocks it has. The error is that of leaving out one
    place at a time (jackknife): toner that is thinner in some places does not average within one.
    """
    _, group, counts = np.unique(place, return_inverse=True, return_counts=True)
    weights = 1.0 / counts[group]
    terms = (np.ones_like(weights), around, light, around**2, around * light)
    sums = np.array([np.bincount(group, weights * each) for each in terms])
    slope, level = _solved(sums.sum(axis=1))
    others, _ = _solved(sums.sum(axis=1)[:, np.newaxis] - sums)
    count = len(counts)
    error = np.sqrt((count - 1) / count * np.sum((others - others.mean()) ** 2))
    rest = np.sum(weights * (light - level - slope * around) ** 2) / count
    return _Line(float(slope), float(error), float(level), float(rest))


def _solved(sums: Floats) -> tuple[Floats, Floats]:
    """Slope and level from Σ1, Σx, Σy, Σx², Σxy."""
    n, x, y, xx, xy = sums
    slope = (n * xy - x * y) / np.maximum(n * xx - x * x, 1e-12)
    return slope, (y - slope * x) / n


def _evidence(black: _Black, reach: int, line: _Line, scan: str) -> Evidence:
    """Means over equal shares of the blocks, and the line."""
    order = np.argsort(black.around[reach])
    parts = np.array_split(order, min(CURVE_POINTS, len(order)))
    around = np.array([black.around[reach][part].mean() for part in parts])
    light = np.array([black.light[part].mean() for part in parts])
    ends = around[[0, -1]]
    return Evidence(
        NAME,
        "curves",
        "Black ink against the light around it",
        scan=scan,
        x_label=f"mean light within some {REACHES_MM[reach]:.0f} mm, % of paper",
        y_label="light of solid black, % of paper",
        unit="%",
        curves=(
            Curve("measured", 100 * around, 100 * light),
            Curve("line", 100 * ends, 100 * (line.level + line.slope * ends)),
        ),
        note="The same ink is lighter in bright surroundings if light strays.",
    )
