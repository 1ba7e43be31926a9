"""Traces of JPEG in plain paper, whatever file it lies in now: the grid, and what it leaves.

JPEG (ITU-T T.81) drops the high frequencies of grain in blocks of 8 × 8. At the true place of the
grid their coefficients are all but nought; at any other place the borders of blocks fill them. The
lowest coefficients lie on multiples of a step: that of the mean says how coarse the levels are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats, Placement, Reason, Window
from scanqa.numeric.jpeg_trace import BLOCK, COSINES
from scanqa.numeric.lightness import code_luma, luma

MIDDLE = 128  # level from which coefficients count
SIDE, GRID = 128, (3, 3)  # windows that are read
EMPTIED = 0.75  # high frequencies at the grid's place, of what they usually are elsewhere
LARGEST_STEP = 64
AGREE, BLUR = 0.85, 0.4  # share of the mean cosine on multiples of a step that rounding leaves
FEWEST = 24  # coefficients
K1_MEAN, K1_FIRST = 16, 11  # T.81, table K.1: steps of the mean and of the first frequency


@dataclass(frozen=True, slots=True)
class JpegGrid:
    """Where the grid starts, and what it leaves.

    Attributes
    ----------
    row, column : int
        First row and column of a block.
    level : float
        Step between the means of blocks, in codes of 255.
    hidden : float
        Height in codes of 255 that a line of one sample may have and still vanish.
    """

    row: int
    column: int
    level: float
    hidden: float

    def light(self, placement: Placement, codes: float) -> float:
        """Share of the light of the paper of a scan that a number of codes of 255 makes."""
        levels = placement.overview.preview.reshape(-1, placement.scan.channels)
        middle = np.median(levels, axis=0)[None]
        step = codes / 255 * (2**placement.scan.bits - 1)
        ends = [luma(placement.light.light(middle + part * step)).item() for part in (-0.5, 0.5)]
        return (ends[1] - ends[0]) / max(sum(ends) / 2, 1e-6)

    @property
    def why(self) -> Reason:
        """What to say of what is finer."""
        return Reason(
            "compression",
            "the image went through JPEG, which hides what is finer than its blocks: scan again "
            "without lossy compression",
        )


def jpeg_grid(placement: Placement) -> JpegGrid | None:
    """The grid of a scan of plain paper, None where nothing says that it went through JPEG.

    A file that says itself that it is lossy has one, at the image's corner if it cannot be seen.
    """
    windows = _windows(placement)
    if not windows:
        return JpegGrid(0, 0, 1.0, 1.0) if placement.scan.lossy else None
    row = _start([plane.T for plane, _, _ in windows], [top for _, top, _ in windows])
    column = _start([plane for plane, _, _ in windows], [left for _, _, left in windows])
    if row is None or column is None:
        if not placement.scan.lossy:
            return None
        row = column = 0
    blocks = np.concatenate(
        [
            _blocks(plane[(row - top) % BLOCK :, (column - left) % BLOCK :])
            for plane, top, left in windows
        ]
    )
    waves = COSINES @ blocks @ COSINES.T
    mean = _step(waves[:, 0, 0] - MIDDLE * BLOCK, of_means=True)
    first = max(_step(waves[:, 0, 1]), _step(waves[:, 1, 0]), mean * K1_FIRST / K1_MEAN)
    # A line of one sample and height h has h √8 b in the first frequency, b up to 0.49.
    return JpegGrid(row, column, mean / BLOCK, first / 2 / (math.sqrt(BLOCK) * 0.416))


def _windows(placement: Placement) -> list[tuple[Floats, int, int]]:
    """Luma codes of 255 of windows over the middle, with the row and column of each."""
    scan = placement.scan
    side = min(SIDE, scan.width_px, scan.height_px)
    if side < 4 * BLOCK:
        return []
    rows = np.linspace(0.15, 0.85, GRID[0]) * (scan.height_px - side)
    columns = np.linspace(0.15, 0.85, GRID[1]) * (scan.width_px - side)
    found = []
    for top in rows.astype(int).tolist():
        for left in columns.astype(int).tolist():
            codes = scan.window(Window(top, left, side, side))
            plane = code_luma(codes / (2**scan.bits - 1) * 255)
            found.append((np.asarray(plane, np.float64), top, left))
    return found


def _start(planes: list[Floats], origins: list[int]) -> int | None:
    """Where blocks begin along the second axis; None if no place stands out."""
    left = []
    for start in range(BLOCK):
        parts = []
        for plane, origin in zip(planes, origins, strict=True):
            shifted = plane[:, (start - origin) % BLOCK :]
            whole = shifted.shape[1] // BLOCK * BLOCK
            pieces = shifted[:, :whole].reshape(len(plane), -1, BLOCK)
            parts.append(np.square(pieces @ COSINES[-2:].T).mean())
        left.append(float(np.median(parts)))
    best = int(np.argmin(left))
    usual = float(np.median(left))
    return best if usual > 0 and left[best] < EMPTIED * usual else None


def _blocks(plane: Floats) -> Floats:
    rows, columns = (n // BLOCK for n in plane.shape)
    cut = plane[: rows * BLOCK, : columns * BLOCK].reshape(rows, BLOCK, columns, BLOCK)
    return np.asarray(cut.swapaxes(1, 2).reshape(-1, BLOCK, BLOCK), np.float64)


def _step(values: Floats, *, of_means: bool = False) -> float:
    """Largest step whose multiples the values keep to; 1 if none.

    Means lie on two multiples at the least, the others on more than nought. Rounded pixels blur
    multiples by some 0.4 codes.
    """
    for step in range(LARGEST_STEP, 1, -1):
        filled = values if of_means else values[np.abs(values) > step / 2]
        if len(filled) < FEWEST:
            continue
        counts = np.unique(np.rint(filled / step), return_counts=True)[1]
        if of_means and np.count_nonzero(counts >= FEWEST / 2) < 2:
            continue
        if np.cos(2 * np.pi * filled / step).mean() > AGREE * np.exp(
            -2 * (np.pi * BLUR / step) ** 2
        ):
            return float(step)
    return 1.0
