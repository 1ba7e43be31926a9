"""Overview against plain numpy means of the whole array."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.scans.array import ArrayScan
from scanqa.scans.overview import overview

FLOAT32 = 2e-7  # relative: one rounding to float32


def noise(height, width, channels, dtype, seed=1):
    top = np.iinfo(dtype).max
    shape = (height, width, channels)
    return np.random.default_rng(seed).integers(0, top, shape, dtype, endpoint=True)


@settings(deadline=None, max_examples=40)
@given(
    height=st.integers(1, 400),
    width=st.integers(1, 200),
    channels=st.sampled_from([1, 3]),
    dtype=st.sampled_from([np.uint8, np.uint16]),
    dpi=st.sampled_from([None, (72.0, 72.0), (600.0, 600.0), (600.0, 300.0)]),
)
def test_every_mean_is_the_mean_of_its_pixels(height, width, channels, dtype, dpi):
    pixels = noise(height, width, channels, dtype)
    seen = overview(ArrayScan(pixels, dpi=dpi))

    bands = range(0, height, seen.band_rows_px)
    columns = [pixels[row : row + seen.band_rows_px].mean(axis=0) for row in bands]
    np.testing.assert_allclose(seen.column_means, columns, rtol=FLOAT32)

    edges = np.linspace(0, width, seen.row_means.shape[1] + 1).astype(int)
    for band, (a, b) in enumerate(itertools.pairwise(edges)):
        np.testing.assert_allclose(seen.row_means[:, band], pixels[:, a:b].mean(axis=1), FLOAT32)

    n = seen.step_px
    rows, cols = height // n, width // n
    blocks = pixels[: rows * n, : cols * n].reshape(rows, n, cols, n, channels)
    np.testing.assert_allclose(seen.preview, blocks.mean(axis=(1, 3)), rtol=FLOAT32)
    top = 255 if dtype == np.uint8 else 65280  # what 8 bits would call their highest code
    assert seen.top_share == np.mean(pixels >= top)
    of_channels = (blocks >= top).mean(axis=(1, 3))
    np.testing.assert_allclose(seen.top_blocks, of_channels.max(axis=-1), atol=0.5 / 255 + 1e-6)


@pytest.mark.parametrize(
    ("dtype", "step", "top"),
    [(np.uint8, 1, 255), (np.uint16, 1, 65535), (np.uint16, 16, 65520), (np.uint16, 64, 65472),
     (np.uint16, 256, 65280)],
)  # fmt: skip
def test_the_plateau_is_found_however_the_samples_were_filled(dtype, step, top):
    # Grain of 2 % about a white that clips in exactly the left half; the truth is the mask.
    rng = np.random.default_rng(5)
    full = np.iinfo(dtype).max
    codes = rng.normal(0.8, 0.02, (400, 300, 1)) * full
    pixels = (codes // step * step).astype(dtype)
    pixels[:, :150] = top
    if step == 1 and dtype == np.uint16:  # as a real flatbed clips: a spread of codes
        pixels[:, :150] -= rng.integers(0, 4, (400, 150, 1)).astype(dtype)
    seen = overview(ArrayScan(pixels, dpi=(150, 150)))
    assert seen.top_share == 0.5
    assert seen.top_blocks[:, : 150 // seen.step_px].min() == 1
    assert seen.top_blocks[:, 150 // seen.step_px + 1 :].max() == 0


def test_a3_at_600_dpi_has_blocks_of_a_third_of_a_millimetre_and_few_bands():
    pixels = np.lib.stride_tricks.as_strided(np.uint8(7), (9921, 7016, 3), (0, 0, 0))
    seen = overview(ArrayScan(np.ascontiguousarray(pixels[:, :, :1]), dpi=(600, 600)))
    assert seen.step_px == 7  # 0.296 mm
    assert len(seen.column_means) <= 64
    assert seen.preview.shape == (1417, 1002, 1)
    assert seen.row_means.shape == (9921, 24, 1)


@pytest.mark.parametrize("dpi", [None, (72, 72), (1, 1), (19200, 19200)])
def test_preview_stays_a_preview_when_the_dpi_tag_is_absurd(dpi):
    seen = overview(ArrayScan(np.zeros((7000, 2000), np.uint8), dpi=dpi))
    assert 700 <= len(seen.preview) <= 1600


def test_overview_of_a_transposed_view_is_the_same_as_of_its_copy():
    view = noise(300, 200, 3, np.uint8).transpose(1, 0, 2)
    a, b = overview(ArrayScan(view)), overview(ArrayScan(view.copy()))
    np.testing.assert_array_equal(a.preview, b.preview)
    np.testing.assert_array_equal(a.row_means, b.row_means)


def test_two_sixteen_bit_columns_of_a_long_scan_do_not_overflow():
    pixels = np.full((40000, 16, 1), 65535, np.uint16)  # one band sums to 4.1e7, all to 2.6e9
    seen = overview(ArrayScan(pixels))
    assert np.all(seen.column_means == 65535)
    assert np.all(seen.row_means == 65535)
    assert seen.top_share == 1
