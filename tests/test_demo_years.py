"""Heron's two years as they come with scanqa: fresh, whole, and telling what was planted."""

from dataclasses import replace
from datetime import date

import pytest

from scanqa.cli.demo_command import _look_back, _two_years
from scanqa.demo import DIMS_FROM, DIRT, DIRTY_IN, HERON, MONTHS, checked_months, heron_in
from scanqa.records import store
from scanqa.records.database import open_store
from scanqa.records.looking_back import health_of
from scanqa.words.of_history import effect_sentence
from tests.renew_demo_years import month

TODAY = date(2026, 11, 25)
STALE = "heron's months are stale: python -m tests.renew_demo_years"


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    return _two_years(tmp_path_factory.mktemp("years") / "records.sqlite")


def test_the_life_that_is_planted():
    levels = [heron_in(m).lamp.level for m in range(MONTHS)]
    assert len(set(levels[:DIMS_FROM])) == 1
    ratios = [b / a for a, b in zip(levels[DIMS_FROM - 1 :], levels[DIMS_FROM:], strict=False)]
    assert ratios == pytest.approx([0.98] * (MONTHS - DIMS_FROM))
    assert HERON.lamp.level / levels[-1] == pytest.approx(0.98)
    assert [m for m in range(MONTHS) if DIRT in heron_in(m).streaks] == [DIRTY_IN]


def test_the_months_are_whole_and_dated_back_from_today():
    records = checked_months(today=TODAY)
    assert [r.conditions["date"] for r in records][:2] == ["2024-11-05", "2024-12-05"]
    assert records[-1].conditions["date"] == "2026-10-05"
    assert len(records) == MONTHS


def test_a_month_measured_now_is_the_month_that_was_shipped():
    number = 12
    shipped = checked_months(today=TODAY)[number].measures
    made = month(number).measures

    def numbers(measures):
        return {
            (m.name, m.scan, m.direction, m.channel): m
            for m in measures
            if m.value is not None and not m.name.startswith("pace")
        }

    old, new = numbers(shipped), numbers(made)
    assert set(old) <= set(new), STALE
    for key, was in old.items():
        # a method may be polished, but not so far that a history would show it
        room = 2 * (was.uncertainty or 0) + 0.02 * abs(was.value) + 1e-9
        assert abs(new[key].value - was.value) <= room, f"{key}: {STALE}"


def test_the_two_years_tell_what_was_planted(records):
    with open_store(records) as engine:
        found = health_of(engine, "heron")
    assert found.lamp.rule == "ageing-or-haze"  # the settle time was not planted
    light = [s for s in found.series if s.key.name == "noise.light_index"]
    assert {s.state for s in light} == {"drifting"}
    for s in light:
        rate = 100 * s.drift.per_month / s.values[DIMS_FROM]
        assert -2.6 < rate < -1.2  # 2 % a month of what is left, as one straight line
        assert DIMS_FROM <= s.changes[0].alarm <= DIMS_FROM + 6
    (streak,) = [s for s in found.streaks if not s.since_start]
    assert streak.at_mm == pytest.approx(DIRT.at_mm, abs=0.1)
    (effect,) = found.effects
    assert effect.went == (streak,)
    assert not effect.came
    assert "gone" in effect_sentence(effect)


def test_looking_back_writes_pages_and_ends_with_the_report(records, tmp_path, capsys):
    with open_store(records) as engine:
        store.add(engine, replace(checked_months(today=TODAY)[0], scanner="wren"))
    _look_back(records, tmp_path)
    lines = capsys.readouterr().out.splitlines()
    assert lines[-1] == str(tmp_path / "heron.html")
    for page in ("heron-history.html", "heron-wren.html", "index.html"):
        assert (tmp_path / page).read_text("utf-8").startswith("<!DOCTYPE html>")
