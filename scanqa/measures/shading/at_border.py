"""What the cells of a map hide at its borders: light that goes on falling, or rising, there."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from scanqa.catalogue import Side
from scanqa.model import Floats
from scanqa.numeric.own_signal import polynomial_weights
from scanqa.reading.sides import from_side


def to_borders(smooth: Floats, cells: Floats, lit: Collection[Side], window: int) -> Floats:
    """Smooth maps of cells, and outside of them their places at the lit borders, half a cell on.

    What they change by there is read off the means of rows and columns, where grain averages: a
    parabola fitted to the outermost of them, as in the maps themselves.

    Parameters
    ----------
    smooth, cells : (maps, rows, columns)
        The maps, and what they were made of.
    lit : collection of str
        Sides at whose border no shadow lies.
    window : int
        Cells that a local parabola sees.

    Returns
    -------
    (maps, rows, columns)
        With a row or column more at each lit side.
    """
    smooth, cells = (np.moveaxis(maps, 0, -1) for maps in (smooth, cells))
    more = ("top" in lit, "bottom" in lit), ("left" in lit, "right" in lit), (0, 0)
    found = np.pad(smooth, more, mode="edge")
    for side in lit:
        means = from_side(cells, side)[:, :window].mean(axis=0)
        degree = min(2, len(means) - 1)
        at_border, at_cell = (polynomial_weights(len(means), degree, at) for at in (-0.5, 0))
        from_side(found, side)[:, 0] += (at_border - at_cell) @ means  # a corner takes both
    return np.moveaxis(found, -1, 0)


def among_places(lit: Collection[Side]) -> tuple[slice, slice]:
    """Where the cells are in a map with its lit borders."""
    rows = slice(1 if "top" in lit else 0, -1 if "bottom" in lit else None)
    return rows, slice(1 if "left" in lit else 0, -1 if "right" in lit else None)


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
