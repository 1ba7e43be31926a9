"""All scanners of a database on one day: `overlook` puts together what each module finds."""

from __future__ import annotations

from collections.abc import Container, Mapping, Sequence
from datetime import date, timedelta
from itertools import pairwise

from sqlalchemy.engine import Engine

from scanqa.model import Key
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
from scanqa.records.units_list import same_serial

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
        tuple(same_serial(unit.identity for unit in units)),
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
    everywhere = {
        (unit.name, track.key): _starts(unit, track, unit.events)
        for unit in units for track in unit.tracks
    }  # fmt: skip
    changes, widened = _charted(units, everywhere, plan.run_length)
    repairs: list[Repair] = []
    begins = {place: [0] for place in everywhere}
    for unit in units:
        if unit.events and unit.tracks:
            series = [
                _series(unit, t, everywhere[unit.name, t.key], changes[unit.name, t.key])
                for t in unit.tracks
            ]
            found, changed = effects(series, unit.events, unit.lines, unit.looked)
            since = (today - timedelta(days=REPAIR_DAYS)).isoformat()
            repairs += [Repair(e, _helped(e)) for e in found if e.event.at >= since]
            for track in unit.tracks:
                begins[unit.name, track.key] = _starts(unit, track, changed[track.key])
    other = {place: at for place, at in begins.items() if at != everywhere[place]}
    changes |= _charted(units, other, plan.run_length, widened)[0]
    repairs.sort(key=lambda r: r.effect.event.at, reverse=True)
    present = {
        unit.name: [
            Stretched(track, begins[unit.name, track.key][-1], tuple(changes[unit.name, track.key]))
            for track in unit.tracks
        ]
        for unit in units
    }
    return present, repairs, widened


Place = tuple[str, Key]  # a scanner, and one of its measures


def _charted(
    units: Sequence[UnitChecks],
    starts: Mapping[Place, Sequence[int]],
    run_length: float,
    known: Mapping[str, float] | None = None,
) -> tuple[dict[Place, list[Change]], dict[str, float]]:
    """Changes of the tracks that begin anew at `starts`, their stretches judged each by itself."""
    places: list[Place] = []
    stretches: list[Stretch] = []
    for unit in units:
        for track in unit.tracks:
            if len(track.values) < FEWEST_CHECKS or (unit.name, track.key) not in starts:
                continue
            mine = starts[unit.name, track.key]
            for start, stop in zip(mine, [*mine[1:], len(track.values)], strict=True):
                places.append((unit.name, track.key))
                stretches.append(Stretch(track, start, stop))
    found, widened = changes_of(stretches, run_length, known)
    changes: dict[Place, list[Change]] = {place: [] for place in starts}
    for place, some in zip(places, found, strict=True):
        changes[place] += some
    return changes, widened


def _starts(unit: UnitChecks, track: Track, events: Sequence[Event]) -> list[int]:
    """Where a track begins anew because of events."""
    dates = [unit.taken[at] for at in track.at] if events else []
    found = {sum(when < event.at for when in dates) for event in events}
    return sorted({0, *(at for at in found if 0 < at < len(dates))})


def _series(
    unit: UnitChecks, track: Track, starts: Sequence[int], changes: Sequence[Change]
) -> Series:
    """A track as the before and after of an event reads it."""
    doubts = track.doubts.tolist()
    return Series(
        track.key, "", tuple(unit.taken[at] for at in track.at), (), tuple(track.values.tolist()),
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
        call = call_of(unit, moved, lines, today.isoformat())
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
