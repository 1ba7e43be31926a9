"""What a driver does to an image before it hands it over: codes, interpolation, processing."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats, Pixels
from scanqa.simulate.scanner import Kernel, Output, ToneCurve

_STEPS = 2**16 - 1
_ROWS = 256  # delivered at once


def encoded(light: NDArray[np.floating[Any]], curve: ToneCurve) -> Floats:
    """Share of the code scale for relative light (IEC 61966-2-1 for sRGB), cut off at 0 and 1."""
    y = np.asarray(np.clip(light, 0.0, 1.0), np.float64)
    if curve == "srgb":
        toe, power = 12.92 * y, 1.055 * np.maximum(y, 1e-9) ** (1 / 2.4) - 0.055
        return np.minimum(np.where(y <= 0.0031308, toe, power), 1.0)
    if curve == "linear":
        return y
    return np.asarray(y ** (1 / float(curve.removeprefix("gamma-"))))


@lru_cache(maxsize=8)
def _table(curve: ToneCurve) -> NDArray[np.uint8]:
    """8-bit code of light in steps of 1/65535."""
    return np.rint(255 * encoded(np.arange(_STEPS + 1) / _STEPS, curve)).astype(np.uint8)


def tone(light: NDArray[np.float32], output: Output) -> Pixels:
    """Codes of relative light, rounded to the nearest."""
    if output.bits == 8:
        steps = np.clip(light, 0.0, 1.0)
        steps *= _STEPS
        steps += 0.5
        return _table(output.tone).take(steps.astype(np.uint16))
    return np.asarray(np.rint(_STEPS * encoded(light, output.tone)), np.uint16)


def deliver(
    codes: Pixels,
    output: Output,
    *,
    native: tuple[float, float],
    asked: tuple[float, float],
    size: tuple[int, int],
) -> Pixels:
    """Interpolate, process and compress codes as a driver would.

    Parameters
    ----------
    codes : (rows, columns, 3) uint8 or uint16
        As sampled.
    native, asked : (x, y)
        Samples per inch of `codes` and of what is wanted.
    size : (width, height)
        Of what is wanted.
    """
    if native != asked:
        codes = interpolated(codes, native, asked, size, output.kernel)
    if output.auto_levels is not None:
        codes = _levelled(codes, *output.auto_levels)
    if output.smooth_sigma_px > 0:
        codes = _smoothed(codes, output.smooth_sigma_px)
    if output.sharpen > 0:
        codes = _sharpened(codes, output.sharpen, output.sharpen_sigma_px)
    if output.jpeg_quality is not None:
        codes = _through_jpeg(codes, output.jpeg_quality)
    return codes


def _keys(x: Floats) -> Floats:
    """Cubic convolution with a = -0.5 (Keys, IEEE TASSP 29(6), 1981)."""
    x = np.abs(x)
    near = 1.5 * x**3 - 2.5 * x**2 + 1
    far = -0.5 * x**3 + 2.5 * x**2 - 4 * x + 2
    return np.where(x <= 1, near, np.where(x < 2, far, 0.0))


KERNELS: dict[Kernel, tuple[float, Callable[[Floats], Floats]]] = {  # half width and shape
    "nearest": (0.5, lambda x: ((x >= -0.5) & (x < 0.5)).astype(np.float64)),
    "linear": (1.0, lambda x: np.maximum(1 - np.abs(x), 0.0)),
    "cubic": (2.0, _keys),
    "lanczos3": (3.0, lambda x: np.where(np.abs(x) < 3, np.sinc(x) * np.sinc(x / 3), 0.0)),
}


def weights(
    size: int, count: int, ratio: float, kernel: Kernel
) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
    """Which samples make each delivered one, and how much of each, (size, taps).

    Parameters
    ----------
    size, count : int
        Delivered and native samples.
    ratio : float
        Native samples to a delivered one; above 1 the kernel is widened to that.
    kernel : str
        One of `KERNELS`.
    """
    half, shape = KERNELS[kernel]
    wide = max(ratio, 1.0)
    place = (np.arange(size) + 0.5) * ratio - 0.5  # both begin at the same border
    first = np.floor(place - half * wide).astype(np.int64)
    taps = first[:, np.newaxis] + np.arange(int(np.ceil(2 * half * wide)) + 2)
    share = shape((taps - place[:, np.newaxis]) / wide)
    share /= share.sum(axis=1, keepdims=True)
    return np.clip(taps, 0, count - 1), share.astype(np.float32)


def interpolated(
    codes: Pixels,
    native: tuple[float, float],
    asked: tuple[float, float],
    size: tuple[int, int],
    kernel: Kernel,
) -> Pixels:
    """Codes at another number of samples per inch; an axis that has it already is kept."""
    top = np.iinfo(codes.dtype).max
    across = weights(size[0], codes.shape[1], native[0] / asked[0], kernel)
    travel = weights(size[1], codes.shape[0], native[1] / asked[1], kernel)
    out = np.empty((size[1], size[0], 3), codes.dtype)
    for row in range(0, size[1], _ROWS):
        index, share = travel[0][row : row + _ROWS], travel[1][row : row + _ROWS]
        low, high = int(index.min()), int(index.max()) + 1
        over = _gathered(codes[low:high].transpose(1, 0, 2), *across).transpose(1, 0, 2)
        strip = _gathered(over, index - low, share)
        out[row : row + _ROWS] = np.clip(np.rint(strip), 0, top)
    return out


def _gathered(
    samples: Pixels, index: NDArray[np.int64], share: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Weighted sums along the first axis."""
    out = np.zeros((len(index), *samples.shape[1:]), np.float32)
    for tap in range(index.shape[1]):
        if share[:, tap].any():
            out += share[:, tap, np.newaxis, np.newaxis] * samples[index[:, tap]]
    return out


def _levelled(codes: Pixels, black: float, white: float) -> Pixels:
    """Each channel stretched so that shares of its samples fall off at both ends."""
    top = np.iinfo(codes.dtype).max
    out = np.empty_like(codes)
    for channel in range(3):
        plane = codes[:, :, channel]
        below = np.cumsum(np.bincount(plane.ravel(), minlength=top + 1)) / plane.size
        low = int(np.searchsorted(below, black))
        high = max(int(np.searchsorted(below, 1 - white)), low + 1)
        table = np.clip(np.rint((np.arange(top + 1) - low) * (top / (high - low))), 0, top)
        out[:, :, channel] = table.astype(codes.dtype)[plane]
    return out


def _smoothed(codes: Pixels, sigma_px: float) -> Pixels:
    """Grain taken away, and fine detail with it."""
    import cv2

    return np.asarray(cv2.GaussianBlur(codes, (0, 0), sigma_px))


def _sharpened(codes: Pixels, amount: float, sigma_px: float) -> Pixels:
    """Unsharp masking: what a Gaussian takes away is added once more, times `amount`."""
    import cv2

    soft = cv2.GaussianBlur(codes, (0, 0), sigma_px)
    return np.asarray(cv2.addWeighted(codes, 1 + amount, soft, -amount, 0))


def _through_jpeg(codes: Pixels, quality: int) -> Pixels:
    """Lossy compression and back, colour at half resolution."""
    import cv2

    blue_first = codes[:, :, ::-1]
    _, data = cv2.imencode(".jpg", blue_first, [cv2.IMWRITE_JPEG_QUALITY, quality])
    return np.ascontiguousarray(np.asarray(cv2.imdecode(data, cv2.IMREAD_COLOR))[:, :, ::-1])
