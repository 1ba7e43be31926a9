"""Self-starting scores are standard normal without a baseline; limits give run lengths."""

import csv
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from scanqa.records.baseline import Baseline
from scanqa.records.selfstart import (
    cusum_limit,
    ewma_limit,
    ewma_run_length,
    q_scores,
    shewhart_limit,
)
from tests.records.charts import cusum

SEED = 1991
EXTERNAL = Path(__file__).parents[1] / "external"


def test_scores_of_steady_values_are_independent_standard_normal():
    # Quesenberry 1991: exact from the third value on, whatever mean and sigma.
    rng = np.random.default_rng(SEED)
    scores = np.array([q_scores(rng.normal(50, 7, 12))[2:] for _ in range(1500)])
    assert stats.kstest(scores.ravel(), "norm").pvalue > 0.01
    correlation = np.corrcoef(scores.T) - np.eye(10)
    assert np.abs(correlation).max() < 4 / np.sqrt(1500)


def test_score_is_the_t_test_of_scipy():
    # Reference: scipy.stats.ttest_ind of one value against the earlier ones (equal variances).
    x = np.array([3.1, 2.9, 3.4, 3.0, 3.3, 4.1])
    p = stats.ttest_ind([x[-1]], x[:-1], alternative="less").pvalue
    assert q_scores(x)[-1] == pytest.approx(stats.norm.ppf(p), rel=1e-9)


@given(
    st.lists(st.floats(-100, 100), min_size=3, max_size=12),
    st.floats(0.1, 10),
    st.floats(-50, 50),
)
def test_scores_do_not_depend_on_unit_or_zero(values, scale, shift):
    x = np.round(np.array(values), 3)
    if np.ptp(x[:2]) < 0.01:
        x[0] += 1.0
    a, b = q_scores(x), q_scores(scale * x + shift)
    assert a == pytest.approx(b, abs=1e-5)


def test_equal_values_do_not_divide_by_zero():
    assert np.all(np.isfinite(q_scores([5.0, 5.0, 5.0, 5.1])))


@pytest.mark.parametrize(("h", "run_length"), [(4.0, 167.7), (4.774, 370.1), (5.0, 465.4)])
def test_cusum_limit_inverts_the_published_run_lengths(h, run_length):
    # Sources: e-Handbook 6.3.2.3; Hawkins & Olwell 1998. Siegmund's formula is good to 2 %.
    assert cusum_limit(run_length) == pytest.approx(h, abs=0.03)


def test_shewhart_limit_of_370_is_three_sigma():
    assert shewhart_limit(370.4) == pytest.approx(3.0, abs=1e-3)  # normal tail


def test_self_started_cusum_keeps_its_run_length():
    rng = np.random.default_rng(SEED)
    limit, standard = cusum_limit(100.0), Baseline(0.0, 1.0, 100)
    alarmed = sum(
        bool(cusum(q_scores(rng.normal(9, 3, 24)), standard, limit_sigma=limit).alarms)
        for _ in range(600)
    )
    # In control, a CUSUM that starts at zero alarms within 22 scored checks with a chance of at
    # most 1 − exp(−22/100) (run lengths are close to geometric after a start-up without alarms).
    assert 0.08 < alarmed / 600 < 1 - np.exp(-22 / 100) + 4 * np.sqrt(0.2 * 0.8 / 600)


def test_ewma_run_lengths_are_those_of_the_table():
    # Lucas & Saccucci 1990, designs for 500 and 370 (tests/external/README.md).
    with (EXTERNAL / "arl_ewma.csv").open() as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    for row in rows:
        weight, limit = float(row["lambda"]), float(row["L"])
        for shift in (0.0, 0.5, 1.0, 2.0, 4.0):
            published = float(row[f"arl_shift_{shift:g}"])
            assert ewma_run_length(limit, weight, shift=shift) == pytest.approx(
                published,
                rel=1e-3,
                abs=0.0051,  # printed to two decimals
            )


@pytest.mark.parametrize(("weight", "limit"), [(0.2, 2.962), (0.1, 2.814), (0.05, 2.615)])
def test_ewma_limit_inverts_the_published_designs(weight, limit):
    assert ewma_limit(500.0, weight=weight) == pytest.approx(limit, abs=1e-3)
