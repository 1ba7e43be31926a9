"""Three small methods that ``scipy.signal`` has too: importing it takes longer than two blanks.

Local polynomials (Savitzky & Golay 1964), correlation by transforms, and the periodogram of uneven
samples (Lomb 1976, Scargle 1982). The tests hold each against SciPy's.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Literal

import numpy as np

from scanqa.model import Floats


@lru_cache(maxsize=64)
def polynomial_weights(window: int, degree: int, at: float) -> Floats:
    """Weights (window,) that read a local polynomial at a place, in samples from the first."""
    x = np.arange(window, dtype=np.float64) - at
    scale = max(float(np.abs(x).max()), 1.0)
    powers = (x / scale)[:, np.newaxis] ** np.arange(degree + 1)
    weights = np.asarray(np.linalg.pinv(powers)[0], np.float64)
    weights.flags.writeable = False
    return weights


def smoothed(
    stack: Floats, window: int, degree: int, *, ends: Literal["nearest", "inside"]
) -> Floats:
    """Profiles (…, n) along local polynomials over an odd window.

    Parameters
    ----------
    ends : str
        ``nearest``: the last value stands for those beyond; ``inside``: the window stays inside,
        and its polynomial is read off its middle.
    """
    from scipy.ndimage import correlate1d

    middle = polynomial_weights(window, degree, window // 2)
    out = np.asarray(correlate1d(stack, middle, axis=-1, mode="nearest", output=np.float64))
    if ends == "inside":
        left = np.stack([polynomial_weights(window, degree, i) for i in range(window // 2)], axis=1)
        out[..., : window // 2] = stack[..., :window] @ left
        out[..., -(window // 2) :] = stack[..., -window:] @ left[::-1, ::-1]
    return out


def correlation(whole: Floats, piece: Floats) -> Floats:
    """Sum of products of a piece with every part of a whole that holds it, by transforms."""
    from scipy.fft import next_fast_len

    # What wraps around at this length lies outside the parts that hold all of the piece.
    size = [next_fast_len(n, real=True) for n in whole.shape]
    product = np.fft.rfft2(whole, size) * np.fft.rfft2(piece[::-1, ::-1], size)
    inside = tuple(slice(m - 1, n) for n, m in zip(whole.shape, piece.shape, strict=True))
    return np.asarray(np.fft.irfft2(product, size)[inside], np.float64)


def periodogram(at: Floats, values: Floats, frequency: Floats) -> Floats:
    """Power of waves fitted one by one to uneven samples (Lomb 1976; Scargle 1982).

    A sine of amplitude A in n samples has a power of ``n A² / 4``.
    """
    turn = 2 * np.pi * np.outer(frequency, at)
    late = np.arctan2(np.sin(2 * turn).sum(axis=1), np.cos(2 * turn).sum(axis=1)) / 2
    turn -= late[:, np.newaxis]
    power = np.zeros(len(frequency))
    for wave in (np.cos(turn), np.sin(turn)):
        power += (wave @ values) ** 2 / (2 * np.maximum(np.square(wave).sum(axis=1), 1e-12))
    return power
