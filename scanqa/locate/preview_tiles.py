"""The preview of a scan in tiles of about a centimetre, to see what lies on the glass."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats
from scanqa.numeric.blocks import block_means
from scanqa.numeric.medians import percentiles

TILE_MM = 12.0
BLOCK_MM = 0.3  # of the preview of a whole bed; small images are shown finer, noise and all
TILES_ALONG = (16, 40)  # fewest and most tiles along the long side, whatever the dpi says
LEVEL = 85  # percentile of a tile's pixels
PAPER = 90  # percentile of the tiles' levels


@dataclass(frozen=True, slots=True, eq=False)
class Tiles:
    """Pixels of each tile (rows, columns, pixels), their levels, and the paper's level."""

    pixels: Floats
    levels: Floats
    paper: float
    side: int


def without_noise(grey: Floats, mm_px: float) -> tuple[Floats, float, int]:
    """Means over blocks as those of a whole bed, their number per mm, and pixels along a block."""
    per = max(round(BLOCK_MM * mm_px), 1)
    if per == 1 or min(grey.shape) < per:
        return grey, mm_px, 1
    return block_means(grey, per), mm_px / per, per


def cut_tiles(grey: Floats, mm_px: float) -> Tiles | None:
    """Cut into whole tiles; None if the image is too small for any judgement."""
    longest = max(grey.shape)
    least, most = longest // TILES_ALONG[1], longest // TILES_ALONG[0]
    side = int(np.clip(round(TILE_MM * mm_px), max(least, 4), max(most, 4)))
    pixels = cells(grey, side)
    if min(pixels.shape[:2]) < 3:
        return None
    levels = percentiles(pixels, LEVEL)
    return Tiles(pixels, levels, float(np.percentile(levels, PAPER)), side)


def cells(image: NDArray[Any], side: int) -> NDArray[Any]:
    """Whole squares of so many pixels: (rows, columns, pixels of each)."""
    rows, columns = (n // side for n in image.shape)
    whole = image[: rows * side, : columns * side].reshape(rows, side, columns, side)
    return whole.transpose(0, 2, 1, 3).reshape(rows, columns, side * side)
