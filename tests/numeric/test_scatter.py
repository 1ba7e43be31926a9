"""Stated errors of medians, means and sums against the scatter of many repeats (simulated)."""

import numpy as np
import pytest

from scanqa.numeric.line_fit import local_pattern
from scanqa.numeric.linear_fit import robust_least_squares
from scanqa.numeric.scatter import long_run_variance, median_error, repeat_error, robust_sd

RNG = np.random.default_rng(17)
SPREAD = 3.0


def test_the_error_of_a_median_is_the_scatter_of_medians():
    draws = RNG.normal(0, SPREAD, (4000, 25))
    assert np.mean(robust_sd(draws, axis=1)) == pytest.approx(SPREAD, rel=0.06)  # few: a bit low
    stated = float(np.median(median_error(draws, axis=1)))
    assert stated == pytest.approx(np.std(np.median(draws, axis=1)), rel=0.08)


def test_the_error_of_a_mean_of_repeats_is_the_scatter_of_means():
    draws = RNG.normal(0, SPREAD, (4, 20000))
    stated = float(np.sqrt(np.mean(repeat_error(draws) ** 2)))
    assert stated == pytest.approx(np.std(draws.mean(axis=0)), rel=0.03)
    assert repeat_error(draws[:1]) == pytest.approx(np.zeros(20000))


def test_a_robust_line_knows_its_errors_and_is_not_pulled():
    x = np.linspace(-1, 1, 40)
    design = np.stack([np.ones_like(x), x], axis=1)
    pulls, slopes = [], []
    for _ in range(400):
        y = 2 - 5 * x + RNG.normal(0, SPREAD, x.size)
        y[RNG.integers(0, x.size, 3)] += 40 * SPREAD
        fit = robust_least_squares(design, y)
        slopes.append(fit.solution[1])
        pulls.append((fit.solution - (2, -5)) / np.sqrt(np.diag(fit.covariance)))
    assert np.mean(slopes) == pytest.approx(-5, abs=3 * np.std(slopes) / 20)
    # biweight: 95 % efficient; 400 pulls know their spread to 4 %
    assert np.std(pulls, axis=0) == pytest.approx([1, 1], rel=0.2)


@pytest.mark.parametrize("reach", [3, 20])
def test_a_pattern_loses_its_cubic_background_and_what_the_gain_says(reach):
    x = np.linspace(-1, 1, 4000)
    cubic = 5 + 3 * x - 2 * x**2 + 4 * x**3
    left, gain = local_pattern(cubic, reach)
    assert left == pytest.approx(np.zeros(x.size - 2 * reach), abs=1e-11)
    noise = RNG.normal(0, SPREAD, x.size)
    left, _ = local_pattern(cubic + noise, reach)
    assert left.std() == pytest.approx(gain * noise.std(), rel=0.03)


@pytest.mark.parametrize("rho", [0.0, 0.5, 0.8])
def test_the_variance_of_a_sum_of_alike_neighbours_is_that_of_the_process(rho):
    """Of a first-order process of unit innovations the sum of n has n / (1 - rho)² (textbook)."""
    n, repeats = 2000, 60
    innovations = RNG.normal(size=(repeats, n + 200))
    series = np.zeros_like(innovations)
    for at in range(1, n + 200):
        series[:, at] = rho * series[:, at - 1] + innovations[:, at]
    found = [long_run_variance(row) for row in series[:, 200:]]
    # the window leaves some of the neighbours out: a seventh at most, here
    assert np.mean(found) == pytest.approx(n / (1 - rho) ** 2, rel=0.16)


def test_the_variance_of_a_short_sum_and_of_nothing():
    assert long_run_variance(np.zeros(50)) == 0.0
    assert long_run_variance(np.full(30, 1e-9)) > 0
    unlike = np.array([1.0, -1.0] * 40)
    assert long_run_variance(unlike) == pytest.approx(80.0)  # neighbours unlike: taken as none


def test_the_variance_of_a_sum_of_four_runs_by_hand():
    """Ten ones, ten minus ones, twice: the products at lag l add up to 40 - 7 l.

    Andrews (1991): r = 33/40 - 1/sqrt(40) = 0.667, alpha = 4 r^2 / (1 - r^2)^2 = 5.77, lags up to
    1.1447 (5.77 * 40)^(1/3) = 7.02, hence 8. Newey & West (1987): weights 1 - l/9.
    """
    runs = np.repeat([1.0, -1.0, 1.0, -1.0], 10)
    by_hand = 40 + 2 * sum((1 - lag / 9) * (40 - 7 * lag) for lag in range(1, 9))
    assert long_run_variance(runs) == pytest.approx(by_hand)


def test_along_the_first_axis_unless_said():
    draws = RNG.normal(0, SPREAD, (2001, 2)) * [1.0, 10.0]
    assert robust_sd(draws) == pytest.approx([SPREAD, 10 * SPREAD], rel=0.1)
    assert median_error(draws) == pytest.approx(1.2533 * robust_sd(draws) / np.sqrt(2001))


def test_two_repeats_know_an_error_and_one_does_not():
    assert repeat_error(np.array([[1.0], [3.0]])) == pytest.approx([1.0])  # √2 / √2
    assert repeat_error(np.array([[1.0]])) == pytest.approx([0.0])
