"""Where the paper of one scan lies in another, from the grain that both show.

The cross-covariance of a window in both scans has a peak where the paper has moved to; far moves
are found from the previews first. A turn of the sheet makes the displacement change over the
bed: an affine field is fitted to what the windows found.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from scanqa.measures.noise.covariance import at_displacement, cross_covariance, flatten, peak
from scanqa.measures.noise.turned import AffineField, fitted
from scanqa.measures.noise.windows import FEWEST
from scanqa.model import MM_PER_INCH, Floats, Placement, Point, Window
from scanqa.numeric.lightness import luma
from scanqa.numeric.spread import sigma_about_zero

NEAR_PX = 6  # displacement within which the paper's grain and the fixed pattern are not separable
CLEAR = 8.0  # height of a grain peak over the scatter of the covariance
GRAIN_SHARE = 0.3  # of the covariance in place that grain still has one sample away
# Noise is alike over this many samples at most, even after interpolation; share of a difference
# that is alike, for there to be paper in it; and share that scans must have in common all the same.
CLOUD_PX, CLOUDY, MOSTLY = 4, 0.15, 0.4
TILE_MM = 40.0  # of the preview, in which a paper that moved far is looked for
SCATTER_PX = 3.0  # of what windows found about the field, beyond which it is none


def displacement(one: Floats, other: Floats, *, anywhere: bool = False) -> Point | None:
    """Rows and columns of the clearest shared grain away from displacement nought.

    Parameters
    ----------
    one, other : (rows, columns)
        Windows at the same place of two scans, shading removed.
    anywhere : bool
        Displacement nought may be the answer: the windows were lined up already.

    Returns
    -------
    (rows, columns) or None
        None if no peak is clear of the scatter.
    """
    from scipy.ndimage import maximum_filter

    surface = cross_covariance(one, other)
    rows, columns = one.shape
    # Far displacements have few pairs and chance makes peaks: half of a window at most.
    top, left = rows // 2 + 1, columns // 2 + 1
    inner = surface[top : 2 * rows - 1 - top, left : 2 * columns - 1 - left]
    scatter = float(sigma_about_zero(inner.ravel()))
    # Crests only: the slope of a wide peak at nought (cloudy paper that lay still) is none.
    crests = inner == maximum_filter(inner, 5, mode="nearest")
    crests[[0, -1]] = crests[:, [0, -1]] = False
    allowed = np.where(crests, inner, -math.inf)
    if not anywhere:
        near = np.s_[
            rows - 1 - top - NEAR_PX + 1 : rows - 1 - top + NEAR_PX,
            columns - 1 - left - NEAR_PX + 1 : columns - 1 - left + NEAR_PX,
        ]
        allowed[near] = -math.inf
    at_row, at_column = divmod(int(np.argmax(allowed)), allowed.shape[1])
    where_row, where_column, height = peak(surface, at_row + top, at_column + left)
    if height <= CLEAR * scatter:
        return None
    return where_row - (rows - 1), where_column - (columns - 1)


def lies_still(one: Floats, other: Floats) -> bool:
    """Whether windows at the same place of two scans share grain in place.

    Grain went through the lens, so neighbours share it too, in both directions; the sensor's own
    pattern is of single samples or single columns.
    """
    in_place = at_displacement(one, other, 0, 0)
    noise = math.sqrt(float(one.var()) * float(other.var()) / one.size)
    if in_place < CLEAR * noise:
        return False
    beside = [at_displacement(one, other, *lag) for lag in ((0, 1), (0, -1), (1, 0), (-1, 0))]
    if min(beside) < GRAIN_SHARE * in_place:
        return False
    # Clouds that moved by less than they are wide still share much in place, and leave clouds;
    # flecks leave what neighbours share.
    left = one - other
    total, rest = float(one.var() + other.var()) / 2, float(left.var())
    near, wide = (
        min(at_displacement(left, left, lag, 0), at_displacement(left, left, 0, lag))
        for lag in (1, CLOUD_PX)
    )
    return wide < CLOUDY * rest and (near < CLOUDY * rest or in_place > MOSTLY * total)


def far_window(window: Window, first: Placement, second: Placement) -> Window | None:
    """Where the paper under a window of the first scan lies in the second, from the previews.

    Tiles of the previews share the paper's coarse grain; good to about a block.
    """
    step = first.overview.step_px
    tiles = []
    for placement in (first, second):
        preview = placement.overview.preview
        half = int(TILE_MM * sum(placement.dpi) / 2 / MM_PER_INCH / step / 2)
        rows, columns = preview.shape[:2]
        row = int(np.clip((window.row + window.height // 2) // step - half, 0, rows - 2 * half))
        col = int(np.clip((window.col + window.width // 2) // step - half, 0, columns - 2 * half))
        if min(rows, columns) < 2 * half:
            return None
        tile = preview[row : row + 2 * half, col : col + 2 * half]
        plane = flatten(np.log(np.maximum(luma(placement.light.light(tile)), 1e-4)))
        limit = 4.5 * float(np.median(np.abs(plane)))  # three deviations: specks and marks go
        plane = np.clip(plane, -limit, limit)
        # Streaks stay in place and would outshout the paper.
        tiles.append(plane - plane.mean(axis=0) - plane.mean(axis=1, keepdims=True))
    found = displacement(tiles[0], tiles[1])
    if found is None:
        return None
    return _inside(window, round(found[0] * step), round(found[1] * step), second)


def paper_field(windows: Sequence[Window], found: Sequence[Point | None]) -> AffineField | None:
    """Affine displacement of the paper from what windows found, None from less than half of them.

    Wrong finds are weighted down; where hardly two of them agree, all are wrong.
    """
    pairs = [(w, f) for w, f in zip(windows, found, strict=True) if f is not None]
    if not pairs or 2 * len(pairs) < len(windows):
        return None
    shifts = np.array([shift for _, shift in pairs], np.float64)
    middles = np.array([_middle(window) for window, _ in pairs], np.float64)
    if len(pairs) < FEWEST or np.ptp(middles, axis=0).min() < 1:
        middle = np.median(shifts, axis=0)
        field = AffineField(middle, np.zeros((2, 2)))
        scatter = float(np.median(np.hypot(*(shifts - middle).T)))
    else:
        field, scatter = fitted(middles, shifts)
    return field if scatter < SCATTER_PX else None


def _middle(window: Window) -> Point:
    return window.row + (window.height - 1) / 2, window.col + (window.width - 1) / 2


def _inside(window: Window, rows: int, columns: int, other: Placement) -> Window | None:
    row, col = window.row + rows, window.col + columns
    if not 0 <= row <= other.scan.height_px - window.height:
        return None
    if not 0 <= col <= other.scan.width_px - window.width:
        return None
    return Window(row, col, window.height, window.width)
