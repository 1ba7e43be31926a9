"""Traces of JPEG in pixels, whatever file they lie in now: grid, quantiser steps, quality.

JPEG (ITU-T T.81) rounds each coefficient of the 8 × 8 cosine transform to a multiple of its step.
Decoded pixels are rounded again, which blurs the multiples by some 0.3 codes; steps from 2 codes
up still show. For each frequency the largest step q is taken for which the coefficients c lie on
multiples: the mean of ``cos(2π c / q)`` over coefficients that are not zero. All 64 places
of the grid are tried, for a crop moves it. The steps of annex K, scaled as the Independent JPEG
Group's encoder does, turn them into a quality; for an encoder with tables of its own it is the
equivalent.

Straight borders of a page, all of one height, lie on multiples as well, but only at frequencies of
a row or a column alone, and at many places of the grid: a slanted one must be among those found.

After JPEG, nothing but a crop by whole pixels may follow: levels, sharpening, turning and scaling
wipe the multiples out. Blank paper has hardly a coefficient that is not zero: print is needed.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats
from scanqa.numeric.scatter import MEDIAN_TO_MEAN

BLOCK = 8
# ITU-T T.81, table K.1 (luminance), the frequencies that print fills best: row, column, step.
STEPS_K1 = {
    (0, 1): 11,
    (1, 0): 12,
    (0, 2): 10,
    (1, 1): 12,
    (2, 0): 14,
    (0, 3): 16,
    (1, 2): 14,
    (2, 1): 13,
    (3, 0): 14,
    (2, 2): 16,
}
# T.81, A.3.3, as a matrix: (frequency, sample). SciPy's own, from version 1.18 on, starts a thread
# that stays, and a process with threads cannot be forked.
COSINES = np.cos(np.pi / BLOCK * np.outer(np.arange(BLOCK), np.arange(BLOCK) + 0.5))
COSINES *= np.sqrt(np.where(np.arange(BLOCK) == 0, 1, 2) / BLOCK)[:, None]
_WAVES = np.array(
    [np.outer(COSINES[r], COSINES[c]).ravel() for r, c in STEPS_K1],
    np.float32,  # 1e-4 of a code, and its cosines take a quarter of the time
)
LARGEST_STEP = 64
_TRIED = np.arange(LARGEST_STEP, 1, -1)
FEWEST = 60  # coefficients over half a step, for a frequency to count
ENOUGH = 600  # of them: chance gives a mean cosine of 0.03
AGREE = 0.5  # mean cosine; rounding leaves 0.64 for a step of 2, and 0.9 from 4 up
SHARE = 0.6  # of the frequencies must show a step
FINEST_QUALITY = 92  # from here most steps are 1, which rounding hides


@dataclass(frozen=True, slots=True)
class JpegTrace:
    """Steps found; none of them without a trace of JPEG.

    Attributes
    ----------
    quality, quality_error : float
        Median over frequencies, 1 to 100, and its standard uncertainty; 100 without a trace.
    offset : (row, column)
        Where the grid starts.
    steps : dict
        Step in codes for each frequency (row, column).
    """

    quality: float
    quality_error: float
    offset: tuple[int, int]
    steps: dict[tuple[int, int], int]


def find_jpeg(
    windows: Sequence[NDArray[Any]], origins: Sequence[tuple[int, int]]
) -> JpegTrace | None:
    """Trace of JPEG in windows of an image, or None where there is too little detail to tell.

    Parameters
    ----------
    windows : list of (rows, columns)
        Luma codes, 0 to 255, not rounded.
    origins : list of (row, column)
        Where each window lies in the image.
    """
    windows = [np.asarray(window, np.float32) for window in windows]
    for row in range(BLOCK):
        for column in range(BLOCK):
            blocks = _blocks(windows, origins, (row, column))
            if (row, column) == (0, 0) and not _enough(blocks):
                return None
            found = _steps(blocks)
            if len(found) >= SHARE * len(STEPS_K1) and any(r and c for r, c in found):
                return _trace(found, (row, column))
    return JpegTrace(100.0, 0.0, (0, 0), {})


def _trace(found: dict[tuple[int, int], int], offset: tuple[int, int]) -> JpegTrace:
    qualities = np.array([_quality(step / STEPS_K1[at]) for at, step in found.items()])
    spread = MEDIAN_TO_MEAN * float(np.std(qualities)) / len(qualities) ** 0.5
    return JpegTrace(float(np.median(qualities)), max(spread, 0.5), offset, found)


def _enough(blocks: Floats) -> bool:
    """Whether coefficients that even a coarse step would not round to zero are there."""
    filled = np.sum(np.abs(blocks) > LARGEST_STEP / 4, axis=1) >= FEWEST
    return float(np.mean(filled)) >= SHARE


def _blocks(
    windows: Sequence[NDArray[Any]], origins: Sequence[tuple[int, int]], offset: tuple[int, int]
) -> Floats:
    """Coefficients of all whole blocks that the ends of the scale do not cut: (10, blocks)."""
    found = []
    for window, origin in zip(windows, origins, strict=True):
        top, left = ((offset[k] - origin[k]) % BLOCK for k in (0, 1))
        rows, columns = (window.shape[0] - top) // BLOCK, (window.shape[1] - left) // BLOCK
        part = window[top : top + rows * BLOCK, left : left + columns * BLOCK]
        tiles = part.reshape(rows, BLOCK, columns, BLOCK).swapaxes(1, 2).reshape(-1, BLOCK**2)
        if part.size and not (part.min() > 1 and part.max() < 254):
            tiles = tiles[(tiles.min(axis=1) > 1) & (tiles.max(axis=1) < 254)]
        found.append(_WAVES @ tiles.T)
    return np.concatenate(found, axis=1)


def _steps(blocks: Floats) -> dict[tuple[int, int], int]:
    """Largest step that the coefficients of each frequency keep to."""
    found: dict[tuple[int, int], int] = {}
    for tried, (at, values) in enumerate(zip(STEPS_K1, blocks, strict=True)):
        if tried - len(found) > (1 - SHARE) * len(STEPS_K1):
            break  # too few can still follow
        step = _largest_step(np.sort(np.abs(values)))
        if step:
            found[at] = step
    return found


def _largest_step(values: Floats) -> int:
    """Largest step that rising values keep to; 0 if none.

    Multiples of a step are multiples of its divisors too, never of its double: of two steps the
    larger is meant. Small ones next to a lone high multiple prove nothing.
    """
    firsts = np.searchsorted(values, _TRIED / 2, side="right")
    steps, parts = [], []
    for step, first in zip(_TRIED.tolist(), firsts.tolist(), strict=True):
        count = len(values) - first
        if count >= FEWEST:
            steps.append(step)
            parts.append(values[first :: count // ENOUGH + 1] * np.float32(2 * np.pi / step))
    if not steps:
        return 0
    # All at once: thrice as fast as one by one.
    starts = np.cumsum([0, *map(len, parts[:-1])])
    sums = np.add.reduceat(np.cos(np.concatenate(parts)), starts)
    agree = sums > AGREE * np.array([len(part) for part in parts])
    return steps[int(agree.argmax())] if agree.any() else 0


def _quality(ratio: float) -> float:
    """IJG quality whose tables are `ratio` times annex K's."""
    return 50 / ratio if ratio > 1 else 100 - 50 * ratio
