"""Control charts on the NIST/SEMATECH e-Handbook's worked examples and on known run lengths.

Sources: tests/external/README.md. Run lengths are simulated here; their tolerance is four
standard errors of the simulated mean.
"""

import csv
from pathlib import Path

import numpy as np
import pytest

from scanqa.records.baseline import Baseline, baseline
from tests.records.charts import cusum, ewma, individuals

EXTERNAL = Path(__file__).parents[1] / "external"
SEED = 632


def table(name):
    with (EXTERNAL / name).open() as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def column(name, key):
    return np.array([float(row[key]) for row in table(name)])


def test_individuals_example():
    # e-Handbook 6.3.2.2: mean 50.81, limits 55.8041 and 45.8159, in control.
    x = column("nist_6_3_2_2_individuals.csv", "value")
    base = baseline(x)
    chart = individuals(x, base)
    assert base.mean == pytest.approx(50.81, abs=5e-5)
    assert chart.upper[0] == pytest.approx(55.8041, abs=5e-4)
    assert chart.lower[0] == pytest.approx(45.8159, abs=5e-4)
    assert chart.alarms == ()


def test_ewma_example():
    # e-Handbook 6.3.2.4: λ 0.3, start 50, s 2.0539, k 3; limits 52.5884 and 47.4115; no alarm.
    x = column("nist_6_3_2_4_ewma.csv", "value")
    chart = ewma(x, Baseline(50.0, 2.0539, 20), weight=0.3, limit_sigma=3.0, settled=True)
    published = column("nist_6_3_2_4_ewma.csv", "ewma_published")
    assert chart.values == pytest.approx(published, abs=0.0051)  # printed to two decimals
    assert chart.upper[-1] == pytest.approx(52.5884, abs=2e-4)
    assert chart.lower[-1] == pytest.approx(47.4115, abs=2e-4)
    assert chart.alarms == ()


def test_cusum_example():
    # e-Handbook 6.3.2.3: target 325, k 0.3175, h 4.1959; first signal at group 14.
    x = column("nist_6_3_2_3_cusum.csv", "mean")
    sigma = 0.635
    base = Baseline(325.0, sigma, 20)
    result = cusum(x, base, slack_sigma=0.3175 / sigma, limit_sigma=4.1959 / sigma)
    assert result.high == pytest.approx(column("nist_6_3_2_3_cusum.csv", "s_hi"), abs=1e-9)
    assert result.low == pytest.approx(column("nist_6_3_2_3_cusum.csv", "s_lo"), abs=1e-9)
    assert result.alarms[0] == 13  # group 14
    assert result.began[0] == 12  # the sum left zero with group 13


def run_lengths(statistic, shift, repeats, longest, rng):
    """First alarm of each simulated series (1 = at once); series are long enough to have one."""
    lengths = []
    for _ in range(repeats):
        alarms = statistic(rng.standard_normal(longest) + shift).alarms
        assert alarms, "series too short"
        lengths.append(alarms[0] + 1)
    return np.array(lengths)


STANDARD = Baseline(0.0, 1.0, 100)
CHARTS = {
    "shewhart": lambda x: individuals(x, STANDARD),
    "cusum-4": lambda x: cusum(x, STANDARD, limit_sigma=4.0),
    "cusum-370": lambda x: cusum(x, STANDARD),
    "ewma-500": lambda x: ewma(x, STANDARD, settled=True),
}


@pytest.mark.parametrize(
    ("chart", "shift", "published"),
    [
        ("shewhart", 1.0, 43.89),  # normal tail
        ("shewhart", 3.0, 2.00),
        ("cusum-4", 1.0, 8.38),  # e-Handbook 6.3.2.3
        ("cusum-4", 0.0, 167.7),  # two-sided; the handbook's 336 is one-sided
        ("cusum-370", 0.0, 370.0),  # Hawkins & Olwell
        ("ewma-500", 0.0, 500.0),  # Lucas & Saccucci 1990
        ("ewma-500", 1.0, 10.54),
    ],
)
def test_run_lengths_are_those_of_the_tables(chart, shift, published):
    rng = np.random.default_rng(SEED)
    lengths = run_lengths(CHARTS[chart], shift, 400, 8000 if shift < 0.5 else 1000, rng)
    error = lengths.std(ddof=1) / np.sqrt(len(lengths))
    assert abs(lengths.mean() - published) < 4 * error


def test_one_check_is_no_baseline():
    with pytest.raises(ValueError, match="at least two"):
        baseline([1.0])
