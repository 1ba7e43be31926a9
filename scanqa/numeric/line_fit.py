"""One line in a profile: its amplitude on a cubic background, its middle and its width.

Amplitudes come from least squares: a raised cosine of a stated width together with a cubic
background, so that level, slope and bend of what is around the line drop out. Ordinary least
squares when the value counts; weighted with the covariance of the noise (Aitken 1935:
generalised least squares is the linear unbiased estimator of least variance) when it is to be
found: neighbours that resemble each other, as paper grain under a lens does, then cancel.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats
from scanqa.numeric.own_signal import polynomial_weights, smoothed
from scanqa.numeric.spread import sigma_about_zero

MIN_REACH = 8  # samples of background on each side of the narrowest line
REACH = 3  # background on each side, in line widths
RIDGE = 0.01  # of the noise variance: added to its covariance, so that no kernel trusts it blindly


def reach_of(width: int) -> int:
    """Samples on each side of a line of `width` samples that its amplitude rests on."""
    return max(MIN_REACH, REACH * width)


def profile_of_line(width: float, offsets: NDArray[np.float64] | NDArray[np.int64]) -> Floats:
    """Raised cosine of height 1 and full width `width` at half height, at offsets (samples)."""
    inside = np.abs(offsets) < width
    return np.where(inside, np.cos(np.pi * offsets / (2 * width)) ** 2, 0.0)


@cache
def _plain_kernel(width: int) -> tuple[float, ...]:
    return tuple(kernel(width, np.eye(1, reach_of(width) + 1)[0]))


def kernel(width: int, autocovariance: Floats) -> Floats:
    """Weights whose scalar product with a profile is the amplitude of a line in its middle.

    Parameters
    ----------
    width : int
        Full width at half height of the line, samples.
    autocovariance : (lags,)
        Of the noise, from lag 0 to at least twice the reach or taken as 0 beyond its end.

    Returns
    -------
    (2 reach + 1,)
        Least-squares weights under that covariance, cubic background taken off.
    """
    from scipy.linalg import cho_factor, cho_solve, toeplitz

    reach = reach_of(width)
    first = np.zeros(2 * reach + 1)
    lags = min(len(autocovariance), len(first))
    first[:lags] = autocovariance[:lags]
    first[0] *= 1 + RIDGE
    factor = cho_factor(toeplitz(first))
    x = np.arange(-reach, reach + 1)
    line = profile_of_line(width, x)
    background = np.stack([np.ones(x.size), (x / reach) ** 2], axis=1)  # odd powers: orthogonal
    weighted = cho_solve(factor, background)
    clean = line - background @ np.linalg.solve(background.T @ weighted, weighted.T @ line)
    out = cho_solve(factor, clean)
    return np.asarray(out / (out @ line), np.float64)


def autocovariance(profile: Floats, lags: int) -> Floats:
    """Autocovariance of a profile's noise at lags 0 … `lags`, outliers cut at 3.5 deviations.

    The biased estimator (sums over n), which is positive semi-definite.
    """
    limit = 3.5 * float(sigma_about_zero(profile))
    values = np.clip(profile, -limit, limit)
    lags = min(lags, values.size - 1)
    return np.array([values[: values.size - k] @ values[k:] for k in range(lags + 1)]) / values.size


def amplitudes(stack: Floats, width: int) -> Floats:
    """Amplitude of a line of `width` samples at each sample of (…, n); nought near the ends."""
    return _slide(stack, np.asarray(_plain_kernel(width)))


def _slide(stack: Floats, weights: Floats) -> Floats:
    from scipy.ndimage import correlate1d

    reach = weights.size // 2
    out = correlate1d(stack, weights, axis=-1, mode="nearest")
    out[..., :reach] = 0.0
    out[..., out.shape[-1] - reach :] = 0.0
    return np.asarray(out, np.float64)


def best_amplitudes(profiles: Floats, width: int) -> Floats:
    """As `amplitudes` of (rows, n), each row with the kernel that suits its own noise best."""
    reach = reach_of(width)
    fine, _ = local_pattern(profiles, min(3 * reach, (profiles.shape[-1] - 8) // 2))
    out = np.empty_like(profiles)
    for row, noise, result in zip(profiles, fine, out, strict=True):
        lags = autocovariance(noise, 2 * reach)
        flat = lags[0] <= (1e-12 * float(np.abs(row).max())) ** 2
        result[:] = amplitudes(row, width) if flat else _slide(row, kernel(width, lags))
    return out


def amplitudes_at(stack: Floats, at: int, width: int) -> Floats:
    """Amplitude of a line at one sample of each profile, (…, n) to (…); background cut at ends."""
    weights = np.asarray(_plain_kernel(width))
    reach = weights.size // 2
    low, high = max(at - reach, 0), min(at + reach + 1, stack.shape[-1])
    if high - low == weights.size:
        return np.asarray(stack[..., low:high] @ weights, np.float64)
    # Near an end the two sides differ: fit the line with a sloping background on what is there.
    x = np.arange(low, high) - at
    model = np.stack([profile_of_line(width, x), np.ones(x.size), x / reach], axis=1)
    inverse = np.linalg.pinv(model)[0]
    return np.asarray(stack[..., low:high] @ inverse, np.float64)


def measure_at(
    stack: Floats, weights: Floats, at: int, width: int, bands: tuple[int, int], *, block: int
) -> tuple[Floats, Floats]:
    """Amplitude of a line at a known place in each signal, and its standard uncertainty.

    Parameters
    ----------
    stack : (signals, bands, n)
    weights : (bands,)
    at, width : int
        Samples.
    bands : (first, end)
        Bands through which the line runs.
    block : int
        Samples on each side from which the uncertainty is taken.

    Returns
    -------
    (signals,), (signals,)
    """
    part = slice(*bands)
    share = weights[part] / weights[part].sum()
    low, high = max(at - block, 0), min(at + block + 1, stack.shape[-1])
    profile = np.einsum("b,sbn->sn", share, stack[:, part, low:high])
    around = amplitudes(profile, width)
    own = np.abs(np.arange(low, high) - at) <= 2 * width + 1
    used = ~own & np.any(around != 0, axis=0)
    if np.count_nonzero(used) < MIN_REACH:
        used = ~own
    values = amplitudes_at(np.einsum("b,sbn->sn", share, stack[:, part]), at, width)
    return values, sigma_about_zero(around[:, used])


def shape(profile: Floats, at: int, width: int, sign: float) -> tuple[float, float]:
    """Middle (sample) and full width at half height of a line, from the profile itself."""
    reach = reach_of(width)
    low, high = max(at - reach, 0), min(at + reach + 1, profile.size)
    x = np.arange(low, high, dtype=np.float64) - at
    part = profile[low:high]
    outside = np.abs(x) > 1.5 * width
    ground = np.polyval(np.polyfit(x[outside] / reach, part[outside], 2), x / reach)
    smooth = max(width // 4, 1)
    height = sign * np.convolve(part - ground, np.ones(smooth) / smooth, mode="same")
    near = np.flatnonzero(np.abs(x) <= max(width / 2, 1))
    top = int(near[np.argmax(height[near])])
    half = height[top] / 2
    if half <= 0:
        return float(at), float(width)
    left = _crossing(height, top, -1, half)
    right = _crossing(height, top, +1, half)
    if right - left > 3 * width + 1:  # noise hid the flank: trust the matched width
        return float(at), float(width)
    return float(x[0]) + at + (left + right) / 2, right - left


def _crossing(height: Floats, top: int, step: int, level: float) -> float:
    index = top
    while 0 <= index + step < height.size and height[index + step] > level:
        index += step
    beyond = index + step
    if not 0 <= beyond < height.size:
        return float(index)
    return index + step * float((height[index] - level) / (height[index] - height[beyond]))


def local_pattern(stack: Floats, reach: int) -> tuple[Floats, float]:
    """Profile less its local cubic background over ±`reach` samples (Savitzky & Golay 1964).

    Returns
    -------
    residual : (…, n − 2 reach)
    gain : float
        Share of the rms of an uncorrelated pattern that survives, ``√(1 − leverage)``.
    """
    window = 2 * reach + 1
    smooth = smoothed(stack, window, 3, ends="nearest")
    leverage = float(polynomial_weights(window, 3, reach)[reach])
    inner = slice(reach, stack.shape[-1] - reach)
    return (stack - smooth)[..., inner], math.sqrt(1 - leverage)
