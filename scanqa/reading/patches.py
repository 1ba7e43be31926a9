"""Mean light inside a printed rectangle of a located sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats, Placement, Window
from scanqa.numeric.lightness import luma

MIN_PX = 100  # fewer pixels are no mean
BANDS = 8  # parts of a patch whose scatter tells how far its mean can be off


@dataclass(frozen=True, slots=True)
class PatchLight:
    """Mean light (luma) of a patch, its standard error, and the mean code over all channels."""

    light: float
    error: float
    code: float


def patch_light(
    placement: Placement, box_mm: tuple[float, float, float, float], *, rim_mm: float
) -> PatchLight | None:
    """Mean light of a rectangle (left, top, right, bottom in sheet mm), less a rim.

    Light is averaged, not lightness, so that the dots of a halftone count by their area.

    Returns
    -------
    PatchLight or None
        None where it is not whole in the image or has fewer than `MIN_PX` pixels.
    """
    left, top, right, bottom = box_mm
    left, top, right, bottom = left + rim_mm, top + rim_mm, right - rim_mm, bottom - rim_mm
    if right <= left or bottom <= top:
        return None
    corners = placement.sheet_px(
        np.array([(left, top), (right, top), (right, bottom), (left, bottom)])
    )
    low, high = np.ceil(corners.min(axis=0)).astype(int), np.floor(corners.max(axis=0)).astype(int)
    scan = placement.scan
    if (low < 0).any() or high[0] >= scan.width_px or high[1] >= scan.height_px:
        return None
    width, height = (int(n) for n in high - low + 1)
    pixels = scan.window(Window(int(low[1]), int(low[0]), height, width))
    inside = inside_quad(corners - low, (height, width))
    if np.count_nonzero(inside) < MIN_PX:
        return None
    light = luma(placement.light.light(pixels))[inside]
    # Parts of many rows each: dots and bands are larger than pixels and average less.
    parts = np.array([part.mean() for part in np.array_split(light, BANDS)])
    error = float(parts.std(ddof=1) / np.sqrt(BANDS))
    return PatchLight(float(light.mean()), error, float(pixels[inside].mean()))


def inside_quad(corners: Floats, shape: tuple[int, int]) -> NDArray[np.bool_]:
    """Mask of the pixel centres in a convex quadrilateral, corners (x, y) clockwise (y down)."""
    y, x = np.mgrid[: shape[0], : shape[1]]
    mask = np.ones(shape, np.bool_)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        mask &= (x1 - x0) * (y - y0) - (y1 - y0) * (x - x0) >= 0
    return mask
