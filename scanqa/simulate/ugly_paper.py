"""What paper has in it beside plain texture: flecks, chain lines, clouds, rulings, creases.

Each feature is a factor on the reflectance over a grid in paper millimetres, so that it moves and
turns with the paper. Sizes and contrasts are those of ordinary papers seen in reflection, from
memory; no source.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Factor = NDArray[np.float32]
Feature = Callable[[NDArray[np.float32], NDArray[np.float32], np.random.Generator], Factor]
"""Factor at x (1, columns) and y (rows, 1), in paper mm on an even grid; broadcasts to both."""


@dataclass(frozen=True, slots=True)
class Flecks:
    """Fibres and specks of recycled paper: dark spots (negative contrast) strewn at random."""

    per_cm2: float = 4.0
    size_mm: tuple[float, float] = (0.15, 0.6)
    contrast: tuple[float, float] = (-0.05, -0.35)

    def __call__(self, x: Factor, y: Factor, rng: np.random.Generator) -> Factor:
        """Gaussian spots; the strongest wins where two meet."""
        out = np.ones((y.size, x.size), np.float32)
        pitch = float(x[0, 1] - x[0, 0])
        count = rng.poisson(self.per_cm2 * float(np.ptp(x) * np.ptp(y)) / 100)
        rows, columns = rng.uniform(0, y.size, count), rng.uniform(0, x.size, count)
        sizes = rng.uniform(min(self.size_mm), max(self.size_mm), count) / pitch / 2.355
        contrasts = rng.uniform(min(self.contrast), max(self.contrast), count)
        for row, column, size, contrast in zip(rows, columns, sizes, contrasts, strict=True):
            reach = math.ceil(3 * size)
            top, left = max(int(row) - reach, 0), max(int(column) - reach, 0)
            part = out[top : int(row) + reach + 1, left : int(column) + reach + 1]
            off_y = np.arange(top, top + part.shape[0])[:, None] - row
            off_x = np.arange(left, left + part.shape[1])[None] - column
            spot = 1 + contrast * np.exp(-(off_x**2 + off_y**2) / (2 * size**2))
            np.minimum(part, spot.astype(np.float32), out=part)
        return out


@dataclass(frozen=True, slots=True)
class Lines:
    """Lines at an even pitch: chain or wire lines of laid paper, a faint ruling.

    Attributes
    ----------
    pitch_mm, width_mm : float
        From line to line, and full width at half height of each (Gaussian).
    contrast : float
        Signed, at the middle of a line.
    down : bool
        Whether they run down the paper (else across).
    wander_mm : float
        Standard deviation of each line's place about the even row.
    """

    pitch_mm: float = 25.0
    width_mm: float = 0.8
    contrast: float = -0.012
    down: bool = True
    wander_mm: float = 0.0

    def __call__(self, x: Factor, y: Factor, rng: np.random.Generator) -> Factor:
        """A profile along one axis."""
        along = x if self.down else y
        first, last = float(along.min()), float(along.max())
        places = np.arange(first, last + self.pitch_mm, self.pitch_mm)
        places = places + self.wander_mm * rng.standard_normal(places.size)
        nearest = places[np.abs(along.ravel()[:, None] - places).argmin(axis=1)]
        off = along - nearest.reshape(along.shape).astype(np.float32)
        sigma = self.width_mm / 2.355
        line = 1 + self.contrast * np.exp(-(off**2) / (2 * sigma**2))
        return np.asarray(line, np.float32)


@dataclass(frozen=True, slots=True)
class Stroke:
    """A straight line of any direction from end to end: a pen mark, or a crease with two flanks."""

    start_mm: tuple[float, float] = (40.0, 30.0)
    end_mm: tuple[float, float] = (60.0, 260.0)
    width_mm: float = 0.5
    contrast: float = -0.3
    second_flank: float = 0.0  # contrast of a line beside it: the lit side of a crease

    def __call__(self, x: Factor, y: Factor, rng: np.random.Generator) -> Factor:
        """Gaussian across, sharp at the ends."""
        del rng
        start, run = np.array(self.start_mm), np.subtract(self.end_mm, self.start_mm)
        length = float(np.hypot(*run))
        ux, uy = run / length
        along = (x - start[0]) * ux + (y - start[1]) * uy
        off = (y - start[1]) * ux - (x - start[0]) * uy
        inside = (along >= 0) & (along <= length)
        sigma = self.width_mm / 2.355
        line = self.contrast * np.exp(-(off**2) / (2 * sigma**2))
        beside = self.second_flank * np.exp(-((off - self.width_mm) ** 2) / (2 * sigma**2))
        return np.asarray(np.where(inside, 1 + line + beside, 1.0), np.float32)


@dataclass(frozen=True, slots=True)
class Watermark:
    """Rings, lighter or darker by little, with soft flanks."""

    at_mm: tuple[float, float] = (75.0, 100.0)
    radius_mm: float = 22.0
    width_mm: float = 1.5
    contrast: float = 0.012

    def __call__(self, x: Factor, y: Factor, rng: np.random.Generator) -> Factor:
        """Three rings, one in another."""
        del rng
        radius = np.hypot(x - self.at_mm[0], y - self.at_mm[1])
        sigma = self.width_mm / 2.355
        out = np.ones_like(radius)
        for share in (1.0, 0.7, 0.4):
            out += self.contrast * np.exp(-((radius - share * self.radius_mm) ** 2) / 2 / sigma**2)
        return np.asarray(out, np.float32)


@dataclass(frozen=True, slots=True)
class Clouds:
    """Formation that is much coarser and stronger than that of office paper."""

    rms: float = 0.012
    size_mm: float = 3.0

    def __call__(self, x: Factor, y: Factor, rng: np.random.Generator) -> Factor:
        """White noise under a Gaussian, made on a coarse grid."""
        import cv2

        pitch = float(x[0, 1] - x[0, 0])
        step = max(int(self.size_mm / pitch / 3), 1)
        rows, columns = math.ceil(y.size / step), math.ceil(x.size / step)
        small = rng.standard_normal((rows, columns), dtype=np.float32)
        small = np.asarray(cv2.GaussianBlur(small, (0, 0), self.size_mm / pitch / step))
        small *= np.float32(self.rms / small.std())
        return np.asarray(
            1 + cv2.resize(small, (x.size, y.size), interpolation=cv2.INTER_CUBIC), np.float32
        )
