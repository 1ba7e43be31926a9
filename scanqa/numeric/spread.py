"""Scatter of residuals about nought that a few outliers cannot spoil, everywhere or by place.

Source: Huber & Ronchetti, *Robust Statistics* (2nd ed. 2009), ch. 5: the median absolute
deviation times 1.4826 estimates the standard deviation of normal data, at 37 % efficiency; the
root mean square with values cut at a few deviations does so at some 90 %.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.numeric.medians import medians

MAD_TO_SIGMA = 1.482602218505602  # 1 / Phi^-1(3/4)
CUT = 2.5  # deviations
CUT_MEAN_SQUARE = 0.97757  # E min(z², CUT²) of a standard normal z: integral of the density
CUT_EFFICIENCY = 0.85  # against the sample standard deviation, for normal data (simulated)


def sigma_about_zero(values: NDArray[Any], axis: int = -1) -> NDArray[np.float64]:
    """Robust standard deviation of values whose mean is known to be nought.

    Parameters
    ----------
    values : array
        Any shape; none may be NaN and the axis may not be empty.
    axis : int
        The axis over which to take it.
    """
    return np.asarray(MAD_TO_SIGMA * medians(np.abs(values), axis), np.float64)


def cut_sigma(values: NDArray[Any]) -> NDArray[np.float64]:
    """Standard deviation about nought along the last axis, values cut at 2.5 deviations."""
    first = CUT * sigma_about_zero(values)[..., None]
    squares = np.minimum(np.square(values), np.square(first))
    return np.asarray(np.sqrt(squares.mean(axis=-1) / CUT_MEAN_SQUARE), np.float64)


def local_sigma(values: NDArray[Any], block: int) -> NDArray[np.float64]:
    """Robust scatter about nought along the last axis, block by block, never below the whole.

    A place that is rougher than the rest gets its own, larger figure; a place that is smoother
    keeps that of the whole, so that a block with few independent values is not over-trusted.

    Parameters
    ----------
    values : (…, n)
        Residuals.
    block : int
        Length of a block; the rest is shared out among the blocks.

    Returns
    -------
    (…, n) float64
    """
    n = values.shape[-1]
    count = max(n // max(block, 1), 1)
    size = n // count
    whole = cut_sigma(values)[..., None]
    blocks = values[..., : count * size].reshape(*values.shape[:-1], count, size)
    of_blocks = np.maximum(sigma_about_zero(blocks), whole)
    index = np.minimum(np.arange(n) // size, count - 1)
    return np.asarray(of_blocks[..., index], np.float64)
