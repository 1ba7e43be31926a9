"""Bare paper of a reduced page: its level, and what is print, picture or edge.

The level is that of the paper round about: print is taken out by a closing (dark strokes vanish)
on a small picture, and what is left of it by a median. A sample is bare where its light lies within
3 % of that level (more on paper of coarse grain), nothing printed is near, and the level itself is
the page's usual one and even. A line of dirt is darker than 3 % in places: it is estimated first,
as the median of all rows of its column, and taken off before the print is sought, or it would be
taken for print.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from scanqa.model import Array, Linear, Pixels

SMALL = 8  # reduced samples a side of a small one
CLOSING, MEDIAN = 9, 5  # small samples: strokes of 10 mm vanish
BRIGHTER = 5  # of the 8 samples of a block that are looked at, in rising order
PRINT, COARSEST = 0.03, 0.12  # log light off the level; on paper of coarse grain at the most
GRAIN = 4.0  # deviations of the grain, if that is more
GROWN = 5  # reduced samples, the size of the neighbourhood of print that is no bare paper
DARK = 0.25  # log light under the page's paper: a picture, the lid, a card
BLACK = 1.2  # log light under the page's paper
SLOPE = 0.05  # log light between neighbouring small samples: a step, an edge
ROUGH = 8  # rows of which one is looked at where only a median is sought
STRONG = 0.015  # log light of a column off its neighbours: taken off before print is sought
NEIGHBOURS = 12
FLOOR = 1e-3  # of the light at the top of the scale, lest the logarithm of black runs away


@dataclass(frozen=True, slots=True, eq=False)
class BarePaper:
    """A reduced page as deviations from its paper.

    Attributes
    ----------
    deviation : (rows, columns)
        Log light against the level of the paper round about, strong lines taken off.
    bare : (rows, columns) uint8
        1 where paper is bare.
    strong : (columns,)
        Log light that was taken off each column.
    level : (small rows, small columns)
        Log light of the paper.
    usual : float
        Its usual value on this page.
    limit : float
        Log light off the level from which on a sample is print.
    black : int
        Small samples that are black, and those beside them: not letters, but tags or pictures.
    """

    deviation: Array
    bare: Array
    strong: Array
    level: Array
    usual: float
    limit: float
    black: int


def log_light(reduced: Pixels, light: Linear) -> Array:
    """Log of linear light (green, which scanners know best; grey as it is) of a reduced page."""
    channel = 1 if reduced.shape[2] == 3 else 0
    table = np.log(np.maximum(light.curves[channel], FLOOR)).astype(np.float32)
    plane = np.ascontiguousarray(reduced[..., channel])
    if plane.dtype == np.uint8:
        return np.asarray(cv2.LUT(plane, table), np.float32)
    return np.asarray(table[plane])


def bare_paper(logs: Array) -> BarePaper:
    """Find the bare paper of a page.

    Parameters
    ----------
    logs : (rows, columns)
        Log light of the reduced page, about 150 dpi.
    """
    height, width = logs.shape
    level, black = _level(logs)
    usual = float(np.percentile(level, 75))
    whole = cv2.resize(level, (width, height), interpolation=cv2.INTER_LINEAR)
    deviation = np.subtract(logs, whole, out=whole)
    part = deviation[::ROUGH, ::ROUGH]
    deviation -= np.median(part)  # the level stands above the mean of grain
    limit = _limit(deviation[::ROUGH, ::ROUGH])
    strong = _strong_lines(deviation)
    if strong.any():
        deviation -= strong
    inside = cv2.inRange(deviation, -limit, limit)
    small = (level < usual - DARK) | (_steps(level) > SLOPE)
    if small.any():
        grown = cv2.dilate(small.view(np.uint8), np.ones((3, 3), np.uint8))
        inside[cv2.resize(grown, (width, height), interpolation=cv2.INTER_NEAREST) > 0] = 0
    bare = cv2.erode(inside, np.ones((GROWN, GROWN), np.uint8))
    np.right_shift(bare, 7, out=bare)  # 255 to 1
    return BarePaper(deviation, np.asarray(bare, np.uint8), strong, level, usual, limit, black)


def _limit(deviation: Array) -> float:
    """Deviation that is print: more than the grain of this paper has."""
    grain = 1.4826 * float(np.median(np.abs(deviation)))
    return min(max(GRAIN * grain, PRINT), COARSEST)


def _level(logs: Array) -> tuple[Array, int]:
    """Level of the paper in small samples, and how many of these are black."""
    rows, columns = (n // SMALL for n in logs.shape)
    part = logs[: rows * SMALL : SMALL // 2, : columns * SMALL : 2]
    blocks = part.reshape(rows, 2, columns, SMALL // 2).swapaxes(1, 2).reshape(rows, columns, -1)
    # Means over print are too dark: the brighter samples of each block stand for its paper.
    small = np.partition(blocks, BRIGHTER, axis=2)[..., BRIGHTER]
    kernel = np.ones((CLOSING, CLOSING), np.uint8)
    closed = cv2.morphologyEx(small, cv2.MORPH_CLOSE, kernel)
    level = cv2.medianBlur(closed, MEDIAN)
    dark = (small < np.percentile(level, 75) - BLACK).view(np.uint8)
    black = int(np.count_nonzero(cv2.erode(dark, np.ones((2, 2), np.uint8))))
    return np.asarray(cv2.blur(level, (3, 3)), np.float32), black


def _steps(level: Array) -> Array:
    """The larger of the two differences of each small sample from the one before."""
    across = np.abs(np.diff(level, axis=1, prepend=level[:, :1]))
    down = np.abs(np.diff(level, axis=0, prepend=level[:1]))
    return np.maximum(across, down)


def _strong_lines(deviation: Array) -> Array:
    """Columns off their neighbours all along the page, as log light; 0 elsewhere."""
    middle = np.median(deviation[::ROUGH], axis=0)
    off = middle - running_median(middle)
    return np.where(np.abs(off) > STRONG, off, 0).astype(np.float32)


def running_median(values: Array, reach: int = NEIGHBOURS) -> Array:
    """Median over `reach` neighbours on each side; NaN do not count, all NaN gives 0."""
    padded = np.pad(values, reach, mode="reflect" if len(values) > reach else "edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    if np.isfinite(padded).all():
        return np.asarray(np.median(windows, axis=1))
    known = np.isfinite(windows).any(axis=1)
    made = np.zeros(len(values))
    if known.any():
        made[known] = np.nanmedian(windows[known], axis=1)
    return made
