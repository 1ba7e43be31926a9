"""What a laser printer makes of a page: dots on a grid, and toner that strays from them.

The page is cut into dots; a dot is exposed if more than half of it is to be black, greys through a
clustered-dot screen at 45°. The exposure is blurred by the laser's spot, toner lies where it
passes a half give or take the grain of the toner, and a few stray grains lie around it. A slanted
edge so becomes a ragged staircase: at 600 dpi some 15 µm of wandering, which a sharp scanner sees.

Sizes of spot and grain are orders of magnitude (common practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from scanqa.model import MM_PER_INCH, Floats
from scanqa.simulate.coverage import Layer, Shape, layers, paint

_PARTS = 4  # cells of toner to a dot, each way
_MARGIN_DOTS = 12  # farther than any blur reaches
_TILE = 256  # cells of one draw of grain: the grain is the same however the page is cut
_CHUNK = 768  # columns of cells done at once: where they are bare nothing is to do

Grid = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class Toner:
    """How the printer lays toner.

    Attributes
    ----------
    dot_dpi : float
        Dots to the inch.
    spot_um : float
        Sigma of the laser's spot.
    grain_um : float
        Sigma of the grain of toner along an edge.
    noise : float
        Its strength, as a share of full exposure.
    scatter : float
        Share of stray grains right beside the ink.
    seed : int
        The same seed is the same print.
    """

    dot_dpi: float = 600.0
    spot_um: float = 22.0
    grain_um: float = 8.0
    noise: float = 0.12
    scatter: float = 0.01
    seed: int = 1


@dataclass(frozen=True, slots=True, eq=False)
class Ink:
    """A page of toner, to be laid over paper.

    Attributes
    ----------
    solid, grey : list of Layer
        Shares of black, in dots from the page's corner.
    bare : float
        Share of light that solid toner leaves.
    to_page : (2, 3) array
        Glass mm to page mm.
    """

    toner: Toner
    solid: list[Layer]
    grey: list[Layer]
    bare: float
    to_page: Floats


def ink(covers: list[Shape], toner: Toner, *, bare: float, to_page: Floats) -> Ink:
    """Ink from shapes (page mm) whose "reflectance" is the share of black."""
    scale = toner.dot_dpi / MM_PER_INCH
    dots = np.array([[scale, 0.0, 0.0], [0.0, scale, 0.0]])
    solid = [s.moved(dots) for s in covers if s.reflectance in (0.0, 1.0)]
    grey = [s.moved(dots) for s in covers if s.reflectance not in (0.0, 1.0)]
    return Ink(toner, layers(solid), layers(grey), bare, to_page)


def lay_over(fine: Grid, page: Ink, to_glass: Floats) -> None:
    """Darken a fine grid of reflectance where toner lies, in place.

    Parameters
    ----------
    fine : (rows, columns) float32
        Reflectance of what lies under the toner.
    to_glass : (2, 3) array
        Cells (counted from the grid's corner) to glass mm.
    """
    import cv2

    cell_mm = MM_PER_INCH / page.toner.dot_dpi / _PARTS
    linear = page.to_page[:, :2] @ to_glass[:, :2] / cell_mm
    shift = (page.to_page[:, :2] @ to_glass[:, 2] + page.to_page[:, 2]) / cell_mm
    for left in range(0, fine.shape[1], _CHUNK):
        part = fine[:, left : left + _CHUNK]
        rows, cols = part.shape
        start = linear @ np.array([left, 0.0]) + shift
        corners = np.array([[0, 0], [cols, 0], [0, rows], [cols, rows]]) @ linear.T + start
        low = np.floor(corners.min(axis=0) / _PARTS).astype(int) - 1
        high = np.ceil(corners.max(axis=0) / _PARTS).astype(int) + 1
        light = _light(page, int(low[1]), int(low[0]), int(high[1]), int(high[0]))
        if light is None:
            continue
        # cv2 counts from cell centres on both sides.
        offset = start + linear @ np.array([0.5, 0.5]) - 0.5 - low * _PARTS
        part *= cv2.warpAffine(
            light,
            np.column_stack([linear, offset]),
            (cols, rows),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=(1.0,),
        )


def _light(page: Ink, top: int, left: int, bottom: int, right: int) -> Grid | None:
    """Share of light that the toner leaves in a window of dots, or None if it is bare."""
    import cv2

    toner = page.toner
    row, col = top - _MARGIN_DOTS, left - _MARGIN_DOTS
    rows, cols = bottom - top + 2 * _MARGIN_DOTS, right - left + 2 * _MARGIN_DOTS
    window = {"left": col, "top": row, "rows": rows, "cols": cols}
    black = paint(page.solid, 0.0, **window) > 0.5
    grey = paint(page.grey, 0.0, **window)
    black |= grey > _screen(row, col, rows, cols)
    if not black.any():
        return None
    exposure = np.repeat(np.repeat(black.astype(np.float32), _PARTS, axis=0), _PARTS, axis=1)
    cell_um = 1000 * MM_PER_INCH / toner.dot_dpi / _PARTS
    exposure = np.asarray(cv2.GaussianBlur(exposure, (0, 0), toner.spot_um / cell_um), np.float32)
    white, chance = _grains(toner.seed, row * _PARTS, col * _PARTS, *exposure.shape)
    sigma = toner.grain_um / cell_um
    # White noise smoothed by a Gaussian keeps 1 / (2 √π σ) of its standard deviation.
    grain = cv2.GaussianBlur(white, (0, 0), sigma) * (2 * math.sqrt(math.pi) * sigma)
    lies = exposure + toner.noise * grain > 0.5
    around = cv2.GaussianBlur(exposure, (0, 0), 60.0 / cell_um)
    lies |= chance < toner.scatter * around
    light = np.where(lies, np.float32(page.bare), np.float32(1.0))
    edge = _MARGIN_DOTS * _PARTS
    return np.ascontiguousarray(light[edge:-edge, edge:-edge])


@lru_cache(maxsize=1)
def _tile_of_screen() -> Grid:
    """Thresholds of an 8 × 8 clustered-dot screen at 45°, evenly spread over 0 … 1."""
    row, col = np.mgrid[:8, :8] + 0.5  # dots grow around the corners between four dots
    height = np.cos(2 * math.pi * (row + col) / 8) + np.cos(2 * math.pi * (row - col) / 8)
    rank = np.argsort(np.argsort(-height.ravel(), kind="stable"), kind="stable")
    return ((rank.reshape(8, 8) + 0.5) / 64).astype(np.float32)


def _screen(row: int, col: int, rows: int, cols: int) -> Grid:
    """The screen over a window of dots; it is fixed to the page."""
    tile = np.roll(_tile_of_screen(), (-(row % 8), -(col % 8)), axis=(0, 1))
    return np.tile(tile, (-(-rows // 8), -(-cols // 8)))[:rows, :cols]


def _grains(seed: int, row: int, col: int, rows: int, cols: int) -> tuple[Grid, Grid]:
    """Normal and uniform noise over a window of cells, the same wherever the window begins."""
    first = (row // _TILE, col // _TILE)
    last = ((row + rows - 1) // _TILE, (col + cols - 1) // _TILE)
    tiles = [
        [_tile_of_grains(seed, i, j) for j in range(first[1], last[1] + 1)]
        for i in range(first[0], last[0] + 1)
    ]
    down, over = row - first[0] * _TILE, col - first[1] * _TILE
    white, chance = (
        np.block([[tile[kind] for tile in line] for line in tiles])[
            down : down + rows, over : over + cols
        ]
        for kind in (0, 1)
    )
    return white, chance


@lru_cache(maxsize=96)
def _tile_of_grains(seed: int, i: int, j: int) -> tuple[Grid, Grid]:
    rng = np.random.default_rng([seed, 5, i + 2**20, j + 2**20])
    shape = (_TILE, _TILE)
    return rng.standard_normal(shape, dtype=np.float32), rng.random(shape, dtype=np.float32)
