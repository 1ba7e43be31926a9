"""How far a middle value can be off, from the scatter of what went into it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats
from scanqa.numeric.medians import medians
from scanqa.numeric.spread import sigma_about_zero

OF_INTERVAL = 1.96  # standard deviations of a Gaussian that hold 95 %: of every interval stated
HUBER = 1.5  # deviations beyond which values are cut
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
    middle = np.expand_dims(medians(values, axis), axis)
    return sigma_about_zero(values - middle, axis)


def middle_mean(values: NDArray[Any], axis: int = 0, *, least: float = 0.0) -> Floats:
    """Mean along an axis, wild values cut: between the steps of codes, where a median cannot lie.

    Parameters
    ----------
    values : array
        Finite, at least one along `axis`.
    least : float
        Smallest standard deviation to believe in: a step of the codes, where noise dithers them.

    Notes
    -----
    One Newton step from the median to Huber's estimate (Huber & Ronchetti 2009, ch. 4 and 6).
    """
    middle = np.expand_dims(medians(values, axis), axis)
    off = values - middle
    most = HUBER * np.maximum(sigma_about_zero(off, axis), least)
    most = np.expand_dims(np.asarray(most), axis)
    inside = np.count_nonzero(np.abs(off) <= most, axis=axis)
    cut = np.clip(off, -most, most).sum(axis=axis)
    return np.asarray(np.squeeze(middle, axis) + cut / inside, np.float64)


def median_error(values: NDArray[Any], axis: int = 0) -> Floats:
    """Standard error of the median along an axis, taking the values as independent."""
    return np.asarray(MEDIAN_TO_MEAN * robust_sd(values, axis) / np.sqrt(values.shape[axis]))


def repeat_error(values: NDArray[Any], axis: int = 0) -> Floats:
    """Standard error of the mean of repeats along an axis; 0 for a single one (not known)."""
    count = values.shape[axis]
    if count < 2:
        return np.zeros(np.delete(values.shape, axis))
    return np.asarray(np.std(values, axis=axis, ddof=1) / np.sqrt(count), np.float64)


def alike_factor(rest: Floats) -> float:
    """By how much an error of a mean grows because neighbours resemble each other: clouds."""
    power = float(rest @ rest)
    return float(np.sqrt(max(long_run_variance(rest) / power, 1.0))) if power else 1.0


def long_run_variance(series: Floats) -> float:
    """Variance of the sum of a series whose neighbours may be alike (Newey & West 1987).

    Bartlett weights; the number of lags follows Andrews (1991) for a first-order process whose
    autocorrelation is what the series shows beyond its own standard error.
    """
    n = series.size
    power = float(series @ series)
    if power == 0:
        return 0.0
    alike = max(float(series[1:] @ series[:-1]) / power - 1 / np.sqrt(n), 0.0)
    spread = 4 * alike**2 / ((1 - alike) * (1 + alike)) ** 2
    lags = min(int(np.ceil(1.1447 * (spread * n) ** (1 / 3))), n // 4) if alike else 0
    for lag in range(1, lags + 1):
        power += 2 * (1 - lag / (lags + 1)) * float(series[lag:] @ series[:-lag])
    return max(power, 0.0)
