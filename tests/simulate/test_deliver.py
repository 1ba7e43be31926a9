"""Interpolation and processing against the kernels' published values."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from scanqa.simulate.deliver import KERNELS, deliver, interpolated, weights
from scanqa.simulate.exposure import scan
from scanqa.simulate.scanner import Output
from tests.simulate.bench import SILENT, Even, Shapes, changed


@pytest.mark.parametrize(
    ("kernel", "phase", "expected"),
    [
        # Keys, IEEE TASSP 29(6), 1981, a = -0.5: weights half way between two samples.
        ("cubic", 0.5, (-0.0625, 0.5625, 0.5625, -0.0625)),
        ("linear", 0.5, (0.5, 0.5)),
        ("linear", 0.25, (0.75, 0.25)),
        ("nearest", 0.25, (1.0,)),
    ],
)
def test_kernels_have_their_weights(kernel, phase, expected):
    half, shape = KERNELS[kernel]
    taps = np.arange(-4, 5)
    found = shape(taps - phase)
    np.testing.assert_allclose(found[np.abs(found) > 1e-12], expected, atol=1e-12)
    assert np.all(found[np.abs(taps - phase) > half] == 0)


def test_lanczos_passes_through_the_samples():
    _, shape = KERNELS["lanczos3"]
    np.testing.assert_allclose(shape(np.arange(-3.0, 4.0)), [0, 0, 0, 1, 0, 0, 0], atol=1e-12)


@pytest.mark.parametrize(
    ("kernel", "variance"),
    # Sum of squared weights at a quarter: linear 0.625; Keys' cubic 0.808838 (algebra).
    [("linear", 0.625), ("cubic", 0.808838), ("nearest", 1.0)],
)
def test_noise_is_smoothed_by_the_sum_of_squared_weights(kernel, variance):
    _, share = weights(200, 100, 0.5, kernel)
    np.testing.assert_allclose((share[10:190].astype(float) ** 2).sum(axis=1), variance, atol=1e-5)


def test_linear_enlargement_is_a_straight_line_between_samples():
    codes = (np.arange(60)[np.newaxis, :, np.newaxis] * 100).astype(np.uint16)
    codes = np.repeat(np.repeat(codes, 40, axis=0), 3, axis=2)
    out = interpolated(codes, (300, 300), (900, 300), (180, 40), "linear")
    expected = ((np.arange(180) + 0.5) / 3 - 0.5) * 100
    np.testing.assert_allclose(out[20, 3:-3, 1], expected[3:-3], atol=0.5)


def test_interpolated_scans_keep_their_size_and_places():
    square = np.array([[4.0, 5.0], [8.0, 5.0], [8.0, 10.0], [4.0, 10.0]])
    output = Output(tone="linear", bits=16, native_dpi=(300, 150), kernel="linear")
    scanner = changed(output=output)
    simulated = scan(Shapes((square,)), scanner, dpi=600, rng=np.random.default_rng(1))
    assert simulated.pixels.shape == (300, 300, 3)
    dark = 0.8 - simulated.pixels[:, :, 1] / 65535
    per_mm = 600 / 25.4
    x = (dark.sum(axis=0) * np.arange(300)).sum() / dark.sum()
    y = (dark.sum(axis=1) * np.arange(300)).sum() / dark.sum()
    assert abs(x - (6.0 * per_mm - 0.5)) < 0.02
    assert abs(y - (7.5 * per_mm - 0.5)) < 0.02


def test_lines_can_be_doubled_along_travel_only():
    output = Output(tone="linear", bits=16, native_dpi=(600, 300), kernel="nearest")
    noisy = changed(output=output, sensor=replace(SILENT, full_well_e=20_000))
    rows = scan(Even(), noisy, dpi=600, rng=np.random.default_rng(2)).pixels
    assert np.array_equal(rows[0::2], rows[1::2])
    assert not np.array_equal(rows[:, 0::2], rows[:, 1::2])


def test_sharpening_overshoots_and_automatic_levels_fill_the_scale():
    step = np.full((60, 80, 3), 60, np.uint8)
    step[:, 40:] = 180
    plain = Output()
    options = {"native": (300, 300), "asked": (300, 300), "size": (80, 60)}
    sharp = deliver(step, replace(plain, sharpen=1.0), **options)
    assert sharp.max() > 200
    assert sharp.min() < 40
    assert np.array_equal(sharp[:, :20], step[:, :20])
    wide = deliver(step, replace(plain, auto_levels=(0.001, 0.001)), **options)
    assert (wide.min(), wide.max()) == (0, 255)
    assert np.array_equal(deliver(step, plain, **options), step)


def test_jpeg_goes_through_a_real_codec():
    rng = np.random.default_rng(3)
    codes = rng.integers(90, 160, (64, 64, 3), dtype=np.uint8)
    options = {"native": (300, 300), "asked": (300, 300), "size": (64, 64)}
    out = deliver(codes, Output(jpeg_quality=80), **options)
    _, data = cv2.imencode(".jpg", codes[:, :, ::-1], [cv2.IMWRITE_JPEG_QUALITY, 80])
    assert np.array_equal(out, cv2.imdecode(data, cv2.IMREAD_COLOR)[:, :, ::-1])
    with pytest.raises(ValueError, match="8 bits"):
        Output(bits=16, jpeg_quality=80)
