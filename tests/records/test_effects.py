"""Before and after an event: intervals that hold the truth, no claims where nothing changed."""

import numpy as np
import pytest

from scanqa.over_time import Event
from scanqa.records.health import health
from tests.records.test_health import NAMES, day, life, steady

SEED = 1941
CLEANED = Event("heron", day(11.5), "glass cleaned")


def effect(columns, *events):
    found = health("heron", life(columns), events or (CLEANED,))
    return found.effects[0]


def test_a_cleaning_that_helps_is_told_with_its_interval():
    rng = np.random.default_rng(SEED)
    columns = steady(rng)
    columns["noise.total"][12:] -= 3.0
    found = effect(columns)
    (shift,) = found.shifts
    assert shift.key[0] == "noise.total"
    assert shift.verdict == "better"
    assert shift.low < -3.0 < shift.high
    assert found.compared == len(NAMES)
    assert "glass cleaned" in found.sentence
    assert "better, from" in found.sentence


def test_stated_intervals_hold_the_truth_19_times_in_20():
    rng = np.random.default_rng(SEED)
    held = 0
    for _ in range(200):
        columns = {"noise.total": rng.normal(10, 0.3, 24)}
        columns["noise.total"][12:] -= 5.0
        (shift,) = effect(columns).shifts
        held += shift.low < -5.0 < shift.high
    # degrees of freedom of successive differences are rounded down: a little wide is expected
    assert 0.90 <= held / 200 <= 1.0


def test_where_nothing_changed_a_claim_is_rare():
    rng = np.random.default_rng(SEED)
    claims = sum(bool((found := effect(steady(rng))).shifts or found.small) for _ in range(200))
    assert claims / 200 <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / 200)


def test_a_streak_that_came_just_before_is_the_before():
    columns = {"streaks.strongest_visible": np.zeros(24)}
    columns["streaks.strongest_visible"][11] = 1.2
    (shift,) = effect(columns).shifts
    assert (shift.before, shift.after) == (1.2, 0.0)
    assert shift.verdict == "better"


def test_a_shift_too_small_to_matter_is_counted_not_told():
    rng = np.random.default_rng(SEED)
    columns = {"noise.snr": rng.normal(45, 0.01, 24)}
    columns["noise.snr"][12:] += 0.4  # matters from 1 dB
    found = effect(columns)
    assert (found.shifts, found.small) == ((), 1)


@pytest.mark.parametrize("at", [-1.0, 40.0])
def test_an_event_without_checks_on_both_sides_says_so(at):
    rng = np.random.default_rng(SEED)
    found = effect(steady(rng), Event("heron", day(at), "lamp replaced"))
    assert found.compared == 0
    assert "no checks on both sides" in found.sentence


def test_each_event_has_its_own_before_and_after():
    rng = np.random.default_rng(SEED)
    columns = {"noise.total": rng.normal(10, 0.05, 24)}
    columns["noise.total"][8:16] += 4.0
    events = (Event("heron", day(15.5), "put right"), Event("heron", day(7.5), "put wrong"))
    found = health("heron", life(columns), events).effects
    assert [e.event.words for e in found] == ["put wrong", "put right"]
    assert [e.shifts[0].verdict for e in found] == ["worse", "better"]
