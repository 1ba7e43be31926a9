"""Own short methods against those of SciPy (`scipy.signal`), a reference library."""

import numpy as np
import pytest
from scipy import signal

from scanqa.numeric.own_signal import correlation, periodogram, polynomial_weights, smoothed

RNG = np.random.default_rng(9)


@pytest.mark.parametrize("window", [5, 17, 121])
@pytest.mark.parametrize("degree", [1, 2, 3])
def test_local_polynomials_are_those_of_scipy_at_every_place(window, degree):
    for at in (0, window // 2, window - 1):
        theirs = signal.savgol_coeffs(window, degree, pos=at, use="dot")
        assert polynomial_weights(window, degree, at) == pytest.approx(theirs, abs=1e-9)


@pytest.mark.parametrize(("ends", "mode"), [("nearest", "nearest"), ("inside", "interp")])
def test_smoothing_is_that_of_scipy_to_both_ends(ends, mode):
    stack = RNG.normal(size=(3, 400)).cumsum(axis=1)
    theirs = signal.savgol_filter(stack, 31, 3, axis=-1, mode=mode)
    assert smoothed(stack, 31, 3, ends=ends) == pytest.approx(theirs, abs=1e-10)


def test_correlation_is_that_of_scipy():
    whole, piece = RNG.normal(size=(90, 71)), RNG.normal(size=(20, 33))
    theirs = signal.correlate(whole, piece, mode="valid", method="direct")
    assert correlation(whole, piece) == pytest.approx(theirs, abs=1e-9)


def test_the_periodogram_of_uneven_samples_is_that_of_scipy():
    at = np.sort(RNG.uniform(0, 200, 700))
    values = 3 * np.sin(2 * np.pi * 0.31 * at) + RNG.normal(size=at.size)
    frequency = np.linspace(0.02, 1.5, 300)
    theirs = signal.lombscargle(at, values, 2 * np.pi * frequency)
    assert periodogram(at, values, frequency) == pytest.approx(theirs, rel=1e-9, abs=1e-9)
