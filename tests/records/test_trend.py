"""Lines on NIST's certified data; crossings cover the truth as often as they say."""

import csv
from pathlib import Path

import numpy as np
import pytest

from scanqa.records.trend import crossing, fit_line

EXTERNAL = Path(__file__).parents[1] / "external"
SEED = 36


def norris():
    with (EXTERNAL / "nist_strd_norris.csv").open() as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    return np.array([[float(r["x"]), float(r["y"])] for r in rows]).T


def test_norris_certified_values_and_standard_errors():
    # NIST StRD, Norris: certified values as carried by scipy (tests/external/README.md).
    line = fit_line(*norris())
    assert line.intercept == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    # the error of the line at x = 0: those of its middle and its slope are independent
    at_zero = (line.middle_sd**2 + (line.middle * line.slope_sd) ** 2) ** 0.5
    assert at_zero == pytest.approx(0.232818234301152, rel=1e-9)
    assert line.slope_sd == pytest.approx(0.429796848199937e-3, rel=1e-9)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-9)


def test_crossing_interval_holds_the_truth_95_times_in_100():
    rng = np.random.default_rng(SEED)
    x = np.arange(12.0)
    held = shown = 0
    for _ in range(1000):
        y = 100 - 2.0 * x + rng.normal(0, 3.0, x.shape)
        found = crossing(fit_line(x, y), 60.0)
        if found is None:
            continue
        shown += 1
        held += found.earliest <= 20.0 <= found.latest  # 100 − 2 × 20 = 60
    assert shown > 950
    assert 0.93 < held / shown < 0.97


def test_no_trend_no_date():
    rng = np.random.default_rng(SEED)
    shown = sum(
        crossing(fit_line(np.arange(12.0), rng.normal(0, 1, 12)), 5.0) is not None
        for _ in range(1000)
    )
    assert shown / 1000 == pytest.approx(0.05, abs=0.025)  # four standard errors


def test_two_points_are_no_trend():
    with pytest.raises(ValueError, match="three points"):
        fit_line([0, 1], [0, 1])
