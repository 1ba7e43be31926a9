"""Haze, flicker and smoothing of simulated scans against closed forms."""

import math
from itertools import pairwise

import numpy as np
import pytest
from scipy import ndimage

from scanqa.simulate.device_faults import Flicker, Haze
from scanqa.simulate.scanner import Optics, Output
from tests.simulate.bench import Even, Shapes, changed, light

MM_PX = 25.4 / 300
HALF = ((-50.0, -50.0), (10.0, -50.0), (10.0, 70.0), (-50.0, 70.0))  # black up to x = 10 mm


def test_a_haze_leaves_an_even_page_in_even_surroundings():
    hazy = changed(haze=Haze(0.2, 3.0, surround=0.8 / 0.84))
    picture, _ = light(Even(0.8), hazy)
    np.testing.assert_allclose(picture, 0.8, atol=1e-4)


def test_a_haze_is_a_gaussian_of_the_surroundings():
    """A straight border under a Gaussian is an error function (closed form)."""
    share, reach = 0.1, 2.0
    hazy = changed(
        glass_mm=(25.4, 25.4), haze=Haze(share, reach, surround=0.0), optics=Optics(1.0, 1.0)
    )
    picture, _ = light(Shapes((HALF,)), hazy)
    middle = picture[120:180].mean(axis=(0, 2))  # the surround at the ends is 10 mm off
    x_mm = (np.arange(300) + 0.5) * MM_PX
    blurred = 0.45 + 0.35 * np.array([math.erf((x - 10) / reach / math.sqrt(2)) for x in x_mm])
    own = np.where(x_mm > 10, 0.8, 0.1)
    inside = (x_mm > 8) & (x_mm < 16) & (np.abs(x_mm - 10) > 0.3)
    # The page is spread in cells of 1 mm: half a cell of a slope of 0.35 · √(2/π) / reach a mm.
    np.testing.assert_allclose(
        middle[inside], (own + share * (blurred - own))[inside], atol=share * 0.03
    )


def test_a_frame_darker_than_paper_takes_light_from_the_edges():
    hazy = changed(glass_mm=(25.4, 25.4), haze=Haze(0.1, 2.0, surround=0.0))
    picture, _ = light(Even(0.8), hazy)
    assert picture[150, 150, 0] == pytest.approx(0.8, abs=1e-3)
    # 0.55 mm from the frame (the middle of a cell) a pixel has this share of its surroundings:
    share = 0.5 * (1 + math.erf(0.55 / 2.0 / math.sqrt(2)))
    assert picture[150, 6, 0] == pytest.approx(0.8 * (1 - 0.1 * (1 - share)), abs=2e-3)


def test_flicker_has_its_frequency_and_another_phase_in_each_scan():
    lit = changed(flicker=Flicker(0.01, 20.0), line_time_s=0.004, glass_mm=(12.7, 25.4))
    time = np.arange(300) * 0.004
    phases = []
    for seed in (1, 2, 3):
        rows = light(Even(0.8), lit, seed=seed)[0].mean(axis=(1, 2)) / 0.8 - 1
        wave = np.sum(rows * np.exp(-2j * np.pi * 20 * time)) * 2 / 300
        assert abs(wave) == pytest.approx(0.01, rel=0.01)  # 24 whole periods
        phases.append(np.angle(wave))
    assert min(abs(a - b) for a, b in pairwise(phases)) > 0.1


def test_a_flicker_that_wanders_has_no_steady_frequency():
    rows = {}
    for wander in (0.0, 1.0):
        lit = changed(flicker=Flicker(0.01, 20.0, wander), glass_mm=(12.7, 25.4))
        level = light(Even(0.8), lit)[0].mean(axis=(1, 2))
        assert level.std() / 0.8 == pytest.approx(0.01 / math.sqrt(2), rel=0.1)
        rows[wander] = np.abs(np.fft.rfft(level - level.mean())).max()
    assert rows[1.0] < 0.4 * rows[0.0]


def test_smoothing_is_a_gaussian_on_codes():
    output = Output(tone="linear", bits=16)
    sharp, _ = light(Shapes((HALF,)), changed(glass_mm=(25.4, 12.7), output=output))
    smoothed = Output(tone="linear", bits=16, smooth_sigma_px=1.5)
    soft, _ = light(Shapes((HALF,)), changed(glass_mm=(25.4, 12.7), output=smoothed))
    expected = ndimage.gaussian_filter1d(sharp[75, :, 1], 1.5)
    np.testing.assert_allclose(soft[75, 20:-20, 1], expected[20:-20], atol=2e-3)
