"""Optics blur and pixel aperture, applied while a fine grid is sampled down to pixels.

The point spread is a Gaussian (optics) convolved with a box (the pixel's aperture), separately
along both axes, so the spatial frequency response of a simulated scan is known in closed form:
``exp(-2 π² σ² f²) · sinc(a f)``. The kernel is evaluated by ``erf`` at the centres of the fine
cells; the cells themselves average over their own width, which is taken off the Gaussian's
variance (a box of width w has the variance w²/12; the difference in the response is below 2e-4 up
to half the sampling frequency for four cells a pixel). A kernel whose blur is narrower than a cell
is averaged over the cells instead; what blurs less than two cells do (0.1 px) is blurred by these.

A shift of the kernel is a misregistered channel; a kernel that differs from block to block is a
tilted or unfocused lens.
"""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats

CELLS = 4  # fine cells to a pixel, each way
_NARROW_PX = 0.15  # sigma below which the middles of cells do not tell a kernel
BLOCK_ROWS, BLOCK_COLS = 16, 40  # the most that share one kernel
_ONE_THREAD = 4 * 65536  # multiplications up to which OpenBLAS keeps to one thread
_LEAST_PX = 4
_CHANGE = 0.03  # of blur within a block
_SIGMA_STEP_PX = 1 / 256  # kernels are kept for whole multiples of this


@lru_cache(maxsize=1024)
def _band(
    count: int, pad: int, sigma_px: float, aperture_px: float, shift_px: float
) -> NDArray[np.float32]:
    """Weights (count, (count + 2 pad) · CELLS): pixels from fine cells that begin `pad` earlier."""
    # Cells are means already. A blur narrower than one would fall between their middles, and move
    # the pixel with it: its weights are means over cells, too.
    sigma = _less_cells(sigma_px, 1)
    narrow = sigma < _NARROW_PX
    if narrow:
        sigma = _less_cells(sigma_px, 2)
    reach = aperture_px / 2 + 5 * sigma
    centre = pad + 0.5 + shift_px  # of the first pixel, in pixels from the first cell's border
    first = max(math.floor((centre - reach) * CELLS), 0)
    last = min(math.ceil((centre + reach) * CELLS), (1 + 2 * pad) * CELLS)
    at = (np.arange(first, last) + 0.5) / CELLS - centre
    scale = math.sqrt(2) * sigma
    ends = [(x + aperture_px / 2, x - aperture_px / 2) for x in at.tolist()]
    step = _mean_step if narrow else _step
    kernel = np.array([step(right, scale) - step(left, scale) for right, left in ends])
    kernel /= kernel.sum()
    weights = np.zeros((count, (count + 2 * pad) * CELLS), np.float32)
    for pixel in range(count):
        weights[pixel, first + pixel * CELLS : last + pixel * CELLS] = kernel
    return weights


def _less_cells(sigma_px: float, times: int) -> float:
    """Sigma that is left when the variance of the cells is taken off, so many times."""
    return math.sqrt(max(sigma_px**2 - times / (12 * CELLS**2), 1e-4))


def _step(x: float, scale: float) -> float:
    """A blurred step, from -1 to 1."""
    return math.erf(x / scale)


def _mean_step(x: float, scale: float) -> float:
    """Its mean over a cell about a place."""
    low, high = x - 0.5 / CELLS, x + 0.5 / CELLS
    return (_area(high, scale) - _area(low, scale)) * CELLS


def _area(x: float, scale: float) -> float:
    """Integral of the blurred step."""
    return x * math.erf(x / scale) + scale / math.sqrt(math.pi) * math.exp(-((x / scale) ** 2))


def padding_px(sigma_px: float, aperture_px: float, shift_px: float) -> int:
    """Whole pixels that the kernel reaches beyond the pixel it belongs to."""
    return math.ceil(5 * sigma_px + aperture_px / 2 + abs(shift_px) + 0.5)


def _product(a: NDArray[np.float32], b: NDArray[np.float32]) -> NDArray[np.float32]:
    """Matrix product in pieces so small that the library does not share them out.

    Where several processes share the cores its threads would mostly wait for each other: whole
    products took four times as long on a busy machine.
    """
    width = max(_ONE_THREAD // a.size, 1)
    if b.shape[1] <= width:
        return a @ b
    return np.hstack([a @ b[:, at : at + width] for at in range(0, b.shape[1], width)])


def cuts(sigma_px: Floats, most: int) -> list[int]:
    """Cut a row or column of pixels into blocks over which the blur hardly changes.

    Parameters
    ----------
    sigma_px : (n, any) array
        Blur of each pixel, at as many places of the other axis as are of interest.
    most : int
        Largest block.

    Returns
    -------
    list of int
        Borders from 0 to n; within a block no blur differs by more than `_CHANGE`, unless it has
        only `_LEAST_PX`.
    """
    borders = [0]
    count = len(sigma_px)
    while borders[-1] < count:
        start = borders[-1]
        part = np.log(np.maximum(sigma_px[start : start + most], 1e-6))
        alike = np.all(np.abs(part - part[0]) <= _CHANGE, axis=1)
        length = int(np.argmin(alike)) if not alike.all() else len(alike)
        borders.append(min(start + max(length, _LEAST_PX), count))
    return borders


def resolve(
    fine: NDArray[np.float32],
    *,
    pad: int,
    blocks: tuple[list[int], list[int]],
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
    blocks : (row borders, column borders)
        Borders of the blocks that have one kernel, see `cuts`.
    sigma_px : two (row blocks, column blocks) arrays
        Gaussian sigma across and along the travel.
    aperture_px : (across, travel)
        Width of the box.
    shifts_px : tuple of (x, y)
        One for each plane: where its pixels look, against their nominal places.

    Returns
    -------
    (rows, cols, planes) float32
    """
    row_borders, col_borders = blocks
    out = np.empty((row_borders[-1], col_borders[-1], len(shifts_px)), np.float32)
    across, travel = (
        np.maximum(np.round(s / _SIGMA_STEP_PX), 1) * _SIGMA_STEP_PX for s in sigma_px
    )
    shift = max(abs(value) for look in shifts_px for value in look)
    for i, (top, bottom) in enumerate(pairwise(row_borders)):
        for j, (left, right) in enumerate(pairwise(col_borders)):
            widest = float(max(across[i, j], travel[i, j]))
            own = min(padding_px(widest, max(aperture_px), shift), pad)
            window = fine[
                (top + pad - own) * CELLS : (bottom + pad + own) * CELLS,
                (left + pad - own) * CELLS : (right + pad + own) * CELLS,
            ]
            if (window == window[0, 0]).all():
                out[top:bottom, left:right] = window[0, 0]
                continue
            done: dict[float, NDArray[np.float32]] = {}
            for plane, (dx, dy) in enumerate(shifts_px):
                if dy not in done:
                    down = _band(bottom - top, own, float(travel[i, j]), aperture_px[1], dy)
                    done[dy] = _product(down, window)
                over = _band(right - left, own, float(across[i, j]), aperture_px[0], dx)
                out[top:bottom, left:right, plane] = _product(done[dy], over.T)
    return out
