"""A page of print as a lens and a sensor see it; none of the package takes part but its types."""

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from scipy import ndimage

from scanqa.model import Placement
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear
from scanqa.scans.overview import overview

WORDS = ("nursery", "apple", "damson", "quince", "graft", "scion", "catalogue", "price")
OVER = 3  # fine pixels to a sample, each way


def page(
    rng,
    height=512,
    width=640,
    *,
    blur_px=0.6,
    noise=1.0,
    screen_px=None,
    tilt_deg=None,
    screen_deg=None,
    pitch_px=None,
):
    """Native samples, uint8: words of several sizes, paper grain, perhaps a halftone.

    With `pitch_px` all lines of text have one size and this distance, as in a book.
    """
    fine = Image.new("L", (width * OVER, height * OVER), 238)
    draw = ImageDraw.Draw(fine)
    top = 10
    while top < height * OVER - 40:
        size = int(rng.integers(36, 130)) if pitch_px is None else int(0.75 * pitch_px * OVER)
        font = ImageFont.load_default(size=size)
        left = int(rng.integers(0, 150))
        while left < width * OVER:
            word = str(rng.choice(WORDS))
            draw.text((left, top), word, fill=int(rng.integers(20, 90)), font=font)
            left += int(font.getlength(word) + 0.3 * size)
        top += int(1.3 * size) if pitch_px is None else round(pitch_px * OVER)
    turn = float(rng.uniform(-1, 1)) if tilt_deg is None else tilt_deg
    tilted = fine.rotate(turn, Image.Resampling.BILINEAR, fillcolor=238)
    light = np.asarray(tilted, np.float32)
    if screen_px is not None:
        light = np.minimum(light, _screen(rng, light.shape, screen_px, screen_deg))
    grain = ndimage.gaussian_filter(rng.standard_normal(light.shape, np.float32), 5) * 30
    light = ndimage.gaussian_filter(light + grain, blur_px * OVER)
    light = light.reshape(height, OVER, width, OVER).mean(axis=(1, 3))
    return as_codes(light + rng.normal(0, noise, light.shape))


def _screen(rng, shape, screen_px, screen_deg):
    y, x = np.ogrid[: shape[0], : shape[1]]
    y, x = np.float32(y / OVER), np.float32(x / OVER)
    angle = rng.uniform(0, np.pi / 2) if screen_deg is None else np.radians(screen_deg)
    u, v = np.cos(angle) * x + np.sin(angle) * y, np.cos(angle) * y - np.sin(angle) * x
    height = np.cos(2 * np.pi * u / screen_px) + np.cos(2 * np.pi * v / screen_px)
    return np.where((height > 0.4) & (y > shape[0] / OVER / 2), np.float32(70), np.float32(255))


def as_codes(values):
    return np.clip(np.round(values), 0, 255).astype(np.uint8)


def placed(pixels, *, dpi=(600.0, 600.0), name="page.tif", **facts):
    scan = ArrayScan(pixels, name=name, dpi=dpi, **facts)
    return Placement(scan, overview(scan), linear(scan), "claim", dpi, "file")
