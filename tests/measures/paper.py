"""Blank paper under made-up light, in a few lines of numpy: no simulator, no reader."""

import numpy as np

from scanqa.model import Linear, Placement
from scanqa.scans.array import ArrayScan
from scanqa.scans.overview import overview

MM = 25.4


def srgb_curve(bits=8):
    """IEC 61966-2-1, light of each code."""
    v = np.arange(2**bits) / (2**bits - 1)
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4)


def srgb_code(light):
    light = np.clip(light, 0, 1)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def grid_mm(width_mm, height_mm, dpi):
    """Centres of the pixels in image mm: x (1, columns), y (rows, 1)."""
    cols, rows = round(width_mm * dpi / MM), round(height_mm * dpi / MM)
    return (np.arange(cols)[None] + 0.5) * MM / dpi, (np.arange(rows)[:, None] + 0.5) * MM / dpi


def placed(light, dpi, *, role="blank", noise=0.0, seed=1, bits=8, name="blank.tif", **more):
    """Light (rows, columns[, channels]) as a scan in sRGB codes with white noise, and its frame."""
    noisy = light + noise * np.random.default_rng(seed).standard_normal(light.shape)
    top = 2**bits - 1
    codes = np.rint(top * srgb_code(noisy)).astype(np.uint8 if bits == 8 else np.uint16)
    return placed_codes(codes, dpi, role=role, name=name, **more)


def placed_codes(codes, dpi, *, role="blank", name="blank.tif", **more):
    scan = ArrayScan(codes, name=name, dpi=(dpi, dpi))
    curves = np.tile(srgb_curve(scan.bits), (scan.channels, 1)).astype(np.float32)
    light = Linear(curves, "stated curve")
    return Placement(scan, overview(scan), light, role, (dpi, dpi), "file", **more)


def value(results, name):
    (found,) = results.named(name)
    return found.value
