"""Lives of a scanner with known truth: what is found, how soon, and how often in vain.

Times of detection and false-alarm rates are compared with control-chart theory (sources in
tests/numeric/test_selfstart.py); the lives are a few lines of numpy.
"""

from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import pytest

from scanqa.catalogue import CATALOGUE
from scanqa.model.history import Event
from scanqa.records.health import RUN_LENGTH, health
from scanqa.records.series import Value
from scanqa.records.store import Check
from scanqa.words.of_history import health_sentence, series_sentence

SEED = 24
NAMES = ("noise.total", "shading.nonuniformity", "sharpness.sheet_sfr50", "tone.white", "noise.snr")


def value(name, number, uncertainty=None, version=None):
    version = version or CATALOGUE[name].version
    return Value(
        name, "", "", "", 0, version, float(number), uncertainty, (), "ok", None, None, "", 1
    )


def day(month):
    return (datetime(2025, 1, 5) + timedelta(days=30.44 * month)).isoformat() + "+00:00"


def life(columns):
    """Monthly checks from name → values."""
    months = len(next(iter(columns.values())))
    return [
        Check(m, day(m), tuple(value(name, numbers[m]) for name, numbers in columns.items()))
        for m in range(months)
    ]


def steady(rng, months=24):
    return {name: rng.normal(10, 0.3, months) for name in NAMES}


def of(result, name):
    return next(s for s in result.series if s.key.name == name)


def test_healthy_lives_alarm_at_the_design_rate():
    rng = np.random.default_rng(SEED)
    lives, months = 50, 24
    alarmed = sum(
        any(s.changes for s in health("heron", life(steady(rng, months))).series)
        for _ in range(lives)
    )
    # All charts of a scanner together alarm once in RUN_LENGTH checks; the first two have no score.
    expected = lives * (1 - np.exp(-(months - 2) / RUN_LENGTH))
    assert alarmed <= expected + 3 * np.sqrt(expected)
    # and the charts do look: lives of five run lengths raise alarms (all quiet: e⁻⁵ each)
    long = [health("heron", life(steady(rng, 1200))) for _ in range(3)]
    assert all(any(s.changes for s in found.series) for found in long)


def test_a_step_is_found_and_dated():
    rng = np.random.default_rng(SEED)
    columns = steady(rng)
    columns["noise.total"][12:] += 5 * 0.3
    found = of(health("heron", life(columns)), "noise.total")
    (change,) = found.changes
    assert change.began in (11, 12, 13)
    assert change.alarm - 12 <= 5  # checks
    assert found.state == "changed"
    assert day(change.began)[:10] in series_sentence(found)
    assert change.after - change.before == pytest.approx(1.5, abs=0.6)


def test_a_step_up_and_down_is_found_twice():
    rng = np.random.default_rng(SEED + 1)
    columns = steady(rng)
    columns["noise.total"][10:16] += 10 * 0.3
    found = of(health("heron", life(columns)), "noise.total")
    assert [c.after > c.before for c in found.changes] == [True, False]


def test_a_fading_lamp_is_found_and_the_crossing_dated():
    rng = np.random.default_rng(SEED)
    columns = steady(rng)
    truth = np.where(np.arange(24) < 8, 100.0, 100.0 * 0.98 ** (np.arange(24) - 8.0))
    columns["noise.snr"] = truth + rng.normal(0, 0.6, 24)
    result = health("heron", life(columns), limits={"noise.snr": 65.0})
    found = of(result, "noise.snr")
    assert found.state == "drifting"
    first = found.changes[0]
    assert 8 <= first.alarm <= 8 + 4  # 2 % a month against 0.6 % scatter
    # 0.98^n = 0.65 at n = 21.3 months after month 8, that is 6.3 months after the last check.
    assert found.crossing is not None
    likely = (found.crossing.likely - found.days[-1]) / 30.44
    assert likely == pytest.approx(6.3, abs=2.0)
    assert "will be met in" in series_sentence(found)


def test_an_event_begins_the_series_anew():
    rng = np.random.default_rng(SEED)
    columns = steady(rng)
    columns["noise.total"][12:] += 3.0
    event = Event("heron", day(11.5), "lamp replaced")
    found = of(health("heron", life(columns), [event]), "noise.total")
    assert found.changes == ()
    assert found.starts == (0, 12)
    assert found.state == "steady"


def test_old_method_versions_leave_the_series():
    checks = [
        Check(m, day(m), (value("noise.total", 5.0 if m < 6 else 10.0, version=1 + (m >= 6)),))
        for m in range(12)
    ]
    found = of(health("heron", checks), "noise.total")
    assert len(found.values) == 6
    assert found.changes == ()


def test_checks_at_another_dpi_leave_the_series_of_what_depends_on_it():
    noise = value("noise.total", 5.0)
    checks = [
        Check(m, day(m), (replace(noise, value=5.0 if m < 8 else 6.0, dpi=300 if m < 8 else 600),
                          value("shading.nonuniformity", 4.0)))
        for m in range(16)
    ]  # fmt: skip
    result = health("heron", checks)
    assert (of(result, "noise.total").key.dpi, of(result, "noise.total").left_out) == (600, 8)
    assert of(result, "noise.total").changes == ()
    assert len(of(result, "shading.nonuniformity").values) == 16


def test_a_trend_away_from_the_limit_is_not_a_crossing():
    rng = np.random.default_rng(SEED)
    columns = {"noise.snr": 40 + np.arange(24) * 0.5 + rng.normal(0, 0.2, 24)}
    found = of(health("heron", life(columns), limits={"noise.snr": 20.0}), "noise.snr")
    assert "leads away from the limit" in series_sentence(found)
    columns["noise.total"] = columns.pop("noise.snr")  # lower is better
    found = of(health("heron", life(columns), limits={"noise.total": 46.0}), "noise.total")
    assert "already crossed" in series_sentence(found)


def test_a_drift_from_the_first_check_on_is_one_line():
    rng = np.random.default_rng(SEED)
    columns = {"noise.snr": 46 - np.arange(24) * 0.5 + rng.normal(0, 0.2, 24)}
    found = of(health("heron", life(columns), limits={"noise.snr": 30.0}), "noise.snr")
    assert found.drift.days[0] == 0.0
    assert found.drift.low < -0.5 < found.drift.high
    # 46 − 0.5 n = 30 at n = 32, nine months after the last check
    assert found.crossing.earliest < 32 * 30.44 < found.crossing.latest
    assert "will be met in 8 to 10 months" in series_sentence(found)


def test_what_is_nearly_always_nothing_does_not_alarm_at_a_grain():
    columns = {"banding.amplitude": np.zeros(24), "glass.marks": np.ones(24)}
    columns["banding.amplitude"][9] = 0.018  # matters from 0.2 %
    columns["glass.marks"][9] = 2.0
    assert all(s.changes == () for s in health("heron", life(columns)).series)


def test_a_new_streak_on_clean_paper_alarms_at_once():
    columns = {"streaks.strongest_visible": np.zeros(24)}
    columns["streaks.strongest_visible"][5:] = 1.2
    (change,) = health("heron", life(columns)).series[0].changes
    assert (change.began, change.alarm, change.chart) == (5, 5, "individuals")


def test_what_hides_a_line_goes_its_own_way_and_is_no_line():
    """At most 0.2 %, then 0.6 % as the noise grows: no line shows, and none is told of."""
    name = "streaks.strongest_visible"
    most = np.linspace(0.2, 0.6, 24)
    checks = [
        replace(check, values=tuple(replace(v, status="at-most") for v in check.values))
        for check in life({name: most})
    ]
    (series,) = health("heron", checks).series
    assert series.changes == ()
    assert set(series.values) == {0.0}
    (line,) = life({name: np.full(25, 1.2)})[-1:]
    (change,) = health("heron", [*checks, line]).series[0].changes
    assert change.began == 24


def test_normal_is_three_sigma_about_the_checks_before_the_change():
    rng = np.random.default_rng(SEED)
    columns = {"noise.total": rng.normal(10, 0.3, 200)}
    columns["noise.total"][150:] += 5
    low, high = health("heron", life(columns)).series[0].normal
    assert (low, high) == pytest.approx((9.1, 10.9), abs=0.2)


@pytest.mark.parametrize("months", [0, 1, 2, 3])
def test_too_few_checks_say_so(months):
    rng = np.random.default_rng(SEED)
    result = health("heron", life(steady(rng, months)) if months else [])
    assert all(s.state == "too few checks" for s in result.series)
    assert "few" in health_sentence(result) or "No check" in health_sentence(result)


def test_rounded_and_constant_values_do_not_alarm():
    columns = {"noise.total": np.full(24, 3.0), "tone.white": np.tile([95.0, 95.1], 12)}
    checks = [
        Check(m, day(m), tuple(value(n, v[m], 0.05) for n, v in columns.items())) for m in range(24)
    ]
    assert all(s.changes == () for s in health("heron", checks).series)
