"""Scatter of residuals about nought that a few outliers cannot spoil, everywhere or by place.

Source: Huber & Ronchetti, *Robust Statistics* (2nd ed. 2009), ch. 5: the median absolute
deviation times 1.4826 estimates the standard deviation of normal data, at 37 % efficiency.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

MAD_TO_SIGMA = 1.482602218505602  # 1 / Phi^-1(3/4)
MAD_EFFICIENCY = 0.3675  # against the sample standard deviation, for normal data


def sigma_about_zero(values: NDArray[Any], axis: int = -1) -> NDArray[np.float64]:
    """Robust standard deviation of values whose mean is known to be nought.

    Parameters
    ----------
    values : array
        Any shape; none may be NaN and the axis may not be empty.
    axis : int
        The axis over which to take it.
    """
    return np.asarray(MAD_TO_SIGMA * np.median(np.abs(values), axis=axis), np.float64)


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
    whole = sigma_about_zero(values)[..., None]
    blocks = values[..., : count * size].reshape(*values.shape[:-1], count, size)
    of_blocks = np.maximum(sigma_about_zero(blocks), whole)
    index = np.minimum(np.arange(n) // size, count - 1)
    return np.asarray(of_blocks[..., index], np.float64)
