"""Levels: how much is cut off at the top, how light white paper is, how dark black is.

*Clipped*: share of all samples at the highest code, counted exactly, for each scan.
*White*: L* of luma on blank paper, median over the scan. *Black*: the same on a scan of black
card; without one, the darkest printed patch of a located sheet (printed black is not the
scanner's black: a lower figure may be reachable, and the reason says so).

L* is CIE 15 (ISO 11664-4), relative to the highest code.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats, Measurement, Patch, Placement, Results, Window
from scanqa.numeric.lightness import lstar, luma
from scanqa.numeric.scatter import median_error, repeat_error

PATCH_RIM_MM = 1.0  # of a printed patch left out: blur, and where the print may have moved
MIN_PATCH_PX = 100
THIN = 3  # every third block both ways: enough for a median
TEXTURE_BLOCKS = 10  # of those that share one accident of the paper: they do not average alone


def measure(
    blanks: Sequence[Placement], darks: Sequence[Placement], placements: Sequence[Placement]
) -> Results:
    """Clipping of every scan, lightness of white paper and of the darkest thing scanned.

    Parameters
    ----------
    blanks, darks : sequence of Placement
        Plain white paper; black card.
    placements : sequence of Placement
        All scans: each is looked at for clipping, and for printed patches.
    """
    return Results(
        (
            *_clipped(placements),
            *_white(blanks),
            *_black(darks, placements),
        )
    )


def _clipped(placements: Sequence[Placement]) -> Iterator[Measurement]:
    """One for each scan, however many pieces lie on it. A count has no uncertainty."""
    scans = {placement.scan.name: placement for placement in placements}
    for name, placement in scans.items():
        yield Measurement("tone.clipped", 100 * placement.overview.top_share, scan=name)


def _white(blanks: Sequence[Placement]) -> Iterator[Measurement]:
    why = "no blank scan: scan plain white paper that covers the whole bed"
    yield _level("tone.white", blanks, why)


def _black(darks: Sequence[Placement], placements: Sequence[Placement]) -> Iterator[Measurement]:
    if darks:
        yield _level("tone.black", darks, "")
        return
    readings = [
        (level, error, placement.scan.name)
        for placement in placements
        if placement.piece is not None and placement.to_px is not None
        for patch in placement.piece.patches
        if patch.cover == 1.0 and (found := read_patch(placement, patch)) is not None
        for level, error in [found]
    ]
    if not readings:
        why = "nothing black was scanned: scan black card with the lid closed"
        yield Measurement("tone.black", None, status="not-measurable", reason=why)
        return
    level, error, name = min(readings)
    why = "from printed black; scan black card with the lid closed to see the scanner's own"
    yield Measurement("tone.black", level, error, reason=why, scan=name)


def _level(name: str, scans: Sequence[Placement], why: str) -> Measurement:
    """Median lightness of scans of one plain thing."""
    if not scans:
        return Measurement(name, None, status="not-measurable", reason=why)
    every = (slice(None, None, THIN), slice(None, None, THIN))
    lightness = [
        lstar(luma(scan.light.light(scan.overview.preview[every]))).ravel() for scan in scans
    ]
    levels = np.array([np.median(each) for each in lightness])
    # Light and paper vary slowly over the bed: far fewer blocks than there are tell something new.
    within = max(float(median_error(each[::TEXTURE_BLOCKS])) for each in lightness)
    error = float(np.hypot(within / np.sqrt(len(scans)), repeat_error(levels)))
    scan = scans[0].scan.name if len(scans) == 1 else ""
    return Measurement(name, float(levels.mean()), error, scan=scan)


def read_patch(placement: Placement, patch: Patch) -> tuple[float, float] | None:
    """L* of a printed patch and its standard error, or None where it is not whole in the image.

    Light is averaged, not lightness, so that the dots of a halftone count by their area.
    """
    left, top, right, bottom = patch.box_mm
    rim = PATCH_RIM_MM
    if right - left <= 2 * rim or bottom - top <= 2 * rim:
        return None
    corners_mm = np.array(
        [
            (left + rim, top + rim),
            (right - rim, top + rim),
            (right - rim, bottom - rim),
            (left + rim, bottom - rim),
        ]
    )
    corners = placement.sheet_px(corners_mm)
    low, high = np.ceil(corners.min(axis=0)).astype(int), np.floor(corners.max(axis=0)).astype(int)
    scan = placement.scan
    if (low < 0).any() or high[0] >= scan.width_px or high[1] >= scan.height_px:
        return None
    size = high - low + 1
    window = Window(int(low[1]), int(low[0]), int(size[1]), int(size[0]))
    light = luma(placement.light.light(scan.window(window)))
    inside = _inside(corners - low, light.shape)
    if np.count_nonzero(inside) < MIN_PATCH_PX:
        return None
    rows = [row[mask].mean() for row, mask in zip(light, inside, strict=True) if mask.any()]
    mean = float(light[inside].mean())
    # Rows are the larger accidents (dots, bands); their scatter is what a mean of them can be off.
    error = float(np.std(rows) / np.sqrt(len(rows)))
    return float(lstar(mean)), float((lstar(mean + error) - lstar(max(mean - error, 0.0))) / 2)


def _inside(corners: Floats, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    """Mask of the pixel centres within a convex quadrilateral whose corners go clockwise."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    mask = np.ones(shape, np.bool_)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        mask &= (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) >= 0
    return mask
