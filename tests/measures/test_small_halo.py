"""Slight sharpening: what halo and grain together leave open is what a mask within both may do.

Masks are applied to pixels here (scipy's Gaussian filter), not in closed form.
"""

import numpy as np
import pytest
from scipy import ndimage
from scipy.special import ndtr

from scanqa.measures.processing import HALO_SEEN
from scanqa.measures.processing.small_halo import (
    AMOUNTS,
    _ratio,
    most_lifted,
    with_small_halos,
)
from scanqa.model import Measurement, Results

WAYS = {"direction": "across", "scan": "bed.tif"}
FINE = 10  # samples in a pixel


def sharpened(plane, amount, radius):
    return plane + amount * (plane - ndimage.gaussian_filter1d(plane, radius * FINE))


def sfr50(edge):
    steps = np.abs(np.fft.rfft(np.diff(edge), 2**18))
    return np.fft.rfftfreq(2**18, 1 / FINE)[np.flatnonzero(steps < 0.5 * steps[0])[0]]


def grain_ratio(amount, radius):
    noise = np.random.default_rng(4).normal(size=2**18)
    noise = noise + amount * (noise - ndimage.gaussian_filter1d(noise, radius))
    power = np.abs(np.fft.rfft(noise)) ** 2
    f = np.fft.rfftfreq(2**18)
    mean = [power[(f > low) & (f < high)].mean() for low, high in ((0.42, 0.5), (0.15, 0.3))]
    return mean[0] / mean[1]


@pytest.mark.parametrize("radius", [0.8, 1.2, 1.5, 2.5])
@pytest.mark.parametrize("amount", [0.05, 0.15, 0.3])
def test_no_mask_within_both_bounds_lifts_more(amount, radius):
    x = np.arange(-20 * FINE, 20 * FINE) / FINE
    edge = ndtr(x)
    sharp = sharpened(edge, amount, radius)
    lift = sfr50(sharp) / sfr50(edge) - 1
    halo = 100 * (sharp.max() - 1)
    grain = grain_ratio(amount, radius)
    assert most_lifted(halo + 0.1, grain + 0.02) > 0.9 * lift
    # and they do bound it: nothing of twice the amount is left open
    assert most_lifted(halo + 0.1, grain + 0.02) < 2.2 * lift + 0.04


@pytest.mark.parametrize("radius", [0.8, 1.5, 2.5])
def test_grain_is_lifted_by_the_square(radius):
    index = int(np.argmin(np.abs(AMOUNTS - 0.3)))
    assert _ratio(radius)[index] == pytest.approx(grain_ratio(0.3, radius), rel=0.02)


def test_without_halo_and_with_plain_grain_hardly_anything_is_open():
    assert most_lifted(0.0, 1.0) < 0.01
    assert most_lifted(0.3, 1.04) < 0.07
    assert most_lifted(HALO_SEEN, np.inf) > 0.15


def of_edges(**more):
    return Measurement("sharpness.sfr50", 4.0, 0.02, **{**WAYS, **more})


def test_sharpness_carries_it_and_what_is_held_by_the_samples_does_not():
    halo = Measurement("processing.halo", 0.2, 0.05, **WAYS)
    grain = Measurement("processing.grain_kept", 1.0, 0.02, **WAYS)
    whole = Measurement(
        "sharpness.effective_dpi", 300.0, None, "at-least", "all of it",
        reason_kind="sampling", **WAYS,
    )  # fmt: skip
    made = Results((halo, grain, of_edges(), of_edges(direction="travel"), whole))
    _, _, known, unknown, held = with_small_halos(made).measurements
    assert known.random == pytest.approx(0.02)
    assert unknown.random == pytest.approx(0.02)
    assert known.uncertainty == pytest.approx(
        np.hypot(0.02, 4 * most_lifted(0.3, 1.04) / np.sqrt(3))
    )
    assert unknown.uncertainty > 2 * known.uncertainty
    assert held == whole


def test_lifted_grain_takes_sharpness_back():
    grain = Measurement("processing.grain_kept", 1.2, 0.03, **WAYS)
    _, found = with_small_halos(Results((grain, of_edges()))).measurements
    assert (found.status, found.reason_kind) == ("not-measurable", "software")
    slight = Measurement("processing.grain_kept", 1.06, 0.03, **WAYS)
    assert with_small_halos(Results((slight, of_edges()))).measurements[1].value == 4.0


def test_one_driver_sharpens_all_scans_or_none_so_the_best_look_counts():
    best = (
        Measurement("processing.halo", 0.1, 0.02, **WAYS),
        Measurement("processing.grain_kept", 1.0, 0.01, **WAYS),
    )
    poor = (
        Measurement("processing.halo", 1.5, 0.2, direction="across", scan="strips.tif"),
        Measurement("processing.grain_kept", 0.98, 0.1, direction="across", scan="book.tif"),
    )
    *_, found = with_small_halos(Results((*best, *poor, of_edges()))).measurements
    assert found.uncertainty == pytest.approx(
        np.hypot(0.02, 4 * most_lifted(0.14, 1.02) / np.sqrt(3))
    )


@pytest.mark.parametrize(("value", "kept"), [(1.14, True), (1.16, False)])
def test_grain_is_lifted_beyond_three_uncertainties(value, kept):
    """1.05 and three times 0.033."""
    grain = Measurement("processing.grain_kept", value, 0.0333, **WAYS)
    _, found = with_small_halos(Results((grain, of_edges()))).measurements
    assert (found.value is not None) == kept


def test_a_halo_far_from_the_edge_counts_too():
    """Of a wide mask, whose overshoot lies several widths of the edge away."""
    radius, amount = 3.2, 0.1
    x = np.linspace(0, 40, 400001)
    edge = (1 + amount) * ndtr(x) - amount * ndtr(x / np.hypot(1, radius))
    halo = 100 * (edge.max() - 1)
    assert most_lifted(halo * 1.02, np.inf) > most_lifted(halo * 0.5, np.inf)
    assert most_lifted(halo * 1.02, 1.001) > 0  # a wide mask leaves the ratio of the grain alone
