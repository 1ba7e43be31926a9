"""Displacement between channels: synthetic edges in closed form (synthetic_edge)."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.model import Reason
from scanqa.numeric.edge.shift import edge_shifts
from tests.numeric.synthetic_edge import SHAPES, gaussian, scene

ROWS, HALF = 133, 20  # as at 300 dpi


def pair(shift_px, *, noise=0.0, seed=1, sigma=0.7, other_sigma=0.7, **other):
    made = scene(gaussian(sigma), rows=ROWS, half_width=HALF, noise=noise, seed=seed)
    moved = scene(
        gaussian(other_sigma),
        rows=ROWS,
        half_width=HALF,
        phase_px=0.3 + shift_px,
        noise=noise,
        seed=seed + 1000,
        **other,
    )
    return made, moved


def shift_of(made, moved):
    (found,) = edge_shifts(made.pixels, [moved.pixels], made.line, HALF)
    return found


@pytest.mark.parametrize("shift_px", [-0.8, -0.1, 0.0, 0.03, 0.5, 1.7])
def test_a_blurrier_lighter_fainter_channel_is_not_displaced_by_that(shift_px):
    made, moved = pair(shift_px, other_sigma=1.3, black=0.3, white=0.6, shade=(0.0008, 0.0))
    assert shift_of(made, moved).along_px == pytest.approx(shift_px, abs=0.001)


def test_sharpening_and_defocus_do_not_displace():
    for shape in ("double Gaussian", "defocus disc 2 px", "sharpened"):
        made = scene(gaussian(0.6), rows=ROWS, half_width=HALF)
        moved = scene(SHAPES[shape], rows=ROWS, half_width=HALF, phase_px=0.5)
        assert shift_of(made, moved).along_px == pytest.approx(0.2, abs=0.003)


def test_the_slope_is_px_per_px_and_falls_out_of_transposing():
    made, moved = pair(0.25)
    found = shift_of(made, moved)
    assert found.slope == pytest.approx(np.tan(np.radians(5.15)), rel=1e-3)
    line = tuple((y, x) for x, y in made.line)
    (turned,) = edge_shifts(made.pixels.T, [moved.pixels.T], line, HALF)
    assert turned.along_px == pytest.approx(found.along_px, abs=1e-6)
    assert turned.slope == pytest.approx(found.slope, rel=1e-6)


def test_the_uncertainty_is_that_of_repeats_and_near_the_bound():
    sigma, noise = 0.7, 0.005
    found = [shift_of(*pair(0.2, noise=noise, seed=seed)) for seed in range(150)]
    errors = np.array([f.along_px - 0.2 for f in found])
    stated = np.sqrt(np.mean([f.uncertainty_px**2 for f in found]))
    # the standard deviation of 150 values is known to 6 %
    assert stated == pytest.approx(errors.std(), rel=0.2)
    assert abs(errors.mean()) < 3 * errors.std() / np.sqrt(len(errors))
    # bound of one Gaussian edge, s √(2 √π σ / n); the pixel widens σ; the difference of two is √2
    bound = np.sqrt(2) * noise * np.sqrt(2 * np.sqrt(np.pi) * np.hypot(sigma, 12**-0.5) / ROWS)
    assert errors.std() < 1.3 * bound
    assert errors.std() < 0.02 / 5  # px: what is asked is 0.02


def test_roughness_that_both_share_cancels():
    rough = np.random.default_rng(4).normal(0, 0.2, ROWS)
    made, moved = (
        scene(gaussian(0.7), rows=ROWS, half_width=HALF, phase_px=p, shift_px=rough, noise=0.005)
        for p in (0.3, 0.4)
    )
    found = shift_of(made, moved)
    assert found.along_px == pytest.approx(0.1, abs=0.006)
    assert found.uncertainty_px < 0.005  # alone, the roughness would cost 0.2/√133 = 0.017 px


def test_a_clipped_channel_says_so():
    made, moved = pair(0.2, white=1.05, noise=0.002)
    (found,) = edge_shifts(made.pixels, [np.clip(moved.pixels, 0, 1)], made.line, HALF)
    assert isinstance(found, Reason)
    assert found.kind == "clipped"
    assert "clipped" in found.words


@settings(deadline=None, max_examples=15)
@given(st.floats(-1, 1), st.floats(0.4, 1.5), st.floats(0.2, 1.0), st.integers(0, 50))
def test_swapping_the_channels_changes_the_sign(shift_px, other_sigma, gain, seed):
    made, moved = pair(shift_px, other_sigma=other_sigma, noise=0.004, seed=seed)
    there = shift_of(made, moved)
    (back,) = edge_shifts(gain * moved.pixels, [made.pixels], made.line, HALF)
    assert there.along_px == pytest.approx(-back.along_px, abs=2e-3)


def test_a_very_sharp_edge_in_whole_codes_is_not_led_astray():
    """Optics finer than the pixel, as of a contact sensor: Newton's steps once went off by 2 px."""
    for seed in range(24):
        rough = np.random.default_rng(seed).normal(0, 0.07, ROWS)
        made, moved = (
            scene(
                gaussian(0.27), rows=ROWS, half_width=HALF, phase_px=0.1 * seed, noise=0.001,
                seed=seed + channel, bits=8, black=0.041, white=0.905, shift_px=rough,
            )
            for channel in (0, 1000)
        )  # fmt: skip
        found = shift_of(made, moved)
        assert abs(found.along_px) < 0.02
        assert found.uncertainty_px < 0.02
