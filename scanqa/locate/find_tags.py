"""Find AprilTags on a small picture of a scan, then their corners at full resolution.

A corner is the intersection of two border lines of the tag's black square; a line is fitted
through the places where profiles across the border go from ink to paper, in linear light. Blur
and ink spread move all four borders outwards alike, so they leave the middle of a tag alone;
`scanqa.locate.frame` takes the common growth out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats, Linear, Scan, Window
from scanqa.numeric.lightness import luma, mean_of_channels
from scanqa.numeric.linear_fit import robust_least_squares
from scanqa.numeric.step import crossings
from scanqa.sheets.tags import MODULES

MOST_POINTS = (32, 120)  # along one border, in the first and in the last round
CORNER_SHARE = 0.06  # of a side, left out at its ends: corners are rounded by blur
NARROW_PX = 8.0  # reach of the last profiles: far beyond any useful optics' blur
LEAST_REACH_PX = 1.6
MIDDLE_PX = 3.0  # half of what is summed in the last round: more would only add noise
BAND_ROWS = 256
ROUGHEST_PX = 0.6  # standard deviation of a border about its line: a torn or covered tag


Line: TypeAlias = tuple[Floats, Floats]  # a point and the direction


@dataclass(frozen=True, slots=True, eq=False)
class FoundTag:
    """A tag in a scan: its id and the corners (4, 2) of its square in full-resolution pixels.

    The corners go round in the tag's own order (see `scanqa.model.Tag`).
    """

    id: int
    corners_px: Floats

    @property
    def side_px(self) -> float:
        """Mean length of the sides."""
        sides = np.roll(self.corners_px, -1, axis=0) - self.corners_px
        return float(np.hypot(*sides.T).mean())


def picture(preview: NDArray[Any]) -> NDArray[np.uint8]:
    """Grey 8-bit picture of a preview in codes, stretched over the levels that occur."""
    return _stretched(mean_of_channels(preview))


def finer_picture(scan: Scan, step_px: int) -> NDArray[np.uint8]:
    """The same of a scan by blocks of so many pixels, read once by strips."""
    grey = np.empty((scan.height_px // step_px, scan.width_px // step_px), np.float32)
    for top, strip in scan.strips(max(BAND_ROWS // step_px, 1) * step_px):
        band = grey[top // step_px : (top + len(strip)) // step_px]
        band[:] = mean_of_channels(by_blocks(strip, step_px))
    return _stretched(grey)


def by_blocks(codes: NDArray[Any], step_px: int) -> NDArray[np.float32]:
    """Block means of codes, (rows, columns, channels) of whole blocks."""
    rows, columns = (length // step_px for length in codes.shape[:2])
    used = codes[: rows * step_px, : columns * step_px]
    blocks = used.reshape(rows, step_px, columns, step_px, codes.shape[-1])
    return np.asarray(blocks.mean(axis=(1, 3), dtype=np.float32))


def _stretched(grey: NDArray[np.floating[Any]]) -> NDArray[np.uint8]:
    some = grey[::2, ::2].astype(np.float64)  # a fourth of them says as much
    low, high = np.percentile(some, (0.5, 99.5))
    scale = 255 / max(float(high - low), 1e-6)
    out = np.empty(grey.shape, np.uint8)
    for top in range(0, len(grey), BAND_ROWS):  # of a whole bed floats are large
        band = np.s_[top : top + BAND_ROWS]
        out[band] = np.clip((grey[band].astype(np.float64) - low) * scale, 0, 255)
    return out


def detect(grey: NDArray[np.uint8], step_px: float) -> list[FoundTag]:
    """Tags on a reduced picture, corners good to about a pixel of it.

    Parameters
    ----------
    grey : (rows, columns) uint8
        Each pixel the mean of a block of `step_px` × `step_px` pixels of the scan.

    Returns
    -------
    list of FoundTag
        In full-resolution pixels.
    """
    import cv2

    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(dictionary).detectMarkers(grey)
    if ids is None:
        return []
    return [
        FoundTag(int(number), (np.asarray(quad, np.float64).reshape(4, 2) + 0.5) * step_px - 0.5)
        for number, quad in zip(np.ravel(ids), corners, strict=True)
    ]


def mirrored(grey: NDArray[np.uint8], step_px: float) -> list[FoundTag]:
    """Tags that can be read in a mirror, with corners as they lie in the mirrored picture."""
    return detect(np.ascontiguousarray(grey[:, ::-1]), step_px)


def refine(scan: Scan, light: Linear, tags: Sequence[FoundTag]) -> list[FoundTag]:
    """The same tags with corners at full resolution; those cut or covered are left out."""
    found = []
    for tag in tags:
        corners = _refined_corners(scan, light, tag)
        if corners is not None:
            found.append(FoundTag(tag.id, corners))
    return found


def _refined_corners(scan: Scan, light: Linear, tag: FoundTag) -> Floats | None:
    """Corners of one tag, or None if a border cannot be followed along its whole length."""
    module = tag.side_px / MODULES
    corners = tag.corners_px
    last = np.array([scan.width_px - 1, scan.height_px - 1])
    low = np.floor(corners.min(axis=0) - 1.1 * module).astype(int).clip(0, last)
    high = np.ceil(corners.max(axis=0) + 1.1 * module).astype(int).clip(0, last)
    window = Window(int(low[1]), int(low[0]), int(high[1] - low[1] + 1), int(high[0] - low[0] + 1))
    plane = luma(light.light(scan.window(window)))
    corners = corners - low
    # Wide profiles catch the rough corners of the small picture; narrow ones are exact.
    wide = max(0.7 * module, LEAST_REACH_PX)
    narrow = min(max(0.55 * module, LEAST_REACH_PX), NARROW_PX)
    for reach, middle, points in (
        (wide, wide, MOST_POINTS[0]),
        (narrow, MIDDLE_PX, MOST_POINTS[1]),
    ):
        lines = []
        for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
            line = _border(plane, start, end, reach, middle, points)
            if line is None:
                return None
            lines.append(line)
        corners = np.array([_meet(lines[k - 1], lines[k]) for k in range(4)])
    return np.asarray(corners + low)


def _border(
    plane: Floats, start: Floats, end: Floats, reach: float, middle: float, most_points: int
) -> Line | None:
    """The border near the line from `start` to `end`."""
    length = float(np.hypot(*(end - start)))
    if length < 2 * MODULES:
        return None
    along = (end - start) / length
    outward = np.array([along[1], -along[0]])
    points = int(np.clip(round(length), 12, most_points))
    t = np.linspace(CORNER_SHARE, 1 - CORNER_SHARE, points) * length
    base = start + t[:, None] * along
    crossing = crossings(plane, base, outward, reach_px=reach, middle_px=middle)
    if crossing is None:
        return None
    good = ~np.isnan(crossing)
    if np.count_nonzero(good) < 0.7 * points:
        return None
    fit = robust_least_squares(np.stack([np.ones_like(t), t], axis=1)[good], crossing[good])
    if fit.sd > max(ROUGHEST_PX, 0.02 * length):
        return None
    offset, slope = fit.solution
    return start + offset * outward, along + slope * outward


def _meet(one: Line, two: Line) -> Floats:
    """Intersection of two lines."""
    (p, u), (q, v) = one, two
    k = np.linalg.solve(np.stack([u, -v], axis=1), q - p)[0]
    return np.asarray(p + k * u)
