"""What may be wrong with a simulated scanner: shadows, streaks, marks, bands, flicker, haze.

Faults of the device are given in image millimetres, things on the glass in glass millimetres (see
`scanqa.simulate.scanner`). Contrasts are signed shares of the light: -0.005 is half a percent
darker.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from scanqa.model import COLOURS, MM_PER_INCH, Channel, Floats, Point


@dataclass(frozen=True, slots=True)
class Shadow:
    """Shadow of a frame or a seal along one side of the image.

    The light is ``1 - strength · (1 - d / extent)²`` at a distance d inside `extent` and 1
    beyond. `extent` follows from `depth_mm`, at which L* is 2 under that of a page whose light
    is `DESIGN_LIGHT`; `Truth.shadow_mm` gives the depth for the page that was scanned.
    """

    depth_mm: float
    strength: float = 0.4

    DESIGN_LIGHT = 0.9

    def __post_init__(self) -> None:
        if not self._drop() < self.strength <= 1:
            raise ValueError(f"a shadow of strength {self.strength} has no depth at 2 L*")

    def _drop(self) -> float:
        return float(1 - (1 - 2 / (116 * self.DESIGN_LIGHT ** (1 / 3))) ** 3)

    @property
    def extent_mm(self) -> float:
        """Distance at which the shadow ends."""
        return self.depth_mm / (1 - math.sqrt(self._drop() / self.strength))

    def light(self, distance_mm: Floats) -> Floats:
        """Share of light at distances from the side."""
        return fade(distance_mm, self.strength, self.extent_mm)


@dataclass(frozen=True, slots=True)
class Falloff:
    """Slow loss of light towards one side that calibration does not see."""

    loss: float
    reach_mm: float

    def light(self, distance_mm: Floats) -> Floats:
        """Share of light at distances from the side."""
        return fade(distance_mm, self.loss, self.reach_mm)


def fade(distance_mm: Floats, loss: float, reach_mm: float) -> Floats:
    """Light rising from ``1 - loss`` at 0 to 1 at `reach_mm` along a parabola."""
    return np.asarray(1 - loss * np.clip(1 - distance_mm / reach_mm, 0, None) ** 2)


@dataclass(frozen=True, slots=True)
class Streak:
    """A line down the image that the device draws.

    Attributes
    ----------
    at_mm : float
        Middle, image mm from the left.
    width_um : float
        Full width at half height.
    contrast : float
        Signed share of light at the middle of a wide streak. Dark ones take light away (dirt on
        the moving optics), bright ones are gain (dirt on the white calibration strip), which
        raises the noise too.
    softness_um : float
        Sigma of the blur of its flanks.
    extent_mm : (start, end) or None
        Image mm from the top; None is the whole length.
    cause : str
        For the record.
    """

    at_mm: float
    width_um: float
    contrast: float
    softness_um: float = 0.0
    channels: tuple[Channel, ...] = COLOURS
    extent_mm: tuple[float, float] | None = None
    cause: str = ""

    def profile(self, width_px: int, dpi: float) -> Floats:
        """Contrast averaged over each pixel column."""
        pitch = MM_PER_INCH / dpi
        border = np.arange(width_px + 1, dtype=np.float64) * pitch - self.at_mm
        half = self.width_um / 2000
        inside = _ramp(border + half, self.softness_um / 1000) - _ramp(
            border - half, self.softness_um / 1000
        )
        return np.asarray(self.contrast * np.diff(inside) / pitch)


def _ramp(x: Floats, sigma: float) -> Floats:
    """Integral of a step at 0 blurred by a Gaussian."""
    if sigma == 0:
        return np.maximum(x, 0.0)
    z = x / sigma
    share = np.array([0.5 * (1 + math.erf(value / math.sqrt(2))) for value in z])
    bell = np.exp(-0.5 * np.minimum(z**2, 1400)) / math.sqrt(2 * math.pi)
    return np.asarray(x * share + sigma * bell)


@dataclass(frozen=True, slots=True)
class Dust:
    """A speck on the glass: stays while the paper moves."""

    at_mm: Point
    diameter_um: float
    contrast: float

    def outline_mm(self) -> Floats:
        """Polygon in image mm."""
        angle = np.linspace(0, 2 * math.pi, 24, endpoint=False)
        radius = self.diameter_um / 2000
        ring = np.stack([np.cos(angle), np.sin(angle)], axis=1) * radius
        return np.asarray(ring + np.asarray(self.at_mm))


@dataclass(frozen=True, slots=True)
class Scratch:
    """A straight scratch in the glass."""

    start_mm: Point
    end_mm: Point
    width_um: float
    contrast: float

    def outline_mm(self) -> Floats:
        """Polygon in image mm."""
        start, end = np.asarray(self.start_mm), np.asarray(self.end_mm)
        along = (end - start) / np.hypot(*(end - start))
        side = np.array([-along[1], along[0]]) * self.width_um / 2000
        return np.array([start - side, end - side, end + side, start + side])


@dataclass(frozen=True, slots=True)
class Banding:
    """Level that swings along travel: ``1 + amplitude · sin(2π y / period + phase)``."""

    amplitude: float
    period_mm: float
    phase: float = 0.0


@dataclass(frozen=True, slots=True)
class Flicker:
    """Light that swings in time: each scan begins at another phase.

    Attributes
    ----------
    amplitude : float
        Share of the light, half of crest to trough.
    hertz : float
        Frequency; how many mm it makes depends on the time of a line.
    wander : float
        Radians (rms) by which the phase strays from line to line, as a random walk: 0 is a steady
        frequency, 0.5 and more is irregular.
    """

    amplitude: float
    hertz: float
    wander: float = 0.0

    def light(self, time_s: Floats, rng: np.random.Generator) -> Floats:
        """Share of light at the times of consecutive lines."""
        phase = rng.uniform(0, 2 * math.pi) + 2 * math.pi * self.hertz * time_s
        phase += np.cumsum(self.wander * rng.standard_normal(len(time_s)))
        return np.asarray(1 + self.amplitude * np.sin(phase))


@dataclass(frozen=True, slots=True)
class Haze:
    """Veiling glare: a share of the light strays, from mirrors or glass that are not clean.

    Attributes
    ----------
    share : float
        Of the light of each place that is spread.
    reach_mm : float
        Sigma of the Gaussian over which it is spread.
    surround : float
        Light of what lies around the image (the frame), against white.
    """

    share: float
    reach_mm: float = 8.0
    surround: float = 0.3
