"""Blank scans with known faults, in a few lines of numpy: no part of the package makes them."""

import numpy as np
from scipy import ndimage

from scanqa.model import Linear, Placement
from scanqa.scans.array import ArrayScan
from scanqa.scans.overview import overview

MM = 25.4
PAPER = 0.82  # light of the paper


def srgb_light(code):
    """IEC 61966-2-1, code 0..1 to light."""
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def srgb_code(light):
    """IEC 61966-2-1, light to code 0..1."""
    light = np.clip(light, 0.0, 1.0)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


def grain(shape, rng, sigma_px=1.2):
    """Paper texture of unit rms: white noise under a Gaussian, so neighbours resemble."""
    white = rng.standard_normal(shape, np.float32)
    smooth = ndimage.gaussian_filter(white, sigma_px)
    return smooth / smooth.std()


def light_of_paper(seed, shape, *, dpi, texture=0.01, pattern=0.0, curl=True):
    """Texture, falloff, curled shading, edge shadows on two sides, column pattern (fractions)."""
    rng = np.random.default_rng(seed)
    rows, columns = shape
    y_mm = (np.arange(rows, dtype=np.float32)[:, None] + 0.5) * MM / dpi
    x_mm = (np.arange(columns, dtype=np.float32)[None] + 0.5) * MM / dpi
    light = PAPER * (1 - 0.08 * (2 * x_mm / x_mm.max() - 1) ** 2 - 0.03 * y_mm / y_mm.max())
    if curl:
        light = light * (1 + 0.02 * np.sin(2 * np.pi * x_mm / 70 + y_mm / 60))
        light = light * (1 - 0.15 * np.exp(-x_mm / 2.5)) * (1 - 0.2 * np.exp(-y_mm / 3))
    light = light * (1 + texture * grain(shape, rng))
    light = light * (1 + pattern * rng.standard_normal(columns))[None]
    return light.astype(np.float32), rng


def scanned(light, rng, *, dpi, noise=0.006, channels=1, bits=8, name="blank.tif", gains=None):
    """Add temporal noise (fraction of full scale), the sRGB curve and whole codes; place it.

    `gains` (rows or 1, columns or 1, channels) multiplies the light of each channel.
    """
    dtype = np.uint8 if bits == 8 else np.uint16
    top = 2**bits - 1
    pixels = np.empty((*light.shape, channels), dtype)
    for channel in range(channels):
        plane = light if gains is None else light * gains[..., channel]
        plane = plane + noise * rng.standard_normal(light.shape, np.float32)
        pixels[..., channel] = np.round(srgb_code(plane) * top)
    return placed(pixels, dpi=dpi, name=name)


def placed(pixels, *, dpi, name="blank.tif", role="blank"):
    scan = ArrayScan(pixels, name=name, dpi=(dpi, dpi))
    curve = srgb_light(np.arange(2**scan.bits) / (2**scan.bits - 1)).astype(np.float32)
    linear = Linear(np.repeat(curve[None], scan.channels, axis=0), "sRGB assumed")
    return Placement(scan, overview(scan), linear, role, (dpi, dpi), "file")
