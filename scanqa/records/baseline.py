"""What is normal for a series: mean and scatter from check to check.

Source: NIST/SEMATECH e-Handbook of Statistical Methods, section 6.3.2.2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

D2_OF_TWO = 1.128  # mean range of two normal values in sigma: standard table of chart constants


@dataclass(frozen=True, slots=True)
class Baseline:
    """What is normal: the mean and the standard deviation from check to check."""

    mean: float
    sigma: float
    count: int


def baseline(values: ArrayLike) -> Baseline:
    """Mean, and sigma from the mean moving range (2 consecutive values) over d2 = 1.128.

    Raises
    ------
    ValueError
        With fewer than two values: a scatter cannot be known from one.
    """
    x = np.asarray(values, np.float64)
    if x.ndim != 1 or len(x) < 2:
        raise ValueError("a baseline needs at least two checks")
    moving_range = np.abs(np.diff(x))
    return Baseline(float(x.mean()), float(moving_range.mean() / D2_OF_TWO), len(x))
