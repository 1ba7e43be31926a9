"""An image cut into equal windows, with what the preview says of each: detail or none."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats, Overview, Scan, Window
from scanqa.numeric.lightness import mean_of_channels


@dataclass(frozen=True, slots=True, eq=False)
class Tiles:
    """Windows row by row, and mean and standard deviation of the preview in each, in codes."""

    windows: tuple[Window, ...]
    mean: Floats
    spread: Floats

    def busiest(self, number: int) -> list[Window]:
        """Windows of most detail, the busiest first."""
        return [self.windows[i] for i in np.argsort(-self.spread, kind="stable")[:number]]

    def flattest(self, number: int, *, darkest: float, lightest: float) -> list[Window]:
        """Windows of least detail whose mean lies in a range, the flattest first."""
        order = np.argsort(self.spread, kind="stable")
        fits = (self.mean >= darkest) & (self.mean <= lightest)
        return [self.windows[i] for i in order if fits[i]][:number]


def tiles(
    scan: Scan,
    overview: Overview,
    height: int,
    width: int,
    *,
    rows: Iterable[int] | None = None,
    cols: Iterable[int] | None = None,
) -> Tiles:
    """Windows of a size at each row and column, by default edge to edge from the corner.

    All must lie inside the image.
    """
    if rows is None:
        rows = range(0, scan.height_px - height + 1, height)
    if cols is None:
        cols = range(0, scan.width_px - width + 1, width)
    starts = np.array(list(itertools.product(rows, cols)), int).reshape(-1, 2)
    mean, spread = _mean_and_spread(overview, starts, (height, width))
    windows = tuple(Window(row, col, height, width) for row, col in starts.tolist())
    return Tiles(windows, mean, spread)


def _mean_and_spread(
    overview: Overview, starts: NDArray[np.int_], size: tuple[int, int]
) -> tuple[Floats, Floats]:
    """Of the preview in windows of one size, by sums over all that lies above and left."""
    preview, step = mean_of_channels(overview.preview), overview.step_px
    usual = float(preview.mean()) if preview.size else 0.0
    codes = preview - usual  # or squares lose what makes the difference
    sums, squares = map(_summed, (codes, np.square(codes)))
    first = np.minimum(starts // step, preview.shape)
    last = np.minimum((starts + size) // step + 1, preview.shape)
    (top, left), (bottom, right) = first.T, last.T
    number = np.maximum((bottom - top) * (right - left), 1)
    mean, square = (
        (s[bottom, right] - s[top, right] - s[bottom, left] + s[top, left]) / number
        for s in (sums, squares)
    )
    # Rounded, so that windows that are flat alike stay in order.
    spread = np.sqrt(np.maximum(square - mean**2, 0.0)).round(5)
    return np.where((last > first).all(axis=1), mean + usual, 0.0), spread


def _summed(picture: Floats) -> Floats:
    """Sum of all that lies above and left of each corner of the samples."""
    sums = np.zeros((picture.shape[0] + 1, picture.shape[1] + 1))
    np.cumsum(picture, axis=0, out=sums[1:, 1:])
    np.cumsum(sums, axis=1, out=sums)
    return sums
