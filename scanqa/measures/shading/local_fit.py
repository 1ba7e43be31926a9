"""Smoothing by local quadratics, borders included.

Source: Savitzky & Golay 1964; at the borders the window stays inside and its polynomial
is read off-centre, so that a parabola passes unchanged everywhere.
"""

from __future__ import annotations

import numpy as np

from scanqa.model import Floats
from scanqa.numeric.own_signal import polynomial_weights


def quadratic_smoother(count: int, window: int) -> Floats:
    """Matrix that smooths `count` evenly spaced values: ``smooth = matrix @ values``.

    Parameters
    ----------
    count : int
        Number of values, at least 1.
    window : int
        Values that each local fit sees; fewer where there are fewer.

    Returns
    -------
    (count, count)
        Row i holds the weights for value i. The identity up to three values.
    """
    window = min(window, count)
    degree = min(2, window - 1)
    matrix = np.zeros((count, count))
    for i in range(count):
        start = min(max(i - window // 2, 0), count - window)
        here = slice(start, start + window)
        matrix[i, here] = polynomial_weights(window, degree, i - start)
    return matrix
