"""Pieces of line from where a page has detail, for the search of an interpolation."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.measures.claim.kernels import PIECE
from scanqa.model import Direction, Floats, Placement, Window
from scanqa.numeric.lightness import code_luma
from scanqa.reading.tiles import tiles

LINES = 64  # beside each other in a window: their pieces start at the same sample
MOST_WINDOWS = 200
DETAIL_CODES = 1.0  # standard deviation, 8 bits: below it a piece is rounding
SEED = 1981


@dataclass(frozen=True, slots=True, eq=False)
class Pieces:
    """Pieces of line in 8-bit codes.

    Attributes
    ----------
    covariances : (pieces, PIECE, PIECE)
        As of `piece_covariance`.
    means : (pieces, PIECE)
        Mean of the lines of each piece.
    starts : (pieces,)
        Sample at which each begins, as of `draw_starts`.
    """

    covariances: Floats
    means: Floats
    starts: NDArray[np.int_]


def read_pieces(placement: Placement, direction: Direction) -> Pieces:
    """Covariances of pieces where there is most detail, at random starts."""
    rng = np.random.default_rng(SEED)
    covariances, means, starts = [], [], []
    for window, start in _windows(placement, direction, rng):
        lines = code_luma(placement.scan.window(window))
        lines = lines if direction == "across" else lines.T
        lines = lines / (2**placement.scan.bits - 1) * 255
        covariance = piece_covariance(lines)
        if np.trace(covariance) / PIECE >= DETAIL_CODES**2:
            covariances.append(covariance)
            means.append(lines.mean(axis=0))
            starts.append(start)
        if len(starts) == MOST_WINDOWS:
            break
    n = len(starts)
    return Pieces(
        np.reshape(covariances, (n, PIECE, PIECE)),
        np.reshape(means, (n, PIECE)),
        np.asarray(starts, int),
    )


def _windows(
    placement: Placement, direction: Direction, rng: np.random.Generator
) -> Iterator[tuple[Window, int]]:
    """Windows with their starts along the direction, from every start in turn, busiest first."""
    scan, across = placement.scan, direction == "across"
    starts = draw_starts(scan.width_px if across else scan.height_px, rng)
    if across:
        cut = tiles(scan, placement.overview, LINES, PIECE, cols=starts)
    else:
        cut = tiles(scan, placement.overview, PIECE, LINES, rows=starts)
    taken: dict[int, int] = defaultdict(int)
    turns: list[tuple[int, int, Window, int]] = []
    for window in cut.busiest(len(cut.windows)):
        start = window.col if across else window.row
        turns.append((taken[start], len(turns), window, start))
        taken[start] += 1
    for _, _, window, start in sorted(turns, key=lambda turn: turn[:2]):
        yield window, start


def piece_covariance(lines: NDArray[Any]) -> Floats:
    """Covariance of a piece about each line's mean: (lines, PIECE) to (PIECE, PIECE)."""
    centred = np.asarray(lines, np.float64) - np.mean(lines, axis=1, keepdims=True)
    return np.asarray(centred.T @ centred / len(centred))


def draw_starts(length: int, rng: np.random.Generator) -> list[int]:
    """Starts of pieces along a line, apart, and on no grid.

    On a grid of distance T the ends of the pieces would agree with each other, and a frequency
    with its neighbours 1/T away.
    """
    starts, at = [], int(rng.integers(0, PIECE))
    while at + PIECE <= length:
        starts.append(at)
        at += PIECE + int(rng.integers(0, PIECE))
    return starts
