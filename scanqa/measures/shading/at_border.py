"""What the cells of a map hide at its borders: light that goes on falling, or rising, there."""

from __future__ import annotations

from collections.abc import Collection

import numpy as np

from scanqa.catalogue import Side
from scanqa.model import Floats
from scanqa.numeric.own_signal import polynomial_weights
from scanqa.reading.sides import from_side


def to_borders(smooth: Floats, cells: Floats, lit: Collection[Side], window: int) -> Floats:
    """A smooth map of cells, and outside of them its places at the lit borders, half a cell on.

    What it changes by there is read off the means of rows and columns, where grain averages: a
    parabola fitted to the outermost of them, as in the map itself.

    Parameters
    ----------
    smooth, cells : (…, rows, columns)
        The map, and what it was made of.
    lit : collection of str
        Sides at whose border no shadow lies.
    window : int
        Cells that a local parabola sees.

    Returns
    -------
    (…, rows, columns)
        With a row or column more at each lit side.
    """
    found = smooth
    for side, axis in (("top", -2), ("bottom", -2), ("left", -1), ("right", -1)):
        if side not in lit:
            continue
        means = np.moveaxis(cells, axis, -1).mean(axis=-2)
        outermost = (
            means[..., :window] if side in ("top", "left") else means[..., ::-1][..., :window]
        )
        count = outermost.shape[-1]
        at_border, at_cell = (polynomial_weights(count, min(2, count - 1), at) for at in (-0.5, 0))
        step = outermost @ (at_border - at_cell)
        first = side in ("top", "left")
        edge = np.take(found, [0 if first else -1], axis=axis) + step[..., None, None]
        found = np.concatenate([edge, found] if first else [found, edge], axis=axis)
    return found


def of_cells(lit: Collection[Side]) -> tuple[slice, slice]:
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
