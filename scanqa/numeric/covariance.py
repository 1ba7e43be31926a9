"""Cross-covariance of two images: what they share in place, and what they share displaced.

Two scans of the same moved sheet share the sensor's fixed pattern at displacement nought and the
paper's grain at the displacement of the paper; noise that differs from scan to scan is in
neither. The height of each peak of the cross-covariance is the variance of that part (the
covariance form of the two-frame method: var(A − B)/2 = var A − cov(A, B)).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def flatten(values: Floats) -> Floats:
    """An image less its least-squares plane and bend (1, x, y, x², xy, y²): shading removed."""
    rows, columns = values.shape
    y, x = np.mgrid[-1 : 1 : complex(0, rows), -1 : 1 : complex(0, columns)]
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y]).reshape(6, -1)
    weights = np.linalg.solve(terms @ terms.T, terms @ values.ravel())
    return np.asarray(values - (weights @ terms).reshape(rows, columns), np.float64)


def cross_covariance(one: Floats, other: Floats) -> Floats:
    """Covariance of ``one(r)`` with ``other(r + d)`` for each displacement d (rows, columns).

    Parameters
    ----------
    one, other : (rows, columns)
        Images of mean nought and the same shape.

    Returns
    -------
    (2 rows − 1, 2 columns − 1)
        Displacement nought at ``[rows − 1, columns − 1]``; each divided by the number of pairs,
        so that it is unbiased.
    """
    from scipy.fft import irfft2, next_fast_len, rfft2

    rows, columns = one.shape
    shape = (next_fast_len(2 * rows - 1), next_fast_len(2 * columns - 1))
    product = np.conj(rfft2(one, shape)) * rfft2(other, shape)
    sums = np.roll(irfft2(product, shape), (rows - 1, columns - 1), axis=(0, 1))
    sums = sums[: 2 * rows - 1, : 2 * columns - 1]
    pairs_y = rows - np.abs(np.arange(1 - rows, rows))
    pairs_x = columns - np.abs(np.arange(1 - columns, columns))
    return np.asarray(sums / np.outer(pairs_y, pairs_x), np.float64)


def peak(surface: Floats, row: int, column: int) -> tuple[float, float, float]:
    """Height and sub-pixel place of the maximum at an inner sample: a parabola in each direction.

    Returns
    -------
    (row, column, height)
    """
    middle = float(surface[row, column])
    place, height = [float(row), float(column)], middle
    for axis, (low, high) in enumerate(
        [
            (surface[row - 1, column], surface[row + 1, column]),
            (surface[row, column - 1], surface[row, column + 1]),
        ]
    ):
        bend = float(low - 2 * middle + high)
        if bend < 0:
            shift = float(np.clip(0.5 * (low - high) / bend, -0.5, 0.5))
            place[axis] += shift
            height += -0.25 * float(low - high) * shift
    return place[0], place[1], height
