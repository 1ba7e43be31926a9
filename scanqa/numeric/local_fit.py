"""Smoothing by local quadratics, borders included.

Source: Savitzky & Golay 1964 (from memory); at the borders the window stays inside and its
polynomial is read off-centre, so that a parabola passes unchanged everywhere.
"""

from __future__ import annotations

import numpy as np

from scanqa.model import Floats


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
    if window <= 3:
        return np.eye(count)
    matrix = np.zeros((count, count))
    for i in range(count):
        start = min(max(i - window // 2, 0), count - window)
        at = np.arange(start, start + window) - float(i)
        design = np.column_stack([np.ones(window), at, at**2])
        matrix[i, start : start + window] = np.linalg.pinv(design)[0]
    return matrix
