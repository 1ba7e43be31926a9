"""A scanner without faults and scenes of a few shapes, for looking at one effect at a time."""

import math
from dataclasses import dataclass, replace

import numpy as np

from scanqa.simulate.coverage import Shape
from scanqa.simulate.exposure import scan
from scanqa.simulate.scanner import Lamp, Optics, Output, Scanner, Sensor
from scanqa.simulate.scenes import Laid, Paper

SILENT = Sensor(
    full_well_e=math.inf, read_noise_e=0.0, calibration_lines=math.inf, column_pattern=0.0
)
WHITE = Paper(reflectance=0.8, tint=(1.0, 1.0, 1.0), texture=0.0)
PERFECT = Scanner(
    name="bench",
    glass_mm=(12.7, 12.7),  # 150 × 150 pixels at 300 dpi
    optics=Optics(35.0, 50.0),
    lamp=Lamp(vignetting=0.0),
    sensor=SILENT,
    output=Output(tone="linear", bits=16),
    white_reflectance=1.0,
    black_light=0.0,
)


def changed(**fields):
    return replace(PERFECT, **fields)


def light(scene, scanner=PERFECT, *, dpi=300, seed=1):
    """Linear light (rows, columns, 3) of a 16-bit linear scan, and its truth."""
    simulated = scan(scene, scanner, dpi=dpi, rng=np.random.default_rng(seed))
    assert simulated.pixels.dtype == np.uint16
    return simulated.pixels / 65535, simulated.truth


@dataclass(frozen=True)
class Shapes:
    """Shapes in glass mm, reflectance 0.8 around them."""

    rings: tuple
    reflectance: float = 0.1
    paper: Paper = WHITE

    def lay(self, glass_mm):
        shapes = tuple(Shape((np.asarray(r, float),), self.reflectance) for r in self.rings)
        return Laid(0.8, self.paper, shapes)


@dataclass(frozen=True)
class Even:
    """One reflectance all over."""

    reflectance: float = 0.8

    def lay(self, glass_mm):
        return Laid(self.reflectance, replace(WHITE, reflectance=self.reflectance))
