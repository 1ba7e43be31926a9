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
from scanqa.numeric.medians import running_median

SMALL = 8  # reduced samples a side of a small one
CLOSING, MEDIAN = 9, 5  # small samples: strokes of 10 mm vanish
PRINT, COARSEST = 0.03, 0.12  # log light off the level; on paper of coarse grain at the most
GRAIN = 4.0  # deviations of the grain, if that is more
GROWN = 5  # reduced samples, the size of the neighbourhood of print that is no bare paper
DARK = 0.25  # log light under the page's paper: a picture, the lid, a card
TAG = 4, 22  # small samples a side: tags of 12 to 20 mm, tilted, some of their border lost
UNLIKE = 2  # small samples
BLACK = 1.2  # log light under the page's paper
SLOPE = 0.05  # log light between neighbouring small samples: a step, an edge
ROUGH = 8  # rows of which one is looked at where only a median is sought
STRONG = 0.015  # log light of a column off its neighbours: taken off before print is sought
NEIGHBOURS = 12
FLOOR = 1e-3  # of the light at the top of the scale, lest the logarithm of black runs away
LOG_STEP = (
    1 / 4096
)  # log light: pictures hold whole steps (0.024 %; rows average it), twice as fast


@dataclass(frozen=True, slots=True, eq=False)
class BarePaper:
    """A reduced page as deviations from its paper.

    Attributes
    ----------
    deviation : (rows, columns) int16
        Log light against the level of the paper round about, strong lines taken off, in `LOG_STEP`.
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
    tag_like : int
        Black things of about the size of a tag.
    """

    deviation: Array
    bare: Array
    strong: Array
    level: Array
    usual: float
    limit: float
    tag_like: int


def log_light(reduced: Pixels, light: Linear) -> Array:
    """Log of linear light (green, which scanners know best; grey as it is), int16 in `LOG_STEP`."""
    channel = 1 if reduced.shape[2] == 3 else 0
    logs = np.log(np.maximum(light.curves[channel], FLOOR))
    table = np.rint(logs / LOG_STEP).astype(np.int16)
    plane = np.ascontiguousarray(reduced[..., channel])
    if plane.dtype == np.uint8:
        return np.asarray(cv2.LUT(plane, table))
    return np.asarray(table[plane])


def bare_paper(logs: Array) -> BarePaper:
    """Find the bare paper of a page.

    Parameters
    ----------
    logs : (rows, columns) int16
        Log light of the reduced page, about 150 dpi, in `LOG_STEP`.
    """
    height, width = logs.shape
    level, tag_like = _level(logs)
    usual = float(np.percentile(level, 75))
    steps = np.rint(level / LOG_STEP).astype(np.int16)
    whole = cv2.resize(steps, (width, height), interpolation=cv2.INTER_LINEAR)
    deviation = np.subtract(logs, whole, out=whole)
    # The level stands above the mean of grain.
    deviation -= np.int16(round(float(np.median(deviation[::ROUGH, ::ROUGH]))))
    limit = _limit(deviation[::ROUGH, ::ROUGH])
    strong = _strong_lines(deviation)
    if strong.any():
        deviation -= strong
    inside = cv2.inRange(deviation, -limit / LOG_STEP, limit / LOG_STEP)
    small = (level < usual - DARK) | (_steps(level) > SLOPE)
    if small.any():
        grown = cv2.dilate(small.view(np.uint8), np.ones((3, 3), np.uint8))
        cv2.bitwise_and(inside, _spread(grown - np.uint8(1), logs.shape), dst=inside)
    bare = cv2.erode(inside, np.ones((GROWN, GROWN), np.uint8))
    np.right_shift(bare, 7, out=bare)  # 255 to 1
    taken_off = (LOG_STEP * strong).astype(np.float32)
    return BarePaper(
        deviation, np.asarray(bare, np.uint8), taken_off, level, usual, limit, tag_like
    )


def _limit(deviation: Array) -> float:
    """Deviation that is print: more than the grain of this paper has."""
    grain = 1.4826 * LOG_STEP * float(np.median(np.abs(deviation)))
    return min(max(GRAIN * grain, PRINT), COARSEST)


def _level(logs: Array) -> tuple[Array, int]:
    """Level of the paper in small samples, and how many things on it are like tags."""
    rows, columns = (n // SMALL for n in logs.shape)
    part = logs[: rows * SMALL : SMALL // 2, : columns * SMALL : 2]
    blocks = part.reshape(rows, 2, columns, SMALL // 2).transpose(1, 3, 0, 2)
    # Means over print are too dark: the third brightest of eight samples stands for the paper.
    third = _third_largest(np.ascontiguousarray(blocks).reshape(-1, rows, columns))
    small = (LOG_STEP * third).astype(np.float32)
    kernel = np.ones((CLOSING, CLOSING), np.uint8)
    closed = cv2.morphologyEx(small, cv2.MORPH_CLOSE, kernel)
    level = cv2.medianBlur(closed, MEDIAN)
    dark = (small < np.percentile(level, 75) - BLACK).view(np.uint8)
    return np.asarray(cv2.blur(level, (3, 3)), np.float32), _tag_like(dark)


def _third_largest(pictures: Array) -> Array:
    """Of each sample's values, one a picture: ten times as fast as `numpy.partition` of so few."""
    first = np.full_like(pictures[0], np.iinfo(pictures.dtype).min)
    second, third = first, first
    for each in pictures:
        third = np.maximum(third, np.minimum(second, each))
        second = np.maximum(second, np.minimum(first, each))
        first = np.maximum(first, each)
    return np.asarray(third)


def _tag_like(dark: Array) -> int:
    """Things that are black, of this size, as wide as high (as a square is, however it lies)."""
    _, _, things, _ = cv2.connectedComponentsWithStats(dark, connectivity=8)
    sides = things[1:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]]
    fits = (sides.min(axis=1) >= TAG[0]) & (sides.max(axis=1) <= TAG[1])
    fits &= np.ptp(sides, axis=1) <= UNLIKE
    return int(np.count_nonzero(fits))


def _spread(small: Array, shape: tuple[int, ...]) -> Array:
    """The small sample nearest to each one: four times as fast as `cv2.resize`."""
    rows, columns = (np.arange(n) * few // n for n, few in zip(shape, small.shape, strict=True))
    return np.asarray(small.take(columns, axis=1).take(rows, axis=0))


def _steps(level: Array) -> Array:
    """The larger of the two differences of each small sample from the one before."""
    across = np.abs(np.diff(level, axis=1, prepend=level[:, :1]))
    down = np.abs(np.diff(level, axis=0, prepend=level[:1]))
    return np.maximum(across, down)


def _strong_lines(deviation: Array) -> Array:
    """Columns off their neighbours all along the page, in `LOG_STEP`; 0 elsewhere."""
    part = np.sort(np.ascontiguousarray(deviation[::ROUGH].T), axis=1)  # sorts faster than it seeks
    middle = LOG_STEP * part[:, part.shape[1] // 2]
    off = middle - running_median(middle, NEIGHBOURS)
    return np.rint(np.where(np.abs(off) > STRONG, off, 0) / LOG_STEP).astype(np.int16)
