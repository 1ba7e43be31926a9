"""How far a middle value can be off, from the scatter of what went into it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats
from scanqa.numeric.spread import sigma_about_zero

MEDIAN_TO_MEAN = 1.2533  # standard error of a median over that of a mean, √(π/2), Gaussian scatter


def robust_sd(values: NDArray[Any], axis: int = 0) -> Floats:
    """Standard deviation along an axis by the median absolute deviation; wild values do not count.

    Parameters
    ----------
    values : array
        Finite, at least one along `axis`.

    Returns
    -------
    array without that axis
        0 where there is one value only.
    """
    middle = np.median(values, axis=axis, keepdims=True)
    return sigma_about_zero(values - middle, axis)


def median_error(values: NDArray[Any], axis: int = 0) -> Floats:
    """Standard error of the median along an axis, taking the values as independent."""
    return np.asarray(MEDIAN_TO_MEAN * robust_sd(values, axis) / np.sqrt(values.shape[axis]))


def repeat_error(values: NDArray[Any], axis: int = 0) -> Floats:
    """Standard error of the mean of repeats along an axis; 0 for a single one (not known)."""
    count = values.shape[axis]
    if count < 2:
        return np.zeros(np.delete(values.shape, axis))
    return np.asarray(np.std(values, axis=axis, ddof=1) / np.sqrt(count), np.float64)
