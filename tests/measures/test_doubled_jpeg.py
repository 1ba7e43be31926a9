"""Pages doubled by Pillow and saved as JPEG: a trace or an open range, never a sure factor of 1.

Truth: the page is doubled here by Pillow's own resampling and saved by its own encoder (libjpeg).
JPEG works on blocks of 8 × 8 (ITU-T T.81, A.1.1), so that factors 8/k are those of its grid too.
"""

import io

import numpy as np
import pytest
from PIL import Image

from scanqa.findings.signs.by_driver import claim as made_up
from scanqa.measures import claim
from scanqa.model import Told
from scanqa.summary import summarise
from tests.measures.printed_page import page, placed

KERNELS = {
    "pixel repeat": Image.Resampling.NEAREST,
    "bilinear": Image.Resampling.BILINEAR,
    "bicubic": Image.Resampling.BICUBIC,
}
QUALITIES = (60, 75, 90)
# Elsewhere JPEG alone may leave as much at its grid as the doubling does: the range stays open.
TOLD = {("pixel repeat", q) for q in QUALITIES} | {("bilinear", 75), ("bilinear", 90)}
TOLD |= {("bicubic", q) for q in (75, 90)}


def through_jpeg(pixels, quality):
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "JPEG", quality=quality)
    return np.asarray(Image.open(buffer))


def doubled(native, kernel):
    height, width = native.shape
    return np.asarray(Image.fromarray(native).resize((2 * width, 2 * height), KERNELS[kernel]))


def across(pixels, **facts):
    """Factor and native fraction."""
    results = claim.measure([placed(pixels, **facts)], Told())
    found = [m for m in results.measurements if m.direction == "across"]
    factor, fraction = (next(m for m in found if m.name == name) for name in NAMES)
    if factor.low is not None:  # each end of the one is 1 over the other end of the other
        assert fraction.low == pytest.approx(1 / factor.high)
        assert fraction.high == pytest.approx(1 / factor.low)
    return factor, results


NAMES = ("claim.factor", "claim.native_fraction")


def signs(results):
    return dict(made_up(summarise(results.measurements)))


@pytest.fixture(scope="module")
def crisp():
    return page(np.random.default_rng(31), 160, 900, blur_px=0.5, noise=1.0)


@pytest.mark.parametrize("quality", QUALITIES)
@pytest.mark.parametrize("kernel", KERNELS)
def test_a_doubling_saved_as_jpeg_is_never_a_sure_one(crisp, kernel, quality):
    factor, results = across(through_jpeg(doubled(crisp, kernel), quality), lossy=True)
    assert factor.status == "between"
    assert factor.low <= 2 <= factor.high
    found = signs(results)
    if (kernel, quality) in TOLD:
        assert factor.value == pytest.approx(2, rel=0.03)
        assert factor.reason_kind == "unclear"
        assert "trace of resampling, factor not certain" in factor.reason
        (seen,) = found["resampled"]
        assert seen.severity == "warning"  # a factor that is not certain is no fault
    else:
        assert factor.reason_kind in ("compression", "unclear")
    assert not found.get("invented")


@pytest.mark.parametrize("quality", QUALITIES)
def test_repeated_pixels_are_told_of_a_soft_page_too(quality):
    soft = page(np.random.default_rng(32), 160, 900, blur_px=1.3, noise=1.0)
    factor, _ = across(through_jpeg(doubled(soft, "pixel repeat"), quality), lossy=True)
    assert factor.value == pytest.approx(2, rel=0.03)
    assert "nearest" in factor.reason


NATIVE = {
    "crisp": {"blur_px": 0.4},
    "soft": {"blur_px": 1.5},
    "very soft and clean": {"blur_px": 2.8, "noise": 0.4},
    "screen": {"blur_px": 0.8, "screen_px": 7.0},
    "screen of 8 px": {"blur_px": 0.6, "screen_px": 8.0, "screen_deg": 0.0},
}


@pytest.mark.parametrize("quality", QUALITIES)
@pytest.mark.parametrize("kind", NATIVE)
def test_a_native_page_saved_as_jpeg_shows_no_trace_and_stays_open(kind, quality):
    pixels = page(np.random.default_rng(33), 256, 1700, **NATIVE[kind])
    factor, results = across(through_jpeg(pixels, quality), lossy=True)
    assert factor.value == 1
    assert (factor.status, factor.low, factor.reason_kind) == ("between", 1, "compression")
    assert factor.high >= 2  # what JPEG may hide is not denied
    found = signs(results)
    assert "resampled" not in found
    assert not found.get("invented")


def test_jpeg_saved_as_tiff_hides_as_much(crisp):
    """The file says nothing of it, the steps of its coefficients do."""
    factor, _ = across(through_jpeg(doubled(crisp, "bilinear"), 75), lossy=False)
    assert factor.status == "between"
    assert "trace of resampling, factor not certain" in factor.reason
    native = page(np.random.default_rng(33), 256, 1700, blur_px=0.5)
    factor, _ = across(through_jpeg(native, 75), lossy=False)
    assert (factor.value, factor.status) == (1, "between")


def test_a_period_of_two_alone_is_a_trace_whose_factor_is_not_certain():
    """Doubled, then of hard contrast, cut off at both ends: no kernel's space holds the lines."""
    native = page(np.random.default_rng(34), 160, 900, blur_px=0.6, noise=1.0)
    twice = Image.fromarray(doubled(native, "bicubic"))
    factor, results = across(np.asarray(twice.point(lambda code: 2.2 * (code - 128) + 128)))
    assert factor.status == "between"
    assert factor.low < 2 <= factor.high
    assert "factor not certain" in factor.reason
    assert "resampled" in signs(results)
