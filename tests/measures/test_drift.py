"""Settling of the level, against exponentials in closed form."""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from scanqa.measures import drift
from scanqa.model import Told
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
    found = drift.measure(series(exponential(SECONDS, start, tau), SECONDS), Told())
    (m,) = found.named("drift.settle_time")
    truth = tau * math.log(abs(start) / 0.005)  # where start × exp(-t / τ) is 0.5 %
    assert m.status == "ok"
    assert m.value == pytest.approx(truth, rel=0.05)
    assert abs(m.value - truth) < 4 * m.uncertainty
    last = 1 + start * math.exp(-SECONDS[-1] / tau)
    assert value(found, "drift.level") == pytest.approx(100 * (last - 1 - start) / last, abs=0.1)


@pytest.mark.parametrize("name", ["drift.settle_time", "drift.level"])
def test_stated_errors_are_the_scatter(name):
    """Thirty series; they know a scatter to 13 %."""
    rng = np.random.default_rng(4)
    found = [
        drift.measure(
            series(exponential(SECONDS) + rng.normal(0, 0.002, SECONDS.size), SECONDS), Told()
        ).named(name)[0]
        for _ in range(30)
    ]
    scatter = np.std([m.value for m in found], ddof=1)
    stated = np.median([m.uncertainty for m in found])
    assert 0.65 < stated / scatter < 1.5


def test_the_files_say_in_which_order_they_were_scanned():
    scans = series(exponential(SECONDS), SECONDS)
    shuffled = np.random.default_rng(1).permutation(SECONDS.size)
    in_order, mixed_up = (drift.measure(s, Told()) for s in (scans, [scans[i] for i in shuffled]))
    for name in ("drift.settle_time", "drift.level"):
        assert value(mixed_up, name) == pytest.approx(value(in_order, name))
    assert value(mixed_up, "drift.level") > 5  # it rises by a tenth


def test_a_steady_level_has_settled_already():
    found = drift.measure(series(np.full(8, 0.8), SECONDS[:8]), Told())
    assert value(found, "drift.settle_time") == 0.0
    (m,) = found.named("drift.level")
    assert abs(m.value) < 4 * m.uncertainty


def test_a_level_that_still_moves_is_a_lower_bound():
    """Straight down by 4 %, and an exponential of ten times the time that was scanned."""
    for levels in (0.8 - 0.0002 * SECONDS, exponential(SECONDS, -0.3, 2400)):
        (m,) = drift.measure(series(levels, SECONDS), Told()).named("drift.settle_time")
        assert m.status == "at-least"
        assert m.value == SECONDS[-1]


def test_copied_files_have_no_times():
    levels = exponential(SECONDS)
    for scans in (series(levels), series(levels, 0.01 * np.arange(SECONDS.size))):
        found = drift.measure(scans, Told())
        assert not found.named("drift.settle_time")
        assert found.named("drift.level")


def test_few_scans_say_what_is_missing():
    (level,) = drift.measure(series([0.8, 0.82], [0, 20]), Told()).named("drift.level")
    assert level.value == pytest.approx(100 * 0.02 / 0.82, abs=0.1)
    assert level.uncertainty is None
    assert "2 scans" in level.reason
    alone = drift.measure(series([0.8]), Told()).measurements
    assert {m.status for m in alone} == {"not-measurable"}
