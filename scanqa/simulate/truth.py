"""What a simulated scan should measure, in closed form or on a fine grid; no measure is used.

Frames and names are those of `scanqa.model`: image mm from the image's top-left corner, pixel
centres at whole numbers, ``across`` along the sensor line.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from scanqa.model import LUMA_WEIGHTS, MM_PER_INCH, Channel, Direction, Floats, Point, Side
from scanqa.simulate.device_faults import Dust, Scratch, Streak
from scanqa.simulate.laid import Lift
from scanqa.simulate.scanner import Scanner

_STEP_MM = 0.002  # grid on which depths are looked up


@dataclass(frozen=True, slots=True)
class Truth:
    """The truth of one simulated scan.

    Attributes
    ----------
    scanner : Scanner
        The device.
    dpi : (x, y)
        As asked for and as written in a file.
    size_px : (width, height)
        Of the delivered image.
    to_px : mapping of piece name to (2, 3) array
        Sheet mm to pixels, printer and scanner errors included.
    turn_deg : float
        Turn of the sheet's rows in the image, clockwise.
    paper_light : (r, g, b)
        Relative light of the paper (or of what covers the plate) far from shadows.
    lift : Lift or None
        Height of a book page.
    """

    scanner: Scanner
    dpi: tuple[float, float]
    size_px: tuple[int, int]
    paper_light: tuple[float, float, float]
    to_px: Mapping[str, Floats] = field(default_factory=dict)
    turn_deg: float = 0.0
    lift: Lift | None = None

    @property
    def true_dpi(self) -> tuple[float, float]:
        """Samples to the real inch."""
        return self.scanner.true_dpi(self.dpi)

    @property
    def skew_deg(self) -> float:
        """Turn left over after whole quarters, -45 … 45."""
        return (self.turn_deg + 45) % 90 - 45

    @property
    def size_mm(self) -> tuple[float, float]:
        """Image size in image mm."""
        width, height = self.size_px
        return width * MM_PER_INCH / self.dpi[0], height * MM_PER_INCH / self.dpi[1]

    @property
    def streaks(self) -> tuple[Streak, ...]:
        """Lines the device draws."""
        return self.scanner.streaks

    @property
    def marks(self) -> tuple[Dust | Scratch, ...]:
        """What lies on the glass."""
        return self.scanner.marks

    @property
    def paper_luma(self) -> float:
        """Luminance of the paper."""
        return float(np.dot(LUMA_WEIGHTS, self.paper_light))

    def dead_margin_mm(self, side: Side) -> float:
        """Glass that the sensor never sees; negative where the image goes on beyond the glass.

        An image of a given number of pixels covers less glass if the true dpi is higher.
        """
        if side in ("left", "top"):
            return self.scanner.margin_mm(side)
        axis = 0 if side == "right" else 1
        covered = self.size_px[axis] * MM_PER_INCH / self.true_dpi[axis]
        before = self.scanner.margin_mm("left" if axis == 0 else "top")
        return self.scanner.glass_mm[axis] - before - covered

    def sigma_um(self, at_mm: Point) -> tuple[float, float]:
        """Gaussian sigma across and along travel at a place of the image."""
        width, height = self.size_mm
        u = np.asarray(2 * at_mm[0] / width - 1)
        v = np.asarray(2 * at_mm[1] / height - 1)
        across, travel = self.scanner.optics.sigma_um(u, v, self.height_mm(at_mm))
        return float(across), float(travel)

    def height_mm(self, at_mm: Point) -> float:
        """Height of the page over the glass."""
        if self.lift is None:
            return 0.0
        width, height = self.size_mm
        x, y = at_mm
        inwards = {"left": x, "right": width - x, "top": y, "bottom": height - y}[self.lift.side]
        from_plate = inwards + self.scanner.margin_mm(self.lift.side)
        return float(self.lift.height_mm(np.asarray(from_plate)))

    def sfr(
        self,
        frequency_cy_mm: Floats,
        *,
        direction: Direction,
        at_mm: Point | None = None,
        slant_deg: float = 0.0,
        channel: Channel = "luma",
    ) -> Floats:
        """Spatial frequency response of optics and aperture, without processing.

        That of luma is lower than that of any channel if red or blue are misregistered.

        Parameters
        ----------
        frequency_cy_mm : array
            Normal to the edge, on the glass.
        direction : str
            Axis along which the response is wanted.
        at_mm : (x, y) or None
            Place in the image; None is its middle.
        slant_deg : float
            Angle of the edge's normal to that axis.
        channel : str
            Which response.
        """
        width, height = self.size_mm
        sigma = self.sigma_um((width / 2, height / 2) if at_mm is None else at_mm)
        native = self.scanner.output.native_dpi or self.dpi
        optics = self.scanner.optics
        aperture = (
            optics.aperture_across * MM_PER_INCH / native[0],
            optics.aperture_travel * MM_PER_INCH / native[1],
        )
        angle = math.radians(slant_deg)
        parts = (math.cos(angle), math.sin(angle))
        if direction == "travel":
            parts = parts[::-1]
        response = np.ones_like(frequency_cy_mm)
        for part, sigma_um, box_mm in zip(parts, sigma, aperture, strict=True):
            f = frequency_cy_mm * part
            response = response * np.exp(-2 * (math.pi * sigma_um / 1000 * f) ** 2)
            response = response * np.sinc(box_mm * f)
        if channel != "luma":
            return np.asarray(response)
        sensor = self.scanner.sensor
        together = np.zeros(np.shape(frequency_cy_mm), complex)
        for weight, moved in zip(
            LUMA_WEIGHTS, (sensor.red_px, (0, 0), sensor.blue_px), strict=True
        ):
            way = sum(
                px * MM_PER_INCH / d * p for px, d, p in zip(moved, native, parts, strict=True)
            )
            together += weight * np.exp(-2j * math.pi * frequency_cy_mm * way)
        return np.asarray(response * np.abs(together))

    def light_from(self, side: Side, distance_mm: Floats) -> Floats:
        """Share of light at distances from one side of the image: shadow, falloff, page lift."""
        light = self.scanner.light_from(side, distance_mm)
        if self.lift is not None and self.lift.side == side:
            height = self.lift.height_mm(distance_mm + self.scanner.margin_mm(side))
            light = light * self.scanner.lamp.lifted(height)
        return light

    def delta_L(self, side: Side, distance_mm: Floats) -> Floats:
        """How much darker (L*) the page is at distances from one side of the image."""
        paper = self.paper_luma
        return lstar(np.asarray(paper)) - lstar(paper * self.light_from(side, distance_mm))

    def depth_mm(self, side: Side, delta_L: float = 2.0) -> float:
        """Distance from the side at which the page is only `delta_L` darker; 0 if nowhere darker.

        For blank paper it is the depth of the edge shadow, for a book the gutter's reach.
        """
        across = self.size_mm[0 if side in ("left", "right") else 1]
        distance = np.arange(0, across / 2, _STEP_MM)
        darker = np.flatnonzero(self.delta_L(side, distance) > delta_L)
        return 0.0 if darker.size == 0 else float(distance[darker[-1]]) + _STEP_MM / 2

    def noise_sd(self, light: Floats, *, vignette: float = 0.0) -> Floats:
        """Standard deviation of light from photons and reading, behind white calibration.

        Parameters
        ----------
        light : array
            Relative light, 1 at the top of the scale.
        vignette : float
            Share of light lost at the place in the sensor line.
        """
        sensor = self.scanner.sensor
        share = self.scanner.lamp.level * (1 - vignette)
        photons = light / (sensor.full_well_e * share)
        reading = (sensor.read_noise_e / (sensor.full_well_e * share)) ** 2
        return np.asarray(np.sqrt(photons + reading))


def lstar(y: Floats) -> Floats:
    """CIE L* of relative light (CIE 15), written again here so that no measure checks itself."""
    low = y <= 216 / 24389
    return np.where(low, y * 24389 / 27, 116 * np.cbrt(np.maximum(y, 216 / 24389)) - 16)
