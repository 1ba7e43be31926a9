"""Optics blur and pixel aperture, applied while a fine grid is sampled down to pixels.

The point spread is a Gaussian (optics) convolved with a box (the pixel's aperture), separately
along both axes, so the spatial frequency response of a simulated scan is known in closed form:
``exp(-2 π² σ² f²) · sinc(a f)``. The kernel is evaluated by ``erf`` at the centres of the fine
cells; the cells themselves average over their own width, which is taken off the Gaussian's
variance (a box of width w has the variance w²/12; the difference in the response is below 2e-4 up
to half the sampling frequency for four cells a pixel).

A shift of the kernel is a misregistered channel; a kernel that differs from block to block is a
tilted or unfocused lens.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats

CELLS = 4  # fine cells to a pixel, each way
BLOCK_PX = 32  # rows and columns that share one kernel
_SIGMA_STEP_PX = 1 / 256  # kernels are kept for whole multiples of this


@lru_cache(maxsize=1024)
def _band(
    count: int, pad: int, sigma_px: float, aperture_px: float, shift_px: float
) -> NDArray[np.float32]:
    """Weights (count, (count + 2 pad) · CELLS): pixels from fine cells that begin `pad` earlier."""
    sigma = math.sqrt(max(sigma_px**2 - 1 / (12 * CELLS**2), 1e-4))
    reach = aperture_px / 2 + 5 * sigma
    centre = pad + 0.5 + shift_px  # of the first pixel, in pixels from the first cell's border
    first = max(math.floor((centre - reach) * CELLS), 0)
    last = min(math.ceil((centre + reach) * CELLS), (1 + 2 * pad) * CELLS)
    at = (np.arange(first, last) + 0.5) / CELLS - centre
    scale = math.sqrt(2) * sigma
    kernel = np.array(
        [
            math.erf((x + aperture_px / 2) / scale) - math.erf((x - aperture_px / 2) / scale)
            for x in at.tolist()
        ]
    )
    kernel /= kernel.sum()
    weights = np.zeros((count, (count + 2 * pad) * CELLS), np.float32)
    for pixel in range(count):
        weights[pixel, first + pixel * CELLS : last + pixel * CELLS] = kernel
    return weights


def padding_px(sigma_px: float, aperture_px: float, shift_px: float) -> int:
    """Whole pixels that the kernel reaches beyond the pixel it belongs to."""
    return math.ceil(5 * sigma_px + aperture_px / 2 + abs(shift_px) + 0.5)


def resolve(
    fine: NDArray[np.float32],
    *,
    pad: int,
    sigma_px: tuple[Floats, Floats],
    aperture_px: tuple[float, float],
    shifts_px: tuple[tuple[float, float], ...],
) -> NDArray[np.float32]:
    """Blur a fine grid and sample it down to pixels.

    Parameters
    ----------
    fine : ((rows + 2 pad) · CELLS, (cols + 2 pad) · CELLS) float32
        Area means of the scene.
    pad : int
        Pixels of margin on all sides, at least `padding_px` of the widest kernel.
    sigma_px : two (row blocks, column blocks) arrays
        Gaussian sigma across and along the travel, one for each block of `BLOCK_PX`.
    aperture_px : (across, travel)
        Width of the box.
    shifts_px : tuple of (x, y)
        One for each plane: where its pixels look, against their nominal places.

    Returns
    -------
    (rows, cols, planes) float32
    """
    rows, cols = (size // CELLS - 2 * pad for size in fine.shape)
    out = np.empty((rows, cols, len(shifts_px)), np.float32)
    across, travel = (
        np.maximum(np.round(s / _SIGMA_STEP_PX), 1) * _SIGMA_STEP_PX for s in sigma_px
    )
    for i, row in enumerate(range(0, rows, BLOCK_PX)):
        height = min(BLOCK_PX, rows - row)
        for j, col in enumerate(range(0, cols, BLOCK_PX * 2)):
            width = min(BLOCK_PX * 2, cols - col)
            window = fine[
                row * CELLS : (row + height + 2 * pad) * CELLS,
                col * CELLS : (col + width + 2 * pad) * CELLS,
            ]
            if (window == window[0, 0]).all():
                out[row : row + height, col : col + width] = window[0, 0]
                continue
            done: dict[float, NDArray[np.float32]] = {}
            for plane, (dx, dy) in enumerate(shifts_px):
                if dy not in done:
                    down = _band(height, pad, float(travel[i, j]), aperture_px[1], dy)
                    done[dy] = down @ window
                over = _band(width, pad, float(across[i, j]), aperture_px[0], dx)
                out[row : row + height, col : col + width, plane] = done[dy] @ over.T
    return out
