"""What share of each cell a polygon covers: exact areas, not samples.

A pixel gathers light from its whole area, so a simulated scene must be integrated over it; samples
at cell centres would shift edges by up to half a cell. Here every polygon edge is cut at the
borders of the cells it crosses and each piece adds its exact signed area (the trapezium rule is
exact on a straight piece) to its cell and the full height to the cells right of it; a running sum
along the row then gives the covered share. Coordinates are in cells: cell (row, col) covers
``col … col + 1`` by ``row … row + 1``.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats

_GAP = 48  # cells without an edge that make it worth to leave them out
_ROUNDING = 1e-5
_FLAT = 1e-12  # cells


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """An area of even reflectance, opaque to what lies under it.

    Attributes
    ----------
    rings : tuple of (n, 2) arrays
        Closed rings; holes run against the sense of the outer ring.
    reflectance : float
        Reflectance painted inside.
    """

    rings: tuple[Floats, ...]
    reflectance: float

    def box(self) -> tuple[float, float, float, float]:
        """Left, top, right, bottom."""
        low = np.min([ring.min(axis=0) for ring in self.rings], axis=0)
        high = np.max([ring.max(axis=0) for ring in self.rings], axis=0)
        return float(low[0]), float(low[1]), float(high[0]), float(high[1])

    def moved(self, affine: Floats) -> Shape:
        """The shape under a (2, 3) affine map."""
        rings = tuple(ring @ affine[:, :2].T + affine[:, 2] for ring in self.rings)
        return Shape(rings, self.reflectance)


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """Shapes of one reflectance that can be painted at once, as edges (start, end) in a row.

    Attributes
    ----------
    edges : (n, 4) array
        x0, y0, x1, y1 of every edge, in the sense that makes the covered area positive.
    """

    edges: Floats
    reflectance: float


def _edges(shape: Shape) -> Floats:
    """Edges of the rings, turned so that the area comes out positive."""
    parts = [np.hstack([ring, np.roll(ring, -1, axis=0)]) for ring in shape.rings]
    edges = np.vstack(parts)
    twice_area = np.sum(edges[:, 0] * edges[:, 3] - edges[:, 2] * edges[:, 1])
    return edges if twice_area > 0 else edges[:, [2, 3, 0, 1]]


def layers(shapes: list[Shape]) -> list[Layer]:
    """Sort painter's-order shapes into the fewest layers that paint the same picture.

    Shapes of one reflectance share a layer unless a shape of another reflectance lies between
    them; boxes decide whether two shapes touch.
    """
    boxes = np.array([shape.box() for shape in shapes]).reshape(-1, 4)
    values = np.array([shape.reflectance for shape in shapes])
    level = np.zeros(len(shapes), np.int64)
    for i in range(1, len(shapes)):
        left, top, right, bottom = boxes[i]
        under = boxes[:i]
        touch = (under[:, 0] < right) & (under[:, 2] > left)
        touch &= (under[:, 1] < bottom) & (under[:, 3] > top)
        if touch.any():
            level[i] = np.max(level[:i][touch] + (values[:i][touch] != values[i]))
    groups: dict[tuple[int, float], list[Floats]] = {}
    for shape, depth in zip(shapes, level.tolist(), strict=True):
        groups.setdefault((depth, shape.reflectance), []).append(_edges(shape))
    return [Layer(np.vstack(groups[key]), key[1]) for key in sorted(groups)]


def _repeat(first: NDArray[np.int64], count: NDArray[np.int64]) -> tuple[Any, Any]:
    """Which item each piece belongs to, and its whole number counted up from `first`."""
    item = np.repeat(np.arange(len(count)), count)
    start = np.cumsum(count) - count
    return item, first[item] + np.arange(len(item)) - start[item]


def covered(edges: Floats, rows: int, cols: int) -> NDArray[np.float32]:
    """Share of each cell inside closed rings given by their edges.

    Parameters
    ----------
    edges : (n, 4) array
        x0, y0, x1, y1 in cells, of complete rings; parts outside the grid are allowed.
    rows, cols : int
        Size of the grid.

    Returns
    -------
    (rows, cols) float32
        0 to 1. Rings that overlap add up and are then cut off at 1, which is exact except in
        cells that two edges cross.
    """
    total = _running(edges, np.zeros(rows, np.float32), cols)
    return np.clip(total[:, :cols], 0.0, 1.0)


def _running(edges: Floats, carry: NDArray[np.float32], cols: int) -> NDArray[np.float32]:
    """Running sums (rows, cols + 1) of signed areas; `carry` is what lies left of the grid.

    The last column holds what goes on to the right.
    """
    rows = len(carry)
    total = np.zeros((rows, cols + 1), np.float32)
    total[:, 0] = carry
    x0, y0, x1, y1 = edges.T
    # A flatter edge has no area to add, and its slope would overflow.
    keep = (np.abs(y1 - y0) > _FLAT) & (np.maximum(y0, y1) > 0) & (np.minimum(y0, y1) < rows)
    x0, y0, x1, y1 = x0[keep], y0[keep], x1[keep], y1[keep]
    # A ring that runs clockwise on a y-down page goes up on its left side: that side adds.
    sign = np.where(y1 > y0, -1.0, 1.0)
    slope = (x1 - x0) / (y1 - y0)
    top, bottom = np.clip(np.minimum(y0, y1), 0, rows), np.clip(np.maximum(y0, y1), 0, rows)
    first = np.floor(top).astype(np.int64)
    item, row = _repeat(first, np.maximum(np.ceil(bottom).astype(np.int64) - first, 0))
    upper, lower = np.maximum(top[item], row), np.minimum(bottom[item], row + 1)
    xa = x0[item] + (upper - y0[item]) * slope[item]
    xb = x0[item] + (lower - y0[item]) * slope[item]
    height = (lower - upper) * sign[item]

    # Left of the grid everything counts fully, right of it nothing does.
    left, right = np.minimum(xa, xb), np.maximum(xa, xb)
    first = np.floor(left).astype(np.int64)
    piece, col = _repeat(first, np.maximum(np.ceil(right).astype(np.int64) - first, 1))
    from_x, to_x = np.maximum(left[piece], col), np.minimum(right[piece], col + 1)
    span = (right - left)[piece]
    share = np.where(span > 0, (to_x - from_x) / np.where(span > 0, span, 1.0), 1.0)
    part = height[piece] * share
    beyond = part * ((from_x + to_x) / 2 - col)
    row = row[piece]
    flat = total.reshape(-1)
    inside = col >= 0
    here = np.where(inside, part - beyond, part).astype(np.float32)
    np.add.at(flat, row * (cols + 1) + np.clip(col, 0, cols), here)
    nearby = inside & (col < cols)
    np.add.at(flat, (row * (cols + 1) + col + 1)[nearby], beyond[nearby].astype(np.float32))
    return np.cumsum(total, axis=1, out=total)


def paint(
    picture: list[Layer], base: float, *, left: float, top: float, rows: int, cols: int
) -> NDArray[np.float32]:
    """Reflectance of a grid whose first cell begins at (left, top), area-averaged.

    Parameters
    ----------
    picture : list of Layer
        In cells.
    base : float
        Reflectance where nothing is painted.
    """
    out = np.full((rows, cols), base, np.float32)
    paint_over(out, picture, left=left, top=top)
    return out


def paint_over(out: NDArray[np.float32], picture: list[Layer], *, left: float, top: float) -> None:
    """Paint onto a grid whose first cell begins at (left, top), in place."""
    rows = len(out)
    for layer in picture:
        y0, y1 = layer.edges[:, 1], layer.edges[:, 3]
        near = (np.maximum(y0, y1) > top) & (np.minimum(y0, y1) < top + rows)
        if near.any():
            _paint(out, layer.edges[near] - np.array([left, top, left, top]), layer.reflectance)


def _paint(out: NDArray[np.float32], edges: Floats, reflectance: float) -> None:
    """Paint one layer, in place: work only where edges are, and fill what lies between."""
    rows, cols = out.shape
    value = np.float32(reflectance)
    low = np.floor(np.minimum(edges[:, 0], edges[:, 2])).astype(np.int64)
    high = np.ceil(np.maximum(edges[:, 0], edges[:, 2])).astype(np.int64) + 1
    order = np.argsort(low)
    edges, low, high = edges[order], low[order], np.maximum.accumulate(high[order])
    begins = np.flatnonzero(np.concatenate([[True], low[1:] > high[:-1] + _GAP]))
    carry = np.zeros(rows, np.float32)
    filled = 0  # columns before this one are done
    for first, last in zip(begins, [*begins[1:], len(edges)], strict=True):
        c0, c1 = min(max(int(low[first]), 0), cols), min(max(int(high[last - 1]), 0), cols)
        _fill(out[:, filled:c0], carry, value)
        moved = edges[first:last] - np.array([c0, 0, c0, 0])
        total = _running(moved, carry, c1 - c0)
        carry = total[:, -1].copy()
        # What is left after adding and taking away ones is rounding.
        carry[np.abs(carry) < _ROUNDING] = 0.0
        patch = out[:, c0:c1]
        patch += np.clip(total[:, :-1], 0.0, 1.0) * (value - patch)
        filled = c1
    _fill(out[:, filled:], carry, value)


def _fill(patch: NDArray[np.float32], share: NDArray[np.float32], value: np.float32) -> None:
    """Paint columns in which no edge runs: one share for each row."""
    if patch.size == 0:
        return
    patch[share >= 1 - _ROUNDING] = value
    for row in np.flatnonzero((share > 0) & (share < 1 - _ROUNDING)):
        patch[row] += share[row] * (value - patch[row])
