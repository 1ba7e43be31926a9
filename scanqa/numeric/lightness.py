"""Relative light to CIE lightness and luma.

Source: CIE 15 / ISO 11664-4 for L*; ITU-R BT.709 (IEC 61966-2-1) for the weights of light, BT.601
for those of codes.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import LUMA_WEIGHTS

CLIPPED = 0.996  # light; half an 8-bit code below the top
CODE_WEIGHTS = (0.299, 0.587, 0.114)  # of codes R, G, B: BT.601, the Y of JPEG
_BREAK = (6 / 29) ** 3
_SLOPE = (29 / 3) ** 3


def lstar(y: NDArray[Any] | float) -> NDArray[np.float64]:
    """CIE L* of relative light.

    Parameters
    ----------
    y : array or float
        Relative luminance, 1 is white. Negative light (noise below black) is taken as 0.

    Returns
    -------
    float64 array of the same shape
        L*, 0 to 100 (more for light above white).
    """
    light = np.maximum(np.asarray(y, np.float64), 0.0)
    return np.where(light > _BREAK, 116 * np.cbrt(light) - 16, _SLOPE * light)


def light_of(lightness: NDArray[Any] | float) -> NDArray[np.float64]:
    """Relative light of L*: the inverse of `lstar`. Negative L* is taken as 0."""
    level = np.maximum(np.asarray(lightness, np.float64), 0.0)
    return np.where(level > _SLOPE * _BREAK, ((level + 16) / 116) ** 3, level / _SLOPE)


def luma(light: NDArray[Any]) -> NDArray[np.float64]:
    """Luminance of linear light (…, channels): the BT.709 sum of its channels; grey as it is."""
    if light.shape[-1] == 1:
        return light[..., 0].astype(np.float64)
    return np.asarray(light @ np.asarray(LUMA_WEIGHTS), np.float64)


def mean_of_channels(picture: NDArray[Any]) -> NDArray[np.float64]:
    """Plain mean of the channels of light or codes as floats, (…, channels).

    A product in their own precision: a mean over so few takes fifty times as long.
    """
    channels = picture.shape[-1]
    shares = np.full(channels, 1 / channels, picture.dtype)
    return np.asarray(picture @ shares, np.float64)


def code_luma(codes: NDArray[Any]) -> NDArray[np.float64]:
    """Luma of codes (…, channels), as JPEG weighs them: chroma is the coarser part there."""
    if codes.shape[-1] == 1:
        return codes[..., 0].astype(np.float64)
    return np.asarray(codes.astype(np.float64) @ CODE_WEIGHTS, np.float64)
