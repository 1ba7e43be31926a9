"""Pages enlarged by Pillow, OpenCV and scipy are found out; pages that were not are left alone."""

import io

import cv2
import numpy as np
import pytest
from PIL import Image, ImageFilter
from scipy import ndimage

from scanqa.measures import claim
from scanqa.measures.claim.kernels import KERNELS
from scanqa.model import Told
from tests.measures.printed_page import as_codes, page, placed

FACTOR = 0.03  # relative; what the tool promises. It is met a hundred times over
PILLOW = {
    "nearest": Image.Resampling.NEAREST,
    "linear": Image.Resampling.BILINEAR,
    "cubic": Image.Resampling.BICUBIC,
    "Lanczos": Image.Resampling.LANCZOS,
}
OPENCV = {
    "nearest": cv2.INTER_NEAREST,
    "linear": cv2.INTER_LINEAR,
    "cubic": cv2.INTER_CUBIC,
    "Lanczos": cv2.INTER_LANCZOS4,
}
ORDER = {"nearest": 0, "linear": 1, "cubic": 3}


@pytest.fixture(scope="module")
def native():
    """Wide enough for the 18 stretches that are needed at a factor of 1.2."""
    return page(np.random.default_rng(11), 400, 1536)


def enlarge(pixels, across, travel, kernel, by):
    height, width = (round(n * f) for n, f in zip(pixels.shape, (travel, across), strict=True))
    if by == "Pillow":
        return np.asarray(Image.fromarray(pixels).resize((width, height), PILLOW[kernel]))
    if by == "OpenCV":
        return cv2.resize(pixels, (width, height), interpolation=OPENCV[kernel])
    zoomed = ndimage.zoom(pixels.astype(float), (travel, across), order=ORDER[kernel])
    return as_codes(zoomed)


def through_jpeg(pixels, quality=90):
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "JPEG", quality=quality)
    return np.asarray(Image.open(buffer))


def factors(pixels, **facts):
    """Measurement of each direction that is long enough."""
    results = claim.measure([placed(pixels, **facts)], Told())
    found = {m.direction: m for m in results.named("claim.factor")}
    for share in results.named("claim.native_fraction"):
        factor = found[share.direction]
        assert share.value == pytest.approx(1 / factor.value)
        if factor.uncertainty is not None:  # the share of a factor is as uncertain
            relative = factor.uncertainty / factor.value
            assert share.uncertainty == pytest.approx(share.value * relative)
    return found


def across(pixels, **facts):
    return factors(pixels, **facts)["across"]


CASES = [
    ("nearest", 2, "OpenCV", None),
    ("nearest", 3, "Pillow", None),
    ("nearest", 2.4, "OpenCV", 90),
    ("linear", 1.2, "Pillow", None),
    ("linear", 4, "OpenCV", None),
    ("linear", 1.37, "scipy", 90),
    ("cubic", 1.5, "Pillow", None),
    ("cubic", 3, "OpenCV", 90),
    ("cubic", 2.4, "scipy", None),
    ("Lanczos", 1.2, "Pillow", None),
    ("Lanczos", 2, "OpenCV", None),
    ("Lanczos", 3, "Pillow", 90),
]


@pytest.mark.parametrize(("kernel", "factor", "by", "quality"), CASES, ids=str)
def test_an_enlarged_page_is_found_out_with_factor_and_kernel(native, kernel, factor, by, quality):
    pixels = enlarge(native, factor, factor, kernel, by)[:600, :2200]
    if quality:
        pixels = through_jpeg(pixels, quality)
    found = across(pixels, lossy=bool(quality))
    assert found.value == pytest.approx(factor, rel=FACTOR)
    assert 0 < found.uncertainty < 0.001
    assert f"{kernel} interpolation" in found.reason
    assert f"from about {600 / found.value:.0f} to 600 dpi" in found.reason


def test_the_uncertainty_of_a_factor_covers_it(native):
    pulls = []
    for factor in (1.3, 1.37, 1.61, 1.8, 2.2, 2.4, 2.7, 3.1):
        pixels = enlarge(native, factor, factor, "cubic", "OpenCV")[:500]
        truth = pixels.shape[1] / native.shape[1]  # a whole number of samples
        found = across(pixels)
        pulls.append((found.value - truth) / found.uncertainty)
    # frequencies are searched on a grid, so errors are spread evenly rather than normally
    assert 0.5 < np.sqrt(np.mean(np.square(pulls))) < 1.3
    assert np.abs(pulls).max() < 2


def test_linear_and_cubic_at_exactly_twice_are_not_told_apart(native):
    """Keys' weights at 1/4 are linear's, filtered alike: (-9, 111, 29, -3)/128 = (3, 1)/4 * s."""
    smooth = np.convolve([0.75, 0.25], np.array([-12, 152, -12]) / 128)
    np.testing.assert_allclose(smooth, np.array([-9, 111, 29, -3]) / 128)
    np.testing.assert_allclose(
        KERNELS["cubic -0.5"].weights(np.array([-1.25, -0.25, 0.75, 1.75])), smooth
    )
    for kernel in ("linear", "cubic"):
        found = across(enlarge(native, 2, 2, kernel, "Pillow")[:600, :2000])
        assert found.value == pytest.approx(2, rel=FACTOR)
        assert "linear or cubic" in found.reason


def test_lines_doubled_along_the_travel_leave_the_other_direction_alone(native):
    doubled = np.repeat(page(np.random.default_rng(12), 900, 1800), 2, axis=0)
    found = factors(doubled, dpi=(600.0, 1200.0))
    assert found["travel"].value == pytest.approx(2, rel=FACTOR)
    assert "nearest interpolation from about 600 to 1200 dpi" in found["travel"].reason
    assert found["across"].value == 1
    turned = factors(doubled.T, dpi=(1200.0, 600.0))
    assert turned["across"].value == pytest.approx(2, rel=FACTOR)
    assert "from about 600 to 1200 dpi" in turned["across"].reason
    assert turned["travel"].value == 1


def test_colour_and_16_bits_are_read_as_well(native):
    pixels = enlarge(native, 1.5, 1.5, "cubic", "scipy")[:400].astype(np.uint16) * 257
    found = across(np.dstack([pixels, pixels, pixels]))
    assert found.value == pytest.approx(1.5, rel=FACTOR)


NATIVE = {
    "crisp": {"blur_px": 0.3},
    "soft": {"blur_px": 1.5},
    "very soft and clean": {"blur_px": 2.5, "noise": 0.3},
    "noisy": {"noise": 4.0},
    "screen of 4 px": {"screen_px": 4.0},
    "screen of 8 px": {"screen_px": 8.0, "blur_px": 0.4},
    "screen at 45°": {"screen_px": 8.2, "blur_px": 1.0, "screen_deg": 45.0},
    "screen at 0°": {"screen_px": 5.0, "screen_deg": 0.0},
}


@pytest.mark.parametrize("kind", NATIVE)
def test_a_native_page_is_left_alone_however_soft(kind):
    pixels = page(np.random.default_rng(23), 400, 1800, **NATIVE[kind])
    for altered, lossy in ((pixels, False), (through_jpeg(pixels), True)):
        found = across(altered, lossy=lossy)
        assert found.value == 1
        assert found.uncertainty is None
        assert found.reason.startswith("no interpolation found")
        assert ("JPEG" in found.reason) == lossy
        assert found.reason_kind == ("compression" if lossy else "method")


def test_lines_of_text_that_share_their_feet_are_no_agreement():
    """Level lines: each has the same top and foot over the whole width."""
    pixels = page(np.random.default_rng(5), 1800, 500, blur_px=1.5, noise=0.5, tilt_deg=0.0)
    assert factors(pixels)["travel"].value == 1


@pytest.mark.parametrize("pitch_px", [36.0, 60.0])
def test_even_lines_of_a_book_are_no_interpolation(pitch_px):
    """As a simulated open book once was: 0.25 codes fitted in step with the lines of text."""
    pixels = page(
        np.random.default_rng(8), 2600, 500, blur_px=0.5, noise=0.6, tilt_deg=0.0, pitch_px=pitch_px
    )
    assert factors(pixels)["travel"].value == 1


def test_a_kernel_that_agrees_at_multiples_is_given_its_own_factor():
    """Cubic at 3 and 4 agrees best at twice and three times its frequency."""
    soft = page(np.random.default_rng(9), 300, 900, blur_px=1.0)
    for factor in (3, 4):
        found = across(enlarge(soft, factor, factor, "cubic", "OpenCV")[:400, :2400])
        assert found.value == pytest.approx(factor, rel=FACTOR)
        assert "cubic" in found.reason


def test_sharpening_and_levels_are_no_interpolation():
    pixels = page(np.random.default_rng(6), 400, 1800)
    image = Image.fromarray(pixels).filter(ImageFilter.UnsharpMask(2, 150, 0))
    stretched = np.clip(np.asarray(image).astype(float) * 1.2 - 30, 0, 255).astype(np.uint8)
    assert across(stretched).value == 1


@pytest.mark.parametrize("level", [0.0, 0.2])
def test_paper_without_print_or_grain_is_not_measurable(level):
    pixels = as_codes(np.random.default_rng(1).normal(238, level, (1800, 1800)))
    results = claim.measure([placed(pixels)], Told())
    assert len(results.measurements) == 4
    assert {m.status for m in results.measurements} == {"not-measurable"}
    assert "print" in results.measurements[0].reason
    assert {m.reason_kind for m in results.measurements} == {"too-few"}


def test_a_scrap_is_not_measurable(native):
    results = claim.measure([placed(native[:200, :200])], Told())
    assert {m.status for m in results.measurements} == {"not-measurable"}


def test_pieces_on_one_scan_are_one_measurement_and_the_figure_shows_the_peak(native):
    placement = placed(enlarge(native, 3, 3, "cubic", "Pillow")[:400, :2500])
    results = claim.measure([placement, placement], Told())
    assert len(results.measurements) == 4
    figure = results.evidence[0]
    (curve,) = figure.curves
    assert np.all(np.diff(curve.x) > 0)
    near = np.abs(curve.x - 3) < 0.03
    assert curve.y[near].max() > 20
    assert np.median(curve.y) < 5


def test_keys_weights_half_way_are_the_published_ones():
    """Keys, IEEE TASSP 29(6), 1981: -1/16, 9/16, 9/16, -1/16 for a = -0.5."""
    weights = KERNELS["cubic -0.5"].weights(np.array([-1.5, -0.5, 0.5, 1.5]))
    np.testing.assert_allclose(weights, [-0.0625, 0.5625, 0.5625, -0.0625])


@pytest.mark.parametrize("name", KERNELS)
def test_kernels_are_even_and_reach_as_far_as_they_say(name):
    kernel, t = KERNELS[name], np.linspace(0.01, 6, 700)
    np.testing.assert_allclose(kernel.weights(t), kernel.weights(-t))
    assert not kernel.weights(t[t > kernel.reach]).any()
    assert kernel.weights(t[(t < kernel.reach) & (t > kernel.reach - 0.3)]).any()
