"""All scanners of a database on one day: `overlook` puts together what each module finds."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Container, Mapping, Sequence
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
from sqlalchemy.engine import Engine

from scanqa.model.fleet import (
    Budget,
    Call,
    Due,
    Fleet,
    Helped,
    Moved,
    News,
    Repair,
    UnitRow,
    UnitState,
)
from scanqa.model.history import Change, Effect, Event, Series
from scanqa.records.effects import effects
from scanqa.records.fleet.calls import (
    ACTS,
    NAMED_BY_PLACE,
    by_cost,
    call_of,
    lines_standing,
    moved_of,
)
from scanqa.records.fleet.charts import QUARTER_DAYS, Stretch, budget, changes_of
from scanqa.records.fleet.gather import Track, UnitChecks, gather
from scanqa.records.fleet.lamps import Stretched, lamp_ends
from scanqa.records.fleet.within_model import apart
from scanqa.records.health import FEWEST_CHECKS
from scanqa.records.units_list import of_one_serial

EVERY_DAYS = 31  # two blanks a month
SOON_DAYS = 7
YEAR_DAYS = 365
MONTH_DAYS = 31
REPAIR_DAYS = 365  # what was done is looked back on for a year


def fleet(engine: Engine, *, today: date, every_days: int = EVERY_DAYS) -> Fleet:
    """Look over all scanners of a database; a role that may only read suffices.

    Parameters
    ----------
    today : date
        The day of the page.
    every_days : int
        How often each scanner is to be checked.
    """
    return overlook(gather(engine), today=today, every_days=every_days)


def overlook(units: Sequence[UnitChecks], *, today: date, every_days: int = EVERY_DAYS) -> Fleet:
    """As `fleet`, of scanners that were gathered."""
    in_use = [unit for unit in units if not _retired(unit, today)]
    plan = budget(in_use, _checks_a_quarter(in_use, today))
    present, repairs, widened = _present(in_use, plan, today)
    calls, waiting = _calls(in_use, present, today)
    named = {call.scanner for call in calls}
    outliers, models = apart(in_use)
    rows = tuple(_row(unit, named, waiting) for unit in in_use)
    return Fleet(
        today.isoformat(),
        every_days,
        rows,
        tuple(unit.name for unit in units if _retired(unit, today)),
        tuple(sorted(calls, key=by_cost)),
        tuple(unit.name for unit in in_use if unit.name in waiting and unit.name not in named),
        tuple(_due(in_use, today, every_days)),
        tuple(_news(in_use, calls, today)),
        tuple(outliers),
        tuple(models),
        tuple(lamp_ends(in_use, present)),
        tuple(repairs),
        Budget(plan.a_quarter, plan.checks_a_quarter, plan.series, plan.run_length, widened),
        tuple(of_one_serial(unit.identity for unit in units)),
        tuple((unit.name, number) for unit in units for number in unit.broken),
    )


def _retired(unit: UnitChecks, today: date) -> bool:
    return bool(unit.identity.retired) and unit.identity.retired <= today.isoformat()


def _checks_a_quarter(units: Sequence[UnitChecks], today: date) -> float:
    """How many checks the fleet makes in a quarter, by those of the last year."""
    since = (today - timedelta(days=YEAR_DAYS)).isoformat()
    recent = [sum(taken >= since for taken in unit.taken) for unit in units]
    return sum(recent) * QUARTER_DAYS / YEAR_DAYS


# ---------------------------------------------------------------------------------- charts


def _present(
    units: Sequence[UnitChecks], plan: Budget, today: date
) -> tuple[dict[str, list[Stretched]], list[Repair], dict[str, float]]:
    """The present stretch of every track with its changes; what repairs did; limits widened.

    As in `scanqa.records.health`: each event begins every track anew, to see what it changed; then
    only those that it did.
    """
    tracks = [(unit, track) for unit in units for track in unit.tracks]
    everywhere = [_starts(unit, track, unit.events) for unit, track in tracks]
    changes, widened = _charted(tracks, dict(enumerate(everywhere)), plan.run_length)
    repairs: list[Repair] = []
    begins = [[0]] * len(tracks)
    first = 0
    for unit in units:
        mine = range(first, first + len(unit.tracks))
        first = mine.stop
        if unit.events and unit.tracks:
            series = [_series(*tracks[at], everywhere[at], changes[at]) for at in mine]
            found, changed = effects(series, unit.events, unit.lines, unit.looked)
            since = (today - timedelta(days=REPAIR_DAYS)).isoformat()
            repairs += [Repair(e, _helped(e)) for e in found if e.event.at >= since]
            for at in mine:
                begins[at] = _starts(*tracks[at], changed[tracks[at][1].key])
    other = {at: mine for at, mine in enumerate(begins) if mine != everywhere[at]}
    changes |= _charted(tracks, other, plan.run_length, widened)[0]
    repairs.sort(key=lambda r: r.effect.event.at, reverse=True)
    present: dict[str, list[Stretched]] = {unit.name: [] for unit in units}
    for at, (unit, track) in enumerate(tracks):
        present[unit.name].append(Stretched(track, begins[at][-1], tuple(changes[at])))
    return present, repairs, widened


def _charted(
    tracks: Sequence[tuple[UnitChecks, Track]],
    starts: Mapping[int, Sequence[int]],
    run_length: float,
    known: Mapping[str, float] | None = None,
) -> tuple[dict[int, list[Change]], dict[str, float]]:
    """Changes of the tracks that begin anew at `starts`, their stretches judged each by itself."""
    owners: list[int] = []
    stretches: list[Stretch] = []
    for at, mine in starts.items():
        track = tracks[at][1]
        count = len(track.values)
        if count >= FEWEST_CHECKS:
            for start, stop in zip(mine, [*mine[1:], count], strict=True):
                owners.append(at)
                stretches.append(Stretch(track, start, stop))
    found, widened = changes_of(stretches, run_length, known)
    changes: dict[int, list[Change]] = {at: [] for at in starts}
    for at, some in zip(owners, found, strict=True):
        changes[at] += some
    return changes, widened


def _starts(unit: UnitChecks, track: Track, events: Sequence[Event]) -> list[int]:
    """Where a track begins anew because of events."""
    if not events:
        return [0]
    checks = [bisect_left(unit.taken, event.at) for event in events]
    found = np.searchsorted(track.at, checks).tolist()
    return sorted({0, *(at for at in found if 0 < at < len(track.at))})


def _series(
    unit: UnitChecks, track: Track, starts: Sequence[int], changes: Sequence[Change]
) -> Series:
    """A track as the before and after of an event reads it."""
    doubts = track.doubts.tolist()
    whole = len(track.at) == len(unit.taken)
    dates = unit.taken if whole else tuple(unit.taken[at] for at in track.at)
    return Series(
        track.key, "", dates, (), tuple(track.values.tolist()),
        tuple(None if d != d else d for d in doubts), tuple(starts), tuple(changes), None, None,
        None, None, 0, "steady",
    )  # fmt: skip


def _helped(effect: Effect) -> Helped:
    """Whether what was done helped, by what the checks on both sides show."""
    if not effect.compared:
        return "not yet"
    better = bool(effect.went) or any(shift.verdict == "better" for shift in effect.shifts)
    worse = bool(effect.came) or any(shift.verdict == "worse" for shift in effect.shifts)
    if better:
        return "mixed" if worse else "helped"
    return "worse" if worse else "not shown"


def _calls(
    units: Sequence[UnitChecks], present: Mapping[str, Sequence[Stretched]], today: date
) -> tuple[list[Call], set[str]]:
    """Scanners that need a hand, and those of which one check shows something."""
    calls, waiting = [], set()
    for unit in units:
        moved: list[Moved] = []
        lines, once = lines_standing(unit)
        for each in present[unit.name]:
            if each.track.key.name in NAMED_BY_PLACE and unit.looked:
                continue
            recent = [c for c in each.changes if c.began >= each.start]
            standing, waits = moved_of(unit, each.track, recent) if recent else (None, False)
            once |= waits
            moved += [standing] if standing is not None else []
        call = call_of(unit, moved, lines, today)
        once |= call is None and unit.decided.decision in ACTS
        calls += [call] if call is not None else []
        waiting |= {unit.name} if once else set()
    return calls, waiting


# ----------------------------------------------------------------------------------- lists


def _row(unit: UnitChecks, called: Container[str], waiting: Container[str]) -> UnitRow:
    """A scanner in the list of all."""
    state: UnitState = "steady"
    if unit.name in called:
        state = "called"
    elif unit.name in waiting:
        state = "seen once"
    elif not unit.taken:
        state = "no check"
    elif len(unit.taken) < FEWEST_CHECKS:
        state = "too few checks"
    last = unit.taken[-1] if unit.taken else ""
    return UnitRow(
        unit.identity, unit.count, unit.first, last, unit.decided, state, len(unit.broken)
    )


def _due(units: Sequence[UnitChecks], today: date, every_days: int) -> list[Due]:
    """Checks that are late or due within a week, the latest first."""
    found = []
    for unit in units:
        last = unit.taken[-1][:10] if unit.taken else ""
        on = date.fromisoformat(last) + timedelta(days=every_days) if last else today
        late = (today - on).days
        if late >= -SOON_DAYS:
            found.append(Due(unit.name, last, on.isoformat(), late))
    return sorted(found, key=lambda due: (bool(due.last), -due.late, due.scanner))


def _news(units: Sequence[UnitChecks], calls: Sequence[Call], today: date) -> list[News]:
    """What is new since a month ago, the newest first."""
    since = (today - timedelta(days=MONTH_DAYS)).isoformat()
    found = [News(c.scanner, c.called, "call") for c in calls if c.called >= since]
    for unit in units:
        found += [
            News(unit.name, e.at, "event", after=e.words) for e in unit.events if e.at >= since
        ]
        if unit.first >= since:
            found.append(News(unit.name, unit.first, "first", after=unit.decisions[0]))
        found += [
            News(unit.name, at, "decision", before, after)
            for (_, before), (at, after) in pairwise(unit.said)
            if at >= since and before != after
        ]
    return sorted(found, key=lambda news: (news.at, news.scanner), reverse=True)
