"""Small windows on a grid over the bed, at full resolution and rid of their shading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.measures.noise.covariance import flatten
from scanqa.model import MM_PER_INCH, Floats, Placement, Window
from scanqa.numeric.lightness import lstar, luma

WINDOW_PX, SMALL_PX = 256, 128  # the smaller where fewer than `FEWEST` of the larger fit
FEWEST = 6  # windows that tell how paper was moved and turned
GRID = (5, 4)  # windows along travel and across
EDGE_MM = 12.0  # edge shadows bend more than a window's shading fit can follow


@dataclass(frozen=True, slots=True, eq=False)
class Sample:
    """A window of one scan.

    Attributes
    ----------
    light : (rows, columns, channels)
        Linear.
    grain : (rows, columns)
        L* of luma rid of shading.
    rounding : (channels,)
        Variance of light that whole codes bring.
    """

    window: Window
    light: Floats
    grain: Floats
    rounding: Floats

    @property
    def planes(self) -> tuple[Floats, ...]:
        """Grain of L*, then of the light of each channel and luma, rid of shading; made anew."""
        return self.grain, *(flatten(each) for each in _lights(self.light))

    @property
    def levels(self) -> Floats:
        """Mean light of the channels and luma."""
        return np.array([float(each.mean()) for each in _lights(self.light)])


def _lights(light: Floats) -> list[Floats]:
    """Channels, luma last (grey: the one channel)."""
    channels = [light[..., at] for at in range(light.shape[-1])]
    return channels if len(channels) == 1 else [*channels, luma(light)]


def samples(placement: Placement) -> list[Sample]:
    """All windows of a scan."""
    return [sample(placement, window) for window in _windows(placement)]


def sample(placement: Placement, window: Window) -> Sample:
    """One window of a scan."""
    codes = placement.scan.window(window)
    light = placement.light.light(codes)
    middle = codes.mean(axis=(0, 1), dtype=np.float64)[None]
    step = placement.light.light(middle + 0.5) - placement.light.light(middle - 0.5)
    return Sample(
        window,
        light.astype(np.float64),
        flatten(lstar(luma(light))),
        np.asarray(step[0], np.float64) ** 2 / 12,
    )


def grain_in(placement: Placement, window: Window) -> Floats:
    """L* of luma rid of shading, in one window of a scan."""
    return flatten(lstar(luma(placement.light.light(placement.scan.window(window)))))


def _windows(placement: Placement) -> list[Window]:
    large = _grid(placement, WINDOW_PX)
    return large if len(large) >= FEWEST else _grid(placement, SMALL_PX)


def _grid(placement: Placement, side: int) -> list[Window]:
    scan = placement.scan
    size = min(side, scan.width_px, scan.height_px)
    places = []
    for length, dpi, count in (
        (scan.height_px, placement.dpi[1], GRID[0]),
        (scan.width_px, placement.dpi[0], GRID[1]),
    ):
        margin = min(round(EDGE_MM * dpi / MM_PER_INCH), max(length - size, 0) // 4)
        count = max(min(count, (length - 2 * margin) // size), 1)  # windows may not overlap
        places.append(np.unique(np.linspace(margin, length - margin - size, count).astype(int)))
    return [Window(int(row), int(col), size, size) for row in places[0] for col in places[1]]


def like_pair(placements: Sequence[Placement]) -> tuple[Placement, Placement] | None:
    """The first two scans of one size, dpi and number of channels."""

    def kind(placement: Placement) -> object:
        scan = placement.scan
        return scan.width_px, scan.height_px, scan.channels, placement.dpi

    for index, one in enumerate(placements):
        for other in placements[index + 1 :]:
            if kind(one) == kind(other):
                return one, other
    return None
