"""Predicted file sizes against files that were really written."""

import math

import numpy as np
import pytest
from skimage import data

from scanqa.scans.array import ArrayScan
from scanqa.scans.compressed import FORMATS, bytes_per_pixel
from scanqa.scans.save import save_jpeg, save_png, save_tiff

SHARE = 0.05  # of the size: strips are a sample of the page


def page(noise, seed=4, bits=8):
    """A photographed page of print (scikit-image's), tiled to a page's size, with grain."""
    rng = np.random.default_rng(seed)
    tiled = np.tile(data.page(), (8, 5))[:1500, :1800].astype(float)
    grain = rng.normal(0, noise, (*tiled.shape, 3))
    light = (tiled[..., None] + grain).clip(0, 255)
    return light.round().astype(np.uint8) if bits == 8 else (light * 257).astype(np.uint16)


def written(path, pixels):
    save_png(path / "p.png", pixels, 300)
    save_tiff(path / "p.tif", pixels, 300, compression="deflate")
    save_jpeg(path / "p.jpg", pixels, 300, quality=90)
    return [(path / name).stat().st_size for name in ("p.png", "p.tif", "p.jpg")]


@pytest.mark.parametrize("noise", [1.0, 4.0])
def test_sizes_are_those_of_the_files(noise, tmp_path):
    pixels = page(noise)
    found = bytes_per_pixel(ArrayScan(pixels, dpi=(300.0, 300.0)), what="a page")
    for name, size in zip(FORMATS, written(tmp_path, pixels), strict=True):
        predicted = found[name].bytes * pixels.shape[0] * pixels.shape[1]
        assert predicted == pytest.approx(size, rel=SHARE), name


@pytest.mark.parametrize("sigma", [1.0, 4.0])
def test_lossless_files_of_pure_grain_take_its_entropy(sigma):
    # Shannon: codes of a normal distribution with sd σ carry log2(σ √(2πe)) bits each; no lossless
    # file is smaller; few symbols leave a deflater room for a quarter more.
    pixels = np.random.default_rng(8).normal(128, sigma, (800, 800, 3)).round().astype(np.uint8)
    entropy = 3 * math.log2(sigma * math.sqrt(2 * math.pi * math.e)) / 8  # bytes for each pixel
    found = bytes_per_pixel(ArrayScan(pixels), what="grain")
    assert 0.99 * entropy < found[FORMATS[0]].bytes < 1.4 * entropy
    assert entropy < found[FORMATS[1]].bytes < 1.7 * entropy  # differences have √2 the grain
    assert "grain" in found[FORMATS[0]].basis


def test_sixteen_bits_are_counted_as_eight():
    eight = bytes_per_pixel(ArrayScan(page(2.0)), what="p")
    sixteen = bytes_per_pixel(ArrayScan(page(2.0, bits=16)), what="p")
    for name in FORMATS:
        # 16 bits are cut off, not rounded: half a step darker, the same grain
        assert sixteen[name].bytes == pytest.approx(eight[name].bytes, rel=0.03)


def test_a_tiny_grey_image_has_one_part_and_no_scatter():
    found = bytes_per_pixel(ArrayScan(np.full((20, 30), 200, np.uint8)), what="p")
    assert all(size.uncertainty is None and size.bytes > 0 for size in found.values())
