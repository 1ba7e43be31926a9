"""What a simulated scanner is: the properties of a device, none of a scan.

Two frames are used. *Glass* millimetres begin at the top-left corner of the glass plate; the
sensor sees all of it but its dead margins. *Image* millimetres begin at the top-left corner of
the delivered image and count nominal pixels, as everywhere in `scanqa.model`. Faults of the
device (streaks, marks, shadows) are given in image millimetres, things on the glass in glass
millimetres. Contrasts are signed shares of the light: -0.005 is half a percent darker.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from scanqa.model import MM_PER_INCH, Floats, Point, Side
from scanqa.simulate.device_faults import (
    Banding,
    Dust,
    Falloff,
    Flicker,
    Haze,
    Scratch,
    Shadow,
    Streak,
)

ToneCurve = Literal["srgb", "linear", "gamma-1.8", "gamma-2.2"]
Kernel = Literal["nearest", "linear", "cubic", "lanczos3"]


@dataclass(frozen=True, slots=True)
class Optics:
    """Blur of lens and sensor.

    Attributes
    ----------
    blur_across_um, blur_travel_um : float
        Gaussian sigma on the glass, where the focus is best.
    aperture_across, aperture_travel : float
        Width of the light-gathering box in native pixels (travel: the way of one line).
    tilt : (x, y)
        Direction, from the centre of the image, in which the focus is lost: (0.5, 0.5) is the
        bottom-right corner. The defocus grows linearly from 0 at the centre to `tilt_um` where
        ``x·u + y·v`` is 1, u and v being -1 … 1 over the image.
    tilt_um : float
        Sigma of that defocus, added in squares.
    focus_um_per_mm : float
        Sigma of defocus for each millimetre of height over the glass: some 10 for a lens and CCD,
        150 for a contact sensor (common practice, no source).
    """

    blur_across_um: float = 35.0
    blur_travel_um: float = 40.0
    aperture_across: float = 1.0
    aperture_travel: float = 1.0
    tilt: Point = (0.0, 0.0)
    tilt_um: float = 0.0
    focus_um_per_mm: float = 10.0

    def sigma_um(self, u: Floats, v: Floats, height_mm: Floats | float) -> tuple[Floats, Floats]:
        """Gaussian sigma across and along travel at places (u, v) in -1 … 1 of the image."""
        tilted = self.tilt_um * np.maximum(self.tilt[0] * u + self.tilt[1] * v, 0.0)
        defocus = tilted + self.focus_um_per_mm * np.asarray(height_mm)
        return np.hypot(self.blur_across_um, defocus), np.hypot(self.blur_travel_um, defocus)


@dataclass(frozen=True, slots=True)
class Lamp:
    """The light, as seen through automatic white calibration.

    Attributes
    ----------
    level : float
        Light against a new lamp. Calibration restores the level; the noise grows.
    vignetting : float
        Share of light lost at both ends of the sensor line, likewise restored (cosine-like).
    half_height_mm : float
        Height over the glass at which the light has halved: ``2 ** (-height / half_height)``.
    warm_up : float
        Share of light still missing when the lamp is switched on.
    settle_s : float
        Time in which what is missing falls to 1/e.
    on_for_s : float
        How long the lamp has been on when the scan begins.
    calibrated_at_s : float or None
        When white was last calibrated; None for just before the scan.
    """

    level: float = 1.0
    vignetting: float = 0.3
    half_height_mm: float = 12.0
    warm_up: float = 0.0
    settle_s: float = 60.0
    on_for_s: float = 300.0
    calibrated_at_s: float | None = None

    def warmth(self, time_s: Floats | float) -> Floats:
        """Share of the settled light, `time_s` after the lamp was switched on."""
        return np.asarray(1 - self.warm_up * np.exp(-np.asarray(time_s) / self.settle_s))

    def lifted(self, height_mm: Floats) -> Floats:
        """Share of light that reaches paper at a height over the glass."""
        return np.asarray(np.exp2(-height_mm / self.half_height_mm))


@dataclass(frozen=True, slots=True)
class Segments:
    """A contact sensor made of chips: each has its own gain, and a notch where two join."""

    pitch_mm: float = 18.0
    gain_rms: float = 0.001
    notch: float = 0.004


@dataclass(frozen=True, slots=True)
class Sensor:
    """Noise and fixed pattern.

    Attributes
    ----------
    full_well_e : float
        Electrons at the top of the scale with a new lamp in the middle of the line; sets the
        photon noise.
    read_noise_e : float
        Electrons, one sigma.
    calibration_lines : float
        Lines averaged in white calibration; its noise draws a faint column pattern, new in each
        scan. `math.inf` for none.
    column_pattern : float
        Share (rms) of gain that differs from column to column in every scan.
    segments : Segments or None
        For a contact sensor.
    red_px, blue_px : (x, y)
        How far red and blue marks come out against green, in native pixels.
    """

    full_well_e: float = 60_000.0
    read_noise_e: float = 25.0
    calibration_lines: float = 256.0
    column_pattern: float = 0.0005
    segments: Segments | None = None
    red_px: Point = (0.0, 0.0)
    blue_px: Point = (0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Output:
    """What the driver does before it hands the image over.

    Attributes
    ----------
    tone : str
        Curve from light to code.
    bits : int
        8 or 16.
    native_dpi : (across, travel) or None
        What the device samples; the rest is interpolated by `kernel`. None: as asked for.
    kernel : str
        Interpolation kernel (cubic is Keys' with a = -0.5).
    sharpen : float
        Amount of unsharp masking on codes (0 none).
    sharpen_sigma_px : float
        Its Gaussian.
    smooth_sigma_px : float
        Gaussian by which grain is smoothed away on codes (0 none), before sharpening.
    auto_levels : (black, white) or None
        Shares of samples pushed to the ends of the scale by a stretch of each channel.
    jpeg_quality : int or None
        Lossy compression of the delivered file.
    """

    tone: ToneCurve = "srgb"
    bits: Literal[8, 16] = 8
    native_dpi: tuple[float, float] | None = None
    kernel: Kernel = "cubic"
    sharpen: float = 0.0
    sharpen_sigma_px: float = 1.0
    smooth_sigma_px: float = 0.0
    auto_levels: tuple[float, float] | None = None
    jpeg_quality: int | None = None

    def __post_init__(self) -> None:
        if self.jpeg_quality is not None and self.bits != 8:
            raise ValueError("a JPEG has 8 bits a sample")


@dataclass(frozen=True, slots=True)
class Scanner:
    """A flatbed scanner.

    Attributes
    ----------
    glass_mm : (width, height)
        Of the plate; width along the sensor line.
    dead_margin_mm : mapping of side to mm
        Glass that the sensor never sees; the image begins that much later.
    scale_error : (across, travel)
        Share by which there are more samples to the real millimetre than the dpi says.
    skew_deg : float
        Turn of sensor line and travel together against the frame that paper is pushed against,
        clockwise in the image.
    shear_deg : float
        Departure of the travel from a right angle to the sensor line: the image's columns lean
        by it, to the right going down.
    white_reflectance : float
        Reflectance that comes out at the top of the scale.
    black_light : float
        Light given to black: stray light and offset.
    line_time_s : float
        Time for one line.
    seed : int
        Of the fixed pattern, which belongs to the device.
    """

    name: str
    glass_mm: tuple[float, float] = (216.0, 300.0)
    dead_margin_mm: Mapping[Side, float] = field(default_factory=dict)
    shadows: Mapping[Side, Shadow] = field(default_factory=dict)
    falloff: Mapping[Side, Falloff] = field(default_factory=dict)
    optics: Optics = Optics()
    lamp: Lamp = Lamp()
    sensor: Sensor = Sensor()
    streaks: tuple[Streak, ...] = ()
    marks: tuple[Dust | Scratch, ...] = ()
    banding: Banding | None = None
    flicker: Flicker | None = None
    haze: Haze | None = None
    scale_error: tuple[float, float] = (0.0, 0.0)
    skew_deg: float = 0.0
    shear_deg: float = 0.0
    white_reflectance: float = 0.92
    black_light: float = 0.001
    line_time_s: float = 0.004
    output: Output = Output()
    seed: int = 1

    def margin_mm(self, side: Side) -> float:
        """Dead margin of a side, 0 if it has none."""
        return self.dead_margin_mm.get(side, 0.0)

    def seen_mm(self) -> tuple[float, float]:
        """Width and height of what the sensor sees."""
        return (
            self.glass_mm[0] - self.margin_mm("left") - self.margin_mm("right"),
            self.glass_mm[1] - self.margin_mm("top") - self.margin_mm("bottom"),
        )

    def size_px(self, dpi: tuple[float, float]) -> tuple[int, int]:
        """Width and height of an image."""
        width, height = self.seen_mm()
        return round(width * dpi[0] / MM_PER_INCH), round(height * dpi[1] / MM_PER_INCH)

    def true_dpi(self, dpi: tuple[float, float]) -> tuple[float, float]:
        """Samples to the real inch when `dpi` is asked for."""
        return dpi[0] * (1 + self.scale_error[0]), dpi[1] * (1 + self.scale_error[1])

    def glass_to_px(self, dpi: tuple[float, float]) -> NDArray[np.float64]:
        """Affine (2, 3) map from glass mm to pixels (centres at whole numbers)."""
        across, travel = (d / MM_PER_INCH for d in self.true_dpi(dpi))
        turn = math.radians(self.skew_deg)
        rotate = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        lean = np.array([[1.0, math.tan(math.radians(self.shear_deg))], [0.0, 1.0]])
        linear = np.diag([across, travel]) @ lean @ rotate
        corner = np.array([self.margin_mm("left"), self.margin_mm("top")])
        return np.column_stack([linear, -linear @ corner - 0.5])

    def light_from(self, side: Side, distance_mm: Floats) -> Floats:
        """Share of light at distances from one side of the image: its shadow and its falloff."""
        light = np.ones_like(distance_mm)
        if side in self.shadows:
            light = light * self.shadows[side].light(distance_mm)
        if side in self.falloff:
            light = light * self.falloff[side].light(distance_mm)
        return light
