"""Roughness against what was put there: independent rows, and printed edges of `laser_edge`."""

from functools import partial

import numpy as np
import pytest

from scanqa.numeric.edge.sfr import EdgeSfr, measure_edge
from tests.numeric.laser_edge import reflectance, scanned, straight
from tests.numeric.synthetic_edge import gaussian, scene

GAUSS_50 = 0.187391  # σ f50 of a Gaussian (closed form: √(ln 2 / 2) / π)
FINEST_CY_MM = 25.0


def loss(edge, *, dpi, sigma_um, seeds=(1, 2, 3)):
    """Predicted share of SFR50 that the edge costs, and what it really costs; means over seeds."""
    mm = 25.4 / dpi
    truth = scene(gaussian(sigma_um / 1000 / mm), slant_deg=5.15, rows=4, half_width=2).crossing(
        0.5
    )
    predicted, real = [], []
    for seed in seeds:
        made = scanned(edge, dpi=dpi, sigma_mm=sigma_um / 1000, slant_deg=5.15, seed=seed)
        found = measure_edge(made.pixels, made.line, 1.8 / mm)
        assert isinstance(found, EdgeSfr)
        whole, _ = found.roughness.whole_px2(FINEST_CY_MM * mm)
        predicted.append(whole * (found.sfr50.frequency / GAUSS_50) ** 2 / 2)
        real.append(1 - found.sfr50.frequency / truth)
    return np.mean(predicted), np.mean(real)


def test_the_constant_of_the_gaussian():
    assert np.sqrt(np.log(2) / 2) / np.pi == pytest.approx(GAUSS_50, abs=1e-6)


@pytest.mark.parametrize(("dpi", "sigma_um"), [(300, 50), (600, 25), (600, 50)])
def test_a_knifes_cut_costs_nothing_and_is_seen_to(dpi, sigma_um):
    predicted, real = loss(straight, dpi=dpi, sigma_um=sigma_um)
    assert abs(real) < 0.005
    assert predicted < 0.005


@pytest.mark.parametrize(("dpi", "sigma_um"), [(600, 25), (600, 50), (300, 50)])
@pytest.mark.parametrize("toner", [0.1, 0.25])
def test_toner_costs_about_what_is_predicted(dpi, sigma_um, toner):
    predicted, real = loss(partial(reflectance, toner=toner), dpi=dpi, sigma_um=sigma_um)
    assert real > 0.015
    # a prediction that extrapolates: right within a factor of two is enough for a verdict
    assert real / 2 < predicted < 2.5 * real


def test_seen_roughness_has_the_right_uncertainty():
    rms = 0.08
    found = []
    for seed in range(60):
        stray = np.random.default_rng(seed).normal(0, rms, 150)
        made = scene(gaussian(0.7), rows=150, half_width=20, shift_px=stray, noise=0.01, seed=seed)
        found.append(measure_edge(made.pixels, made.line, 20).roughness)
    seen = np.array([r.seen_px for r in found])
    stated = np.mean([r.seen_uncertainty_px for r in found])
    assert seen.mean() == pytest.approx(rms, rel=0.05)
    assert stated == pytest.approx(seen.std(), rel=0.35)  # 60 values know their scatter to 9 %


def test_noise_alone_is_not_roughness():
    found = [
        measure_edge(made.pixels, made.line, 20).roughness
        for made in (
            scene(gaussian(0.7), rows=150, half_width=20, noise=0.02, seed=seed)
            for seed in range(30)
        )
    ]
    density = np.array([r.density for r in found])
    assert abs(density.mean()) < 3 * density.std() / np.sqrt(30)
    assert np.mean([r.seen_px for r in found]) < 0.02


@pytest.mark.parametrize("waves", [6, 12])
def test_a_wavy_edge_is_seen_as_it_was_before_the_scan_blurred_it(waves):
    rows, sway = 150, 0.1  # px; whole waves along the edge, so that its line takes nothing
    wave = sway * np.sin(2 * np.pi * waves * np.arange(rows) / rows)
    made = scene(gaussian(0.7), rows=rows, half_width=20, shift_px=wave, noise=0.002)
    found = measure_edge(made.pixels, made.line, 20).roughness
    in_band, _ = found.whole_px2(0.0)
    # the variance of a sine, and rows that were moved without a blur along the edge: undoing it
    # makes the wave larger by the response at its frequency
    assert in_band == pytest.approx(sway**2 / 2 / made.sfr(waves / rows) ** 2, rel=0.04)
