"""Three charts on one budget: run lengths as designed, and sooner than two charts alone.

Run lengths are simulated on standard normal scores, which self-starting scores of steady values are
(tests/numeric/test_selfstart.py); single charts are checked against published tables there and in
tests/numeric/test_control.py.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.records.changes import find_changes, first_alarm
from scanqa.records.selfstart import cusum_limit, shewhart_limit

SEED = 1954


def lengths(run_length, shift, repeats, rng):
    """Checks until the first alarm of each simulated series."""
    found = []
    for _ in range(repeats):
        scores = (rng.standard_normal(int(12 * run_length)) + shift).tolist()
        alarm = first_alarm(scores, run_length)
        assert alarm is not None, "series too short"
        found.append(alarm[0] + 1)
    return np.array(found)


@pytest.mark.parametrize("run_length", [250.0, 1000.0])
def test_three_charts_together_have_the_run_length_asked_for(run_length):
    rng = np.random.default_rng(SEED)
    found = lengths(run_length, 0.0, 250, rng)
    error = found.std(ddof=1) / np.sqrt(len(found))
    assert abs(found.mean() - run_length) < 0.2 * run_length + 3 * error


@pytest.mark.parametrize(("shift", "chart"), [(5.0, "individuals"), (0.8, "CUSUM")])
def test_each_chart_has_its_kind_of_shift(shift, chart):
    rng = np.random.default_rng(SEED)
    first = [first_alarm((rng.standard_normal(400) + shift).tolist(), 5000.0)[1] for _ in range(60)]
    assert first.count(chart) > 30


def test_an_individuals_and_cusum_pair_is_slower_at_two_sigma():
    # The pair at the same joint run length: each chart at 1.8 times it (simulated likewise).
    rng = np.random.default_rng(SEED)
    run_length, shift, repeats = 5000.0, 2.0, 400
    three = lengths(run_length, shift, repeats, rng).mean()
    single, summed = shewhart_limit(1.8 * run_length), cusum_limit(1.8 * run_length)
    two = []
    for _ in range(repeats):
        up = 0.0
        for at, score in enumerate(rng.standard_normal(400) + shift, 1):
            up = max(0.0, up + score - 0.5)
            if up > summed or abs(score) > single:
                two.append(at)
                break
    assert three < np.mean(two)


def test_a_step_is_dated_within_a_check():
    rng = np.random.default_rng(SEED)
    errors = []
    for _ in range(60):
        x = rng.normal(0, 1, 40)
        x[20:] += 4
        errors.append(find_changes(x.tolist(), run_length=2000.0)[0].began - 20)
    assert np.mean(np.abs(errors) <= 1) > 0.9


@given(st.lists(st.floats(-50, 50), min_size=0, max_size=30), st.floats(0.1, 10), st.floats(-9, 9))
@settings(deadline=None)
def test_changes_do_not_depend_on_unit_or_zero(values, scale, shift):
    x = [round(v, 2) for v in values]
    first = find_changes(x, run_length=500.0, floor=0.3)
    moved = find_changes([scale * v + shift for v in x], run_length=500.0, floor=0.3 * scale)
    assert [(c.began, c.alarm) for c in first] == [(c.began, c.alarm) for c in moved]


@given(st.lists(st.floats(-50, 50), min_size=0, max_size=30))
@settings(deadline=None)
def test_changes_are_in_order_and_inside(values):
    found = find_changes(values, run_length=300.0, floor=0.01)
    assert all(1 <= c.began <= c.alarm < len(values) for c in found)
    assert [c.began for c in found] == sorted({c.began for c in found})
