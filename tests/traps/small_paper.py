"""Beds with paper that is smaller than the glass, made with a few lines of numpy and scipy.

Shares no code with the simulator or the measures: a rectangle of paper, turned a little, under a
lid of some lightness, with the shadow line of its edge, the frame's shadow, a lamp that falls off
toward both ends, sensor noise, and the sRGB curve of IEC 61966-2-1.
"""

from dataclasses import dataclass

import numpy as np
import tifffile
from scipy import ndimage

from tests.independent import srgb_encode

MM = 25.4


@dataclass(frozen=True)
class Bed:
    """Sizes in mm; `lid` is its reflectance, `line` the depth of the shadow at the paper's edge."""

    glass: tuple[float, float] = (216.0, 297.0)
    paper: tuple[float, float, float, float] = (0.0, 0.0, 210.0, 297.0)
    turn_deg: float = 0.0
    lid: float = 0.02
    line: float = 0.0
    frame: float = 0.3
    noise: float = 0.004


def light_of_bed(bed: Bed, *, dpi: float = 100.0, seed: int = 1):
    """Linear light, (rows, columns)."""
    width, height = (round(v / MM * dpi) for v in bed.glass)
    y, x = (np.mgrid[:height, :width] + 0.5) * MM / dpi
    left, top, right, bottom = bed.paper
    turn = np.deg2rad(bed.turn_deg)
    dx, dy = x - (left + right) / 2, y - (top + bottom) / 2
    u, v = dx * np.cos(turn) + dy * np.sin(turn), dy * np.cos(turn) - dx * np.sin(turn)
    inside = np.minimum((right - left) / 2 - np.abs(u), (bottom - top) / 2 - np.abs(v))
    light = np.where(inside > 0, 0.84, bed.lid)
    light = light * (1 - bed.line * np.exp(-np.abs(inside + 0.1) / 0.25))
    light = ndimage.gaussian_filter(light, 0.04 * dpi / MM)
    sides = (x, bed.glass[0] - x)
    for depth in sides:
        light *= 1 - bed.frame * np.exp(-depth / 1.0)
    light *= 1 - 0.06 * (2 * x / bed.glass[0] - 1) ** 2
    rng = np.random.default_rng(seed)
    paper = ndimage.gaussian_filter(rng.standard_normal(light.shape), 0.6) * 0.006
    light = light * (1 + paper) + bed.noise * rng.standard_normal(light.shape)
    return np.clip(light, 0, 1)


def write_light(path, light, *, dpi=100.0):
    """Save as an 8-bit grey TIFF."""
    codes = np.rint(255 * srgb_encode(light)).astype(np.uint8)
    tifffile.imwrite(path, codes, resolution=(dpi, dpi), resolutionunit="inch", metadata=None)
    return path
