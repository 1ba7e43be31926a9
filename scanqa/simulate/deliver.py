"""What a driver does to an image before it hands it over: codes, interpolation, processing."""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats, Pixels
from scanqa.simulate.scanner import Output, ToneCurve

_STEPS = 2**16 - 1


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
    """Interpolate, process and compress codes as the driver would."""
    return codes
