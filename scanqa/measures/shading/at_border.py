"""What the cells of a map hide at its borders: light that goes on falling, or rising, there."""

from __future__ import annotations

import numpy as np

from scanqa.catalogue import Side
from scanqa.model import Floats
from scanqa.reading.sides import from_side


def beyond_cells(blocks: Floats, light: Floats, outer: dict[Side, int]) -> float:
    """By how much the range of light grows if the outermost blocks count, as a share of the mean.

    Along a side grain averages: the mean of the whole side is compared with that of the outermost
    cells, and what it differs by is taken to lie beyond each of them.

    Parameters
    ----------
    blocks : (rows, columns)
        Light.
    light : (rows, columns)
        The map of it, of any size.
    outer : mapping
        Blocks that are the outermost, for each side that no shadow hides.
    """
    low, high = float(light.min()), float(light.max())
    least, most = low, high
    for side, count in outer.items():
        cells = from_side(light, side)[:, 0]
        step = float(from_side(blocks, side)[:, :count].mean() - cells.mean())
        least, most = min(least, float(cells.min()) + step), max(most, float(cells.max()) + step)
    return float(((most - least) - (high - low)) / np.mean(light))
