from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from scanqa.numeric.lightness import CLIPPED, code_luma, light_of, lstar, luma

# CIE 15: see tests/external/README.md.
PERCENT, LIGHTNESS, _ = np.loadtxt(
    Path(__file__).parents[1] / "external" / "cie_lstar.csv", delimiter=",", skiprows=2
).T


def test_lightness_is_the_published_one():
    np.testing.assert_allclose(lstar(PERCENT / 100), LIGHTNESS, atol=6e-5)  # four decimals


def test_light_is_the_inverse_of_lightness():
    np.testing.assert_allclose(light_of(LIGHTNESS), PERCENT / 100, rtol=2e-5)
    light = np.linspace(0, 1.2, 50)
    np.testing.assert_allclose(light_of(lstar(light)), light, atol=1e-12)


def test_light_below_black_is_black():
    assert lstar(-0.01) == 0
    assert light_of(-1.0) == 0


def test_luma_of_grey_is_the_grey():
    grey = np.full((2, 3, 3), 0.4)
    assert luma(grey) == pytest.approx(0.4)  # the BT.709 weights add to 1
    assert luma(grey[..., :1]) == pytest.approx(0.4)


def test_luma_of_codes_is_that_of_jpeg():
    """Pillow's grey is ITU-R 601-2 luma, rounded to a whole code."""
    codes = np.random.default_rng(4).integers(0, 256, (40, 50, 3)).astype(np.uint8)
    grey = np.asarray(Image.fromarray(codes).convert("L"), float)
    assert code_luma(codes) == pytest.approx(grey, abs=0.51)
    assert code_luma(codes[..., :1]) == pytest.approx(codes[..., 0])


def test_the_straight_part_meets_the_cube_root_at_8():
    """ISO/CIE 11664-4: up to (6/29)³ L* is (29/3)³ Y."""
    at = (6 / 29) ** 3
    assert lstar(at) == pytest.approx(8.0, abs=1e-12)
    assert light_of(8.0) == pytest.approx(at, abs=1e-15)
    for y in (0.0, 0.001, 0.004, 0.0088):
        assert lstar(y) == pytest.approx(y * 24389 / 27, abs=1e-12)
        assert light_of(float(lstar(y))) == pytest.approx(y, abs=1e-14)
    assert lstar(0.0090) == pytest.approx(116 * 0.0090 ** (1 / 3) - 16, abs=1e-12)


def test_clipped_is_half_a_code_below_the_top():
    """The light of code 254.5 of 255 in sRGB (IEC 61966-2-1)."""
    assert pytest.approx(((254.5 / 255 + 0.055) / 1.055) ** 2.4, abs=5e-4) == CLIPPED
