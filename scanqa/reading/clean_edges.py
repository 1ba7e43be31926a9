"""Straight borders between something light and something dark, whatever it is: edges by chance.

Looked for on the preview: a step of light with a plain strip on both sides, row under row. What
hangs together is cut into pieces of about a centimetre, and a piece is an edge if it is straight,
and turned from the pixel grid enough to show many phases of it but not too far to belong to an
axis. Print has no plain strips beside its strokes and so makes none.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from scanqa.model import MM_PER_INCH, Floats, Placement, Point
from scanqa.numeric.lightness import mean_of_channels
from scanqa.reading.edge_window import EdgeWindow, line_window

REACH_MM, LEAST_REACH_PX = 1.5, 8.0  # plain on each side, in pixels of the scan at least
SOFT_PX = 2  # of the preview, beside the step: its blur
LEAST_STEP = 0.25  # of light, of the whole scale
DARK_SHARE = 0.4  # of the bright side's light at most: cards, not shadows
PLAIN = 0.15  # of the step: what a strip beside it may vary
PIECE_MM, SHORTEST_MM = 14.0, 6.0
TURNED = (np.tan(np.radians(1.0)), np.tan(np.radians(14.0)))
FEWEST_PHASES_PX = 3.0  # that a piece must cross
STRAIGHT = 0.35  # of a pixel of the preview: standard deviation of a piece about its line
MOST_PIECES = 24
THIN = 3  # every third pixel both ways tells whether there is any contrast


@dataclass(frozen=True, slots=True)
class _Piece:
    """A straight part of a border, in pixels of the preview."""

    line: tuple[Point, Point]
    step: float


def clean_edges(placement: Placement) -> list[EdgeWindow]:
    """Windows about the clean edges of a scan, those of most contrast first.

    Parameters
    ----------
    placement : Placement
        Of any scan whose dpi is known.
    """
    overview = placement.overview
    few = mean_of_channels(placement.light.light(overview.preview[::THIN, ::THIN]))
    low, high = np.percentile(few, (2, 98))
    if high - low < LEAST_STEP:
        return []
    grey = mean_of_channels(placement.light.light(overview.preview))
    per_mm = sum(placement.dpi) / 2 / MM_PER_INCH
    found = [
        *_pieces(grey, overview.step_px, per_mm),
        *(_turned(piece) for piece in _pieces(grey.T, overview.step_px, per_mm)),
    ]
    found.sort(key=lambda piece: -piece.step)
    reach_mm = max(REACH_MM, LEAST_REACH_PX / per_mm)
    windows = (
        line_window(placement, _in_scan(piece, overview.step_px), reach_mm)
        for piece in found[:MOST_PIECES]
    )
    return [window for window in windows if window is not None]


def _turned(piece: _Piece) -> _Piece:
    (x0, y0), (x1, y1) = piece.line
    return _Piece(((y0, x0), (y1, x1)), piece.step)


def _in_scan(piece: _Piece, step_px: int) -> tuple[Point, Point]:
    """The line in pixels of the scan, pixel centres being whole numbers."""
    ends = [tuple((value + 0.5) * step_px - 0.5 for value in point) for point in piece.line]
    return (ends[0][0], ends[0][1]), (ends[1][0], ends[1][1])


def _pieces(grey: Floats, step_px: int, per_mm: float) -> Iterator[_Piece]:
    """Straight pieces of the borders that run down an image."""
    per_preview = per_mm / step_px
    reach = max(round(REACH_MM * per_preview), round(LEAST_REACH_PX / step_px), 2)
    if grey.shape[1] < 2 * (reach + SOFT_PX) + 1:
        return
    at, size, places = _steps(grey, reach)
    parts, count = ndimage.label(at, np.ones((3, 3)))
    fewest = max(round(SHORTEST_MM * per_preview), 6)
    for number, where in enumerate(ndimage.find_objects(parts, count), 1):
        if where is None or where[0].stop - where[0].start < fewest:
            continue
        y, x = np.nonzero(parts[where] == number)
        y, x = y + where[0].start, x + where[1].start
        exact = places[y, x]
        slope = abs(np.polyfit(y, exact, 1)[0])
        if not TURNED[0] <= slope <= TURNED[1]:
            continue
        rows = max(round(PIECE_MM * per_preview), np.ceil(FEWEST_PHASES_PX / step_px / slope))
        for part in _parts(y, rows):
            piece = _straight(y[part], exact[part], size[y[part], x[part]], fewest)
            if piece is not None and _enough_phases(piece, step_px):
                yield piece


def _parts(y: NDArray[np.int64], rows: float) -> Iterator[NDArray[np.bool_]]:
    """Points of equal parts of a border, each of so many rows at least, or of all."""
    count = max(int((np.ptp(y) + 1) / rows), 1)
    number = np.minimum((y - y.min()) * count // (np.ptp(y) + 1), count - 1)
    for part in range(count):
        yield number == part


def _steps(grey: Floats, reach: int) -> tuple[NDArray[np.bool_], Floats, Floats]:
    """Where light steps along a row between two plain strips, by how much, and exactly where."""
    offset = SOFT_PX + reach // 2 + 1
    middle = ndimage.uniform_filter1d(grey, reach, axis=1)
    top = ndimage.maximum_filter1d(grey, reach, axis=1)
    low = ndimage.minimum_filter1d(grey, reach, axis=1)
    right, left = _shifted(middle, offset), _shifted(middle, -offset)
    size = right - left
    unrest = np.maximum(_shifted(top - low, offset), _shifted(top - low, -offset))
    slope = np.abs(np.gradient(grey, axis=1))
    steep = slope >= ndimage.maximum_filter1d(slope, 2 * SOFT_PX + 1, axis=1)
    bright, dark = np.maximum(right, left), np.minimum(right, left)
    at = (np.abs(size) > LEAST_STEP) & (unrest < PLAIN * np.abs(size)) & steep
    at &= dark < DARK_SHARE * bright
    at[:, : offset + reach] = at[:, -offset - reach :] = False
    weight = ndimage.uniform_filter1d(slope, 2 * SOFT_PX + 1, axis=1)
    moment = ndimage.correlate1d(slope, np.arange(-SOFT_PX, SOFT_PX + 1.0), axis=1)
    exact = np.arange(grey.shape[1]) + moment / np.maximum((2 * SOFT_PX + 1) * weight, 1e-9)
    return at, np.abs(size), exact


def _shifted(plane: Floats, by: int) -> Floats:
    """Value `by` columns to the right of each place; sides repeat."""
    return np.take(plane, np.clip(np.arange(plane.shape[1]) + by, 0, plane.shape[1] - 1), axis=1)


def _straight(rows: NDArray[np.int64], places: Floats, sizes: Floats, fewest: int) -> _Piece | None:
    """The line through the places, or None if they are too few, bent, or turned too far."""
    if len(np.unique(rows)) < fewest:
        return None
    slope, start = np.polyfit(rows, places, 1)
    apart = places - (start + slope * rows)
    if apart.std() > STRAIGHT or not TURNED[0] <= abs(slope) <= TURNED[1]:
        return None
    ends = float(rows.min()), float(rows.max())
    line = ((float(start + slope * y), y) for y in ends)
    return _Piece((next(line), next(line)), float(np.median(sizes)))


def _enough_phases(piece: _Piece, step_px: int) -> bool:
    (x0, _), (x1, _) = piece.line
    return abs(x1 - x0) * step_px >= 0.9 * FEWEST_PHASES_PX
