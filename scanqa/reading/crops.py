"""Small pieces of real pixels to show, their contrast stretched."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Placement, Window

TAIL_PERCENT = 0.5  # of the samples, at each end, that the stretch lets saturate


@dataclass(frozen=True, slots=True, eq=False)
class Crop:
    """A square piece of a scan.

    Attributes
    ----------
    image : (rows, columns, 3) uint8
        Codes stretched to the whole range.
    extent_mm : (left, top, right, bottom)
        In image mm.
    note : str
        Says that and how it was stretched.
    codes : (low, high)
        What became black and white.
    """

    image: NDArray[np.uint8]
    extent_mm: tuple[float, float, float, float]
    note: str
    codes: tuple[float, float]


def crop(placement: Placement, x_px: float, y_px: float, side_px: int) -> Crop:
    """Pixels round a place, moved inwards where the image ends.

    Parameters
    ----------
    x_px, y_px : float
        Middle, as a pixel position.
    side_px : int
        Side of the square; smaller where the image is.
    """
    scan = placement.scan
    height, width = min(side_px, scan.height_px), min(side_px, scan.width_px)
    row = int(np.clip(round(y_px) - height // 2, 0, scan.height_px - height))
    col = int(np.clip(round(x_px) - width // 2, 0, scan.width_px - width))
    pixels = scan.window(Window(row, col, height, width)).astype(np.float32)
    low, high = np.percentile(pixels, [TAIL_PERCENT, 100 - TAIL_PERCENT])
    stretched = np.clip((pixels - low) * (255 / max(high - low, 1.0)), 0, 255).round()
    left, top = placement.mm(col - 0.5, row - 0.5)
    right, bottom = placement.mm(col + width - 0.5, row + height - 0.5)
    return Crop(
        np.broadcast_to(stretched.astype(np.uint8), (height, width, 3)).copy(),
        (left, top, right, bottom),
        f"Real pixels; contrast stretched from codes {low:.0f}–{high:.0f} to the whole range.",
        (float(low), float(high)),
    )
