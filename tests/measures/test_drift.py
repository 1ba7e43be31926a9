"""Settling of the level, against exponentials in closed form."""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from scanqa.measures import drift
from tests.measures.paper import placed, value

START = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)


def series(levels, seconds=None, *, noise=0.003):
    """Blank scans of given light; their files written at given seconds."""
    scans = []
    for i, level in enumerate(levels):
        blank = placed(np.full((160, 120), level), 100, noise=noise, seed=i, bits=16)
        if seconds is not None:
            stamp = (START + timedelta(seconds=float(seconds[i]))).isoformat()
            blank = replace(blank, scan=replace(blank.scan, modified=stamp))
        scans.append(blank)
    return scans


def exponential(seconds, start=-0.1, tau=40.0, end=0.8):
    return end * (1 + start * np.exp(-np.asarray(seconds) / tau))


SECONDS = np.arange(0, 240, 15.0)


@pytest.mark.parametrize(("start", "tau"), [(-0.1, 40), (0.05, 25), (-0.03, 60)])
def test_settle_time_of_an_exponential(start, tau):
    found = drift.measure(series(exponential(SECONDS, start, tau), SECONDS))
    (m,) = found.named("drift.settle_time")
    truth = tau * math.log(abs(start) / 0.005)  # where start × exp(-t / τ) is 0.5 %
    assert m.status == "ok"
    assert m.value == pytest.approx(truth, rel=0.05)
    assert abs(m.value - truth) < 4 * m.uncertainty
    last = 1 + start * math.exp(-SECONDS[-1] / tau)
    assert value(found, "drift.level") == pytest.approx(100 * (last - 1 - start) / last, abs=0.1)


def test_stated_error_of_the_settle_time_is_not_less_than_half_the_scatter():
    rng = np.random.default_rng(4)
    found = [
        drift.measure(
            series(exponential(SECONDS) + rng.normal(0, 0.002, SECONDS.size), SECONDS)
        ).named("drift.settle_time")[0]
        for _ in range(25)
    ]
    scatter = np.std([m.value for m in found], ddof=1)
    stated = np.median([m.uncertainty for m in found])
    assert 0.5 < stated / scatter < 2.0


def test_order_and_times_may_be_given():
    levels = exponential(SECONDS)
    shuffled = np.random.default_rng(1).permutation(SECONDS.size)
    by_file = drift.measure([series(levels, SECONDS)[i] for i in shuffled])
    given = drift.measure(series(levels), seconds=list(SECONDS))
    for name in ("drift.settle_time", "drift.level"):
        assert value(by_file, name) == pytest.approx(value(given, name))
    with pytest.raises(ValueError, match="2 times for 16 scans"):
        drift.measure(series(levels), seconds=[0.0, 1.0])


def test_a_steady_level_has_settled_already():
    found = drift.measure(series(np.full(8, 0.8), SECONDS[:8]))
    assert value(found, "drift.settle_time") == 0.0
    (m,) = found.named("drift.level")
    assert abs(m.value) < 4 * m.uncertainty


def test_a_level_that_still_moves_is_a_lower_bound():
    """Straight down by 4 %, and an exponential of ten times the time that was scanned."""
    for levels in (0.8 - 0.0002 * SECONDS, exponential(SECONDS, -0.3, 2400)):
        (m,) = drift.measure(series(levels, SECONDS)).named("drift.settle_time")
        assert m.status == "lower-bound"
        assert m.value == SECONDS[-1]


def test_copied_files_have_no_times():
    levels = exponential(SECONDS)
    for scans in (series(levels), series(levels, 0.01 * np.arange(SECONDS.size))):
        found = drift.measure(scans)
        assert not found.named("drift.settle_time")
        assert found.named("drift.level")


def test_few_scans_say_what_is_missing():
    (level,) = drift.measure(series([0.8, 0.82], [0, 20])).named("drift.level")
    assert level.value == pytest.approx(100 * 0.02 / 0.82, abs=0.1)
    assert level.uncertainty is None
    assert "2 scans" in level.reason
    alone = drift.measure(series([0.8])).measurements
    assert {m.status for m in alone} == {"not-measurable"}
