"""Certified values and standard deviations: NIST StRD (tests/external/README.md)."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.measures.drift.exponential import fit_rate, settling

EXTERNAL = Path(__file__).parents[1] / "external"


def rising(x):
    """Design of the certified models, ``y = b1 (1 - exp(-b2 x))``."""
    return lambda rate: (1 - np.exp(-rate * x))[:, None]


def strd(name):
    lines = [s for s in (EXTERNAL / name).read_text().splitlines() if not s.startswith("#")]
    assert lines[0] == "y,x"
    return np.array([[float(v) for v in line.split(",")] for line in lines[1:]]).T


@pytest.mark.parametrize(
    ("name", "b1", "b1_sd", "b2", "b2_sd", "rss", "sd"),
    [
        (
            "nist_strd_misra1a.csv",
            2.3894212918e2, 2.7070075241, 5.5015643181e-4, 7.2668688436e-6,
            1.2455138894e-1, 1.0187876330e-1,
        ),
        (
            "nist_strd_boxbod.csv",
            2.1380940889e2, 1.2354515176e1, 5.4723748542e-1, 1.0455993237e-1,
            1.1680088766e3, 1.7088072423e1,
        ),
    ],
)  # fmt: skip
def test_certified_values(name, b1, b1_sd, b2, b2_sd, rss, sd):
    y, x = strd(name)
    fit = fit_rate(y, rising(x), 1e-6, 1e2)
    # Seven digits of the values and the sum of squares, six of the errors.
    assert fit.coefficients[0] == pytest.approx(b1, rel=1e-7)
    assert fit.rate == pytest.approx(b2, rel=1e-7)
    assert fit.rss == pytest.approx(rss, rel=1e-7)
    assert fit.residual_sd == pytest.approx(sd, rel=1e-7)
    assert fit.coefficient_sds[0] == pytest.approx(b1_sd, rel=1e-6)
    assert fit.rate_sd == pytest.approx(b2_sd, rel=1e-6)


@settings(deadline=None, max_examples=30)
@given(
    level=st.floats(0.2, 1.0), start=st.floats(0.01, 0.5), sign=st.sampled_from([-1, 1]),
    tau=st.floats(5, 100),
)  # fmt: skip
def test_a_settling_without_noise_is_recovered(level, start, sign, tau):
    x = np.linspace(0, 200, 15)
    fit = fit_rate(level + sign * start * np.exp(-x / tau), settling(x), 1e-4, 1.0)
    assert 1 / fit.rate == pytest.approx(tau, rel=1e-4)
    assert fit.coefficients == pytest.approx([level, sign * start], rel=1e-4, abs=1e-6)


def test_a_straight_line_shows_no_rate():
    x = np.linspace(0, 100, 12)
    assert fit_rate(1 + 0.001 * x, settling(x), 1e-3, 1.0) is None


def test_stated_error_of_the_rate_is_the_scatter():
    rng = np.random.default_rng(8)
    x = np.linspace(0, 120, 20)
    clean = 0.8 - 0.1 * np.exp(-x / 30)
    fits = [
        fit_rate(clean + rng.normal(0, 0.002, x.size), settling(x), 1e-3, 1) for _ in range(100)
    ]
    scatter = np.std([fit.rate for fit in fits], ddof=1)
    assert np.median([fit.rate_sd for fit in fits]) == pytest.approx(scatter, rel=0.25)


def test_errors_do_not_depend_on_the_unit_of_time():
    rng = np.random.default_rng(9)
    x = np.linspace(0, 120, 20)
    y = 0.8 - 0.1 * np.exp(-x / 30) + rng.normal(0, 0.002, x.size)
    seconds = fit_rate(y, settling(x), 1e-3, 1.0)
    nanoseconds = fit_rate(y, settling(x * 1e9), 1e-12, 1e-9)
    assert nanoseconds.rate_sd * 1e9 == pytest.approx(seconds.rate_sd, rel=1e-3)
    assert nanoseconds.coefficient_sds == pytest.approx(seconds.coefficient_sds, rel=1e-3)
    assert len(seconds.coefficient_sds) == len(seconds.coefficients) == 2


def test_too_few_values_are_refused():
    x = np.array([0.0, 1.0])
    with pytest.raises(ValueError, match="2 values for 3 unknowns"):
        fit_rate(x, settling(x), 0.1, 1.0)
