"""An image cut into equal windows, with what the preview says of each: detail or none."""

from __future__ import annotations

import itertools
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats, Overview, Scan, Window


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
    preview = overview.preview.mean(axis=2)
    step = overview.step_px
    windows, means, spreads = [], [], []
    for row, col in itertools.product(rows, cols):
        windows.append(Window(row, col, height, width))
        part = preview[
            row // step : (row + height) // step + 1, col // step : (col + width) // step + 1
        ]
        means.append(float(part.mean()) if part.size else 0.0)
        spreads.append(float(part.std()) if part.size else 0.0)
    return Tiles(tuple(windows), np.asarray(means, float), np.asarray(spreads, float))
