"""Cross-covariance of two images: what they share in place, and what they share displaced.

Two scans of the same moved sheet share the sensor's fixed pattern at displacement nought and the
paper's grain at the displacement of the paper; noise that differs from scan to scan is in
neither. The height of each peak of the cross-covariance is the variance of that part (the
covariance form of the two-frame method: var(A − B)/2 = var A − cov(A, B)).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from scanqa.model import Floats


def flatten(values: Floats) -> Floats:
    """An image less its least-squares plane and bend (1, x, y, x², xy, y²): shading removed."""
    terms = _terms(*values.shape)
    flat = values.ravel()
    return np.asarray((flat - (terms @ flat) @ terms).reshape(values.shape), np.float64)


@lru_cache(maxsize=4)
def _terms(rows: int, columns: int) -> Floats:
    """Orthonormal polynomials over an image, (6, rows × columns)."""
    y, x = np.mgrid[-1 : 1 : complex(0, rows), -1 : 1 : complex(0, columns)]
    terms = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y]).reshape(6, -1)
    return np.ascontiguousarray(np.linalg.qr(terms.T)[0].T)


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
    from scipy.fft import next_fast_len

    rows, columns = one.shape
    shape = (next_fast_len(2 * rows - 1), next_fast_len(2 * columns - 1))
    product = np.conj(np.fft.rfft2(one, shape)) * np.fft.rfft2(other, shape)
    sums = np.roll(np.fft.irfft2(product, shape), (rows - 1, columns - 1), axis=(0, 1))
    sums = sums[: 2 * rows - 1, : 2 * columns - 1]
    pairs_y = rows - np.abs(np.arange(1 - rows, rows))
    pairs_x = columns - np.abs(np.arange(1 - columns, columns))
    return np.asarray(sums / np.outer(pairs_y, pairs_x), np.float64)


def at_displacement(one: Floats, other: Floats, row: float, column: float) -> float:
    """Covariance of two images of mean nought at a displacement, between whole pixels too."""
    middle = round(row), round(column)
    lags = np.array(
        [
            [_at_lag(one, other, middle[0] + dy, middle[1] + dx) for dx in (-1, 0, 1)]
            for dy in (-1, 0, 1)
        ]
    )
    return _crest(lags, row - middle[0], column - middle[1])


def _at_lag(one: Floats, other: Floats, row: int, column: int) -> float:
    rows, columns = one.shape
    here = one[max(-row, 0) : rows - max(row, 0), max(-column, 0) : columns - max(column, 0)]
    there = other[max(row, 0) : rows + min(row, 0), max(column, 0) : columns + min(column, 0)]
    return float(np.mean(here * there))


def peak(surface: Floats, row: int, column: int) -> tuple[float, float, float]:
    """Sub-pixel place and height of the maximum at an inner sample: a Gaussian in each direction.

    The covariance of grain that a lens has blurred is bell-shaped; a Gaussian through three
    samples meets it to better than 0.1 % where a parabola errs by up to 1 %.

    Returns
    -------
    (row, column, height)
    """
    around = surface[row - 1 : row + 2, column - 1 : column + 2]
    shifts = [_vertex(around[:, 1]), _vertex(around[1])]
    return row + shifts[0], column + shifts[1], _crest(around, *shifts)


def _logs(samples: Floats) -> Floats:
    """Logarithm where the three samples allow a Gaussian through them, else as they are."""
    return np.log(samples) if samples.min() > 0.05 * samples[1] > 0 else samples


def _vertex(samples: Floats) -> float:
    low, middle, high = _logs(samples)
    bend = low - 2 * middle + high
    return float(np.clip(0.5 * (low - high) / bend, -0.5, 0.5)) if bend < 0 else 0.0


def _crest(around: Floats, row: float, column: float) -> float:
    """Value of (3, 3) samples at an offset from the middle one, by its row times its column."""
    middle = float(around[1, 1])
    if middle <= 0:
        return middle
    height = middle
    for samples, at in ((around[:, 1], row), (around[1], column)):
        low, top, high = _logs(samples)
        value = top + 0.5 * (high - low) * at + 0.5 * (low - 2 * top + high) * at * at
        gaussian = samples.min() > 0.05 * samples[1]
        height *= float(np.exp(value - top)) if gaussian else float(value / middle)
    return height
