"""What a fleet's charts call, and what they do not.

Rates are held against Poisson (exact interval of Garwood, Biometrika 28, 1936); the procedures of
Benjamini–Hochberg and of the charts against worked values and against the scanner's own charts.
"""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from scipy import stats

from scanqa.model import Decision, Identity, Key
from scanqa.model.fleet import FEWEST_OF_A_MODEL
from scanqa.model.history import Change, Event
from scanqa.records.changes import find_changes
from scanqa.records.fleet.calls import HALF, call_of, moved_of
from scanqa.records.fleet.charts import (
    DESIGN_A_QUARTER,
    Stretch,
    budget,
    changes_of,
    scatter_floors,
)
from scanqa.records.fleet.gather import Track, UnitChecks
from scanqa.records.fleet.overlook import overlook
from scanqa.records.fleet.within_model import apart, false_share_held
from scanqa.records.health import RUN_LENGTH
from scanqa.records.weigh import scatter_floor
from tests.fleet.lives import day_of, healthy, kind_of, unit_of
from tests.fleet.pool import read_pool
from tests.fleet.trial import draw, play

NAME = "noise.snr"
MONTHS = 24


def track(values, key=None):
    values = np.asarray(values, float)
    return Track(key or Key(NAME, channel="luma"), np.arange(len(values)), values,
                 np.full(len(values), np.nan))  # fmt: skip


def unit(name="owl", *values, decisions=None, identity=None, events=(), decided=None):
    """A scanner of one or more tracks of signal to noise."""
    count = len(values[0]) if values else 0
    taken = tuple(day_of(month) for month in range(count))
    tracks = tuple(
        track(v, Key(NAME, channel=colour))
        for v, colour in zip(values, ("luma", "red", "green", "blue"), strict=False)
    )
    decisions = decisions or ("keep",) * count
    return UnitChecks(
        identity or Identity(name), taken, decisions,
        decided or Decision(decisions[-1] if count else ""), tracks, (), (), events, count,
        taken[0] if count else "", (),
    )  # fmt: skip


def on(month):
    return date.fromisoformat(day_of(month)[:10])


# -------------------------------------------------------------------------------- the budget


def test_the_run_length_grows_with_the_fleet_and_never_falls_below_a_scanners_own():
    rng = np.random.default_rng(1)
    one = [unit("owl", rng.normal(40, 0.3, MONTHS), rng.normal(40, 0.3, MONTHS))]
    assert budget(one, 3.0).run_length == 2 * RUN_LENGTH  # two measures
    many = [replace(one[0], identity=Identity(f"u{n}")) for n in range(300)]
    plan = budget(many, 900.0)
    # 900 checks of 2 measures in a quarter: so many of them are false alarms
    assert 900 * 2 / plan.run_length == pytest.approx(DESIGN_A_QUARTER)


def test_ideal_scores_alarm_at_the_rate_that_the_run_length_says():
    """Without the second check: 2000 lives of 60 checks, a run length of 5000."""
    rng = np.random.default_rng(2)
    tracks = [track(rng.normal(40.0, 0.5, 60)) for _ in range(2000)]
    found, widened = changes_of([Stretch(t, 0, 60) for t in tracks], 5000.0)
    alarms = sum(len(some) for some in found)
    expected = 2000 * 58 / 5000
    low, high = stats.poisson.interval(0.999, expected)
    assert 0.4 * low <= alarms <= high  # fewer than settled charts: sums start at zero
    assert widened == {}  # the bulk is as it should be


def test_the_same_changes_are_found_as_by_the_scanners_own_charts():
    rng = np.random.default_rng(3)
    tracks = []
    for n in range(120):
        values = rng.normal(40.0, 0.3, int(rng.integers(8, 40)))
        if n % 10 == 0:
            values[len(values) // 2 :] -= 3
        tracks.append(track(values))
    found, widened = changes_of([Stretch(t, 0, len(t.values)) for t in tracks], 1000.0)
    wider = widened.get(NAME, 1.0)
    assert wider < 1.1
    for t, changes in zip(tracks, found, strict=True):
        floor = scatter_floor(NAME, t.values.tolist(), [None])
        assert changes == find_changes(
            t.values.tolist(), run_length=1000.0, floor=floor, widened=wider
        )
    assert sum(map(len, found)) >= 6  # of 12 steps; the shortest tracks have four checks before


def test_floors_are_those_of_a_scanners_own_charts():
    rng = np.random.default_rng(4)
    rows = [rng.normal(5, 1, n) for n in (3, 7, 12)]
    doubts = [np.where(rng.random(len(r)) < 0.3, np.nan, 4.0) for r in rows]
    table = np.array([np.r_[r, np.full(12 - len(r), r[-1])] for r in rows])
    doubtful = np.array([np.r_[d, np.full(12 - len(d), d[-1])] for d in doubts])
    got = scatter_floors("noise.light_index", table, doubtful, np.array([3, 7, 12]))
    for row, doubt, floor in zip(rows, doubts, got, strict=True):
        stated = [None if np.isnan(d) else float(d) for d in doubt]
        assert floor == pytest.approx(scatter_floor("noise.light_index", row.tolist(), stated))


@pytest.mark.parametrize("correlation", [0.5, 0.7])
def test_what_follows_the_check_before_widens_the_limits(correlation):
    """Serial correlation: alarms without end on ideal limits, few on those that the fleet shows."""
    rng = np.random.default_rng(5)
    tracks = []
    for _ in range(200):
        x = rng.normal(0, 1, 60)
        for at in range(1, 60):
            x[at] = correlation * x[at - 1] + np.sqrt(1 - correlation**2) * x[at]
        tracks.append(track(40 + 0.5 * x))
    stretches = [Stretch(t, 0, 60) for t in tracks]
    found, widened = changes_of(stretches, 50_000.0)
    assert widened[NAME] > 1.2
    plain = sum(
        bool(find_changes(t.values.tolist(), run_length=50_000.0, floor=0.1)) for t in tracks
    )
    assert sum(map(bool, found)) < 0.25 * plain


# ------------------------------------------------------------------------- the second check


def steps(*after, before=40.0, at=12):
    """A change of −3 that alarmed at its first check, and what came after."""
    values = [before] * at + [before - 3.0, *after]
    return track(values), Change(at, at, before, before - 3.0, "individuals")


@pytest.mark.parametrize(
    ("after", "called"),
    [
        ((), False),  # the next check decides
        ((37.0,), True),
        ((40.0,), False),  # an outlier
        ((40.0, 40.1, 39.9), False),
        ((40.0, 36.0, 36.0), True),  # it was one check late
        ((37.0, 40.0, 40.0, 40.0), False),  # called once, then as before: given up
    ],
)
def test_a_call_needs_checks_that_had_no_part_in_the_alarm(after, called):
    known, change = steps(*after)
    moved, waits = moved_of(unit("owl", known.values), known, [change])
    assert (moved is not None) == called
    assert waits == (not after)
    if moved is not None:
        assert moved.way == "worse"
        assert moved.cost == pytest.approx(abs(moved.now - 40.0))  # 1 dB matters
        assert abs(moved.now - 40.0) >= HALF * 3


def test_what_got_better_is_no_call():
    rng = np.random.default_rng(6)
    better = rng.normal(40, 0.3, MONTHS)
    better[12:] += 4
    fleet = overlook([unit("owl", better)], today=on(MONTHS))
    assert fleet.calls == ()


def test_a_step_is_called_after_two_checks_and_ends_with_a_repair():
    rng = np.random.default_rng(7)
    values = rng.normal(40, 0.3, MONTHS)
    values[12:20] -= 4
    for months, called in ((12, False), (13, False), (14, True), (20, True)):
        fleet = overlook([unit("owl", values[:months])], today=on(months))
        assert bool(fleet.calls) == called, months
        assert fleet.seen_once == (("owl",) if months == 13 else ())
    repaired = unit(
        "owl", values, events=(Event("owl", day_of(19)[:10] + "T12:00:00+00:00", "lamp"),)
    )
    fleet = overlook([repaired], today=on(MONTHS))
    assert fleet.calls == ()
    (repair,) = fleet.repairs
    assert repair.helped == "helped"
    (shift,) = repair.effect.shifts
    assert shift.difference == pytest.approx(4, abs=1)


def test_a_repair_that_changed_nothing_leaves_the_call():
    rng = np.random.default_rng(8)
    values = rng.normal(40, 0.3, MONTHS)
    values[12:] -= 4
    tried = unit(
        "owl", values, events=(Event("owl", day_of(18)[:10] + "T12:00:00+00:00", "wiped"),)
    )
    fleet = overlook([tried], today=on(MONTHS))
    assert [call.scanner for call in fleet.calls] == ["owl"]
    assert [repair.helped for repair in fleet.repairs] == ["not shown"]


# -------------------------------------------------------------------------------- decisions


@pytest.mark.parametrize(
    ("decisions", "until", "called"),
    [
        (("keep", "clean"), "", False),  # said once: the next check decides
        (("keep", "clean", "clean"), "", True),
        (("clean",), "", True),  # a unit that just came
        (("keep", "clean", "too-little"), "", False),  # two blanks leave it standing, not more
        (("clean", "clean", "too-little"), "", True),
        (("clean", "clean", "keep"), "", False),
        (("keep", "return"), "2021-04-30", True),  # it can still go back: no time to wait
        (("keep", "return"), "2021-01-30", False),
    ],
)
def test_what_a_check_decides_is_called_when_a_second_says_so_or_time_runs_out(
    decisions, until, called
):
    said = [d for d in decisions if d != "too-little"][-1]
    mine = unit(
        "owl", [40.0] * len(decisions), decisions=decisions, decided=Decision(said),
        identity=Identity("owl", return_until=until),
    )  # fmt: skip
    call = call_of(mine, [], [], date.fromisoformat(day_of(3)[:10]))
    assert (call is not None) == called


def test_money_that_is_lost_in_days_comes_first_then_uses_then_what_moved():
    rng = np.random.default_rng(9)
    fell = rng.normal(40, 0.3, MONTHS)
    fell[12:] -= 6
    less = rng.normal(40, 0.3, MONTHS)
    less[12:] -= 3
    soon = (on(MONTHS) + timedelta(days=4)).isoformat()
    acts = ("keep",) * (MONTHS - 2) + ("return",) * 2
    flat = rng.normal(40, 0.3, MONTHS)
    units = [
        unit("less", less), unit("fell", fell),
        unit("unfit", flat, decisions=acts, decided=Decision("return", unfit=("Text",))),
        unit("window", flat, decisions=acts, decided=Decision("return"),
             identity=Identity("window", return_until=soon)),
    ]  # fmt: skip
    fleet = overlook(units, today=on(MONTHS))
    assert [call.scanner for call in fleet.calls] == ["window", "unfit", "fell", "less"]


# ----------------------------------------------------------------------------------- models


def test_the_share_of_false_ones_is_held_as_published():
    """The fifteen p values of Benjamini & Hochberg 1995, section 4.1 (from memory): four fall."""
    p = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
         0.5719, 0.6528, 0.7590, 1.0]  # fmt: skip
    assert false_share_held(p, 0.05) == [True] * 4 + [False] * 11
    assert false_share_held(p[::-1], 0.05) == [False] * 11 + [True] * 4
    assert stats.false_discovery_control(p)[:5] == pytest.approx([0.0015, 0.003, 0.0095, 0.035625,
                                                                  0.0603], abs=1e-4)  # fmt: skip
    assert false_share_held([], 0.05) == []


def models(count, odd=0.0):
    rng = np.random.default_rng(10)
    units = []
    for n in range(count):
        level = 40 + rng.normal(0, 0.4) - (odd if n == 0 else 0)
        who = Identity(f"u{n:02}", "Larkfield", "l-12" if n % 2 else "L-12")
        units.append(unit("", level + rng.normal(0, 0.1, 6), identity=who))
    return units


@pytest.mark.parametrize(
    ("count", "odd", "named"),
    [(FEWEST_OF_A_MODEL, 6.0, 1), (FEWEST_OF_A_MODEL - 1, 6.0, 0), (40, 0.0, 0), (40, 6.0, 1)],
)
def test_a_unit_unlike_its_model_is_named_where_enough_are_known(count, odd, named):
    found, known = apart(models(count, odd))
    assert len(found) == named
    assert [(k.count, k.compared) for k in known] == [(count, count >= FEWEST_OF_A_MODEL)]
    if named:
        assert (found[0].scanner, found[0].way, found[0].count) == ("u00", "worse", count)
        assert found[0].usual == pytest.approx(40, abs=0.5)


def test_units_whose_model_nobody_noted_are_not_compared():
    units = [replace(u, identity=Identity(u.name)) for u in models(20, 9.0)]
    assert apart(units) == ([], [])


# ------------------------------------------------------------------------------------ lives


def test_a_small_fleet_keeps_its_budget_and_finds_its_sick():
    """Sixty scanners over two and a half years: ``python -m tests.fleet`` is the large one."""
    kinds = [kind_of(pool) for pool in read_pool().values()]
    played = play(draw(kinds, 60, 30, 60, sick=10))
    rate, _, _ = played.rate()
    assert rate <= 1, played.false
    delays = [delay for _, delay in played.delays.values()]
    assert sum(0 < delay <= 6 for delay in delays) >= 8, played.delays


def test_a_lamp_that_fades_is_listed_by_its_end():
    """0.98ⁿ of the light: half is gone after ln 0.5 / ln 0.98 = 34.3 months."""
    kind = kind_of(read_pool()["lens"])
    rng = np.random.default_rng(11)
    lives = [healthy(f"u{n}", kind, 24, rng) for n in range(40)]
    left = 0.98 ** np.arange(24.0)
    values = lives[0].values.copy()
    for column, name in enumerate(kind.names):
        if name == "noise.light_index":
            values[:, column] *= left
    lives[0] = replace(lives[0], values=values)
    fleet = overlook([unit_of(life, 24) for life in lives], today=on(24))
    assert fleet.lamps[0].scanner == "u0"
    assert len(fleet.lamps) <= 3
    assert fleet.lamps[0].left == pytest.approx(0.98**23, abs=0.08)
    months = fleet.lamps[0].half_in_months
    assert months.earliest - 1 < 34.3 - 23 < months.latest + 4  # a line, where the truth bends
