"""Veiling glare: part of the light of every place strays over its surroundings."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from scanqa.model import MM_PER_INCH
from scanqa.simulate.device_faults import Haze

Light = NDArray[np.float32]

_ROWS = 144
PAPER = 0.84  # reflectance of the white that `Haze.surround` is a share of


def veiled(
    seen: Callable[[int, int], Light],
    haze: Haze,
    size_px: tuple[int, int],
    dpi: tuple[float, float],
) -> Callable[[int, Light], Light]:
    """A function that adds the stray light to rows of reflectance.

    White calibration keeps white where it is all around as bright as white paper; the frame around
    the image is darker.

    Parameters
    ----------
    seen : callable
        First row and number of rows to reflectance (rows, width, 1 or 3).
    haze : Haze
        How much strays, and how far.
    size_px : (width, height)
        Of the image.

    Returns
    -------
    callable
        First row and reflectance of rows to the same with stray light.
    """
    import cv2

    spread, step = _spread(seen, haze, size_px, dpi)

    def add(row: int, light: Light) -> Light:
        size = (size_px[0], len(light))
        at = np.array([[1 / step, 0, 0.5 / step - 0.5], [0, 1 / step, (row + 0.5) / step - 0.5]])
        flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
        stray = cv2.warpAffine(spread, at, size, flags=flags, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(light + haze.share * (stray[:, :, np.newaxis] - light), np.float32)

    return add


def _spread(
    seen: Callable[[int, int], Light],
    haze: Haze,
    size_px: tuple[int, int],
    dpi: tuple[float, float],
) -> tuple[Light, int]:
    """The page in cells of about 1 mm, smoothed by the haze, and pixels to a cell."""
    import cv2

    width, height = size_px
    step = max(round(min(dpi) / MM_PER_INCH), 1)
    coarse = []
    for row in range(0, height, _ROWS // step * step):
        rows = min(_ROWS // step * step, height - row)
        plane = seen(row, rows).mean(axis=2)
        cells = (math.ceil(width / step), math.ceil(rows / step))
        coarse.append(cv2.resize(plane, cells, interpolation=cv2.INTER_AREA))
    page = np.vstack(coarse)
    x, y = (haze.reach_mm * d / MM_PER_INCH / step for d in dpi)
    rim_x, rim_y = math.ceil(4 * x), math.ceil(4 * y)
    around = np.pad(page, [(rim_y, rim_y), (rim_x, rim_x)], constant_values=haze.surround * PAPER)
    smooth = np.asarray(cv2.GaussianBlur(around, (0, 0), x, sigmaY=y), np.float32)
    return smooth[rim_y : rim_y + len(page), rim_x : rim_x + page.shape[1]], step
