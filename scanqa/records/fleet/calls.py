"""From alarms to calls: what stays changed at the checks after the alarm, and what it costs.

An alarm is chosen by the data that raise it, so those checks say too much. The checks *after* it
had no part in it: a call is made with the first of them at which their mean lies at least half of
the step away from the old level (the point between "nothing" and "all of it", at which both are
equally likely for normal scatter). It stands as long as the newest checks do, and ends with an
event that changed the measure, so that a false one ends by itself and no fault is called for ever.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from datetime import date
from itertools import accumulate

from scanqa.model import Floats
from scanqa.model.fleet import Call, CallKind, Moved, Way
from scanqa.model.history import Change, StreakLife
from scanqa.records.fleet.gather import Track, UnitChecks
from scanqa.records.weigh import improves, matters

HALF = 0.5  # of a step
NEWEST = 3  # checks whose median is the present level
ACTS = frozenset({"return", "ask-seller", "repair", "clean"})  # decisions that ask for something
LINE_MATTERS = "streaks.strongest_visible"  # its difference that matters is that of a line
NAMED_BY_PLACE = frozenset({LINE_MATTERS})  # lines are followed by their place beside the charts


def moved_of(
    unit: UnitChecks, track: Track, changes: Sequence[Change]
) -> tuple[Moved | None, bool]:
    """What a track of a scanner shows today.

    Parameters
    ----------
    changes : sequence of Change
        Of its present stretch, oldest first.

    Returns
    -------
    Moved or None
        The first change that was confirmed and still stands.
    bool
        Whether its newest change waits for the check that decides.
    """
    values = track.values
    standing = None
    for change in changes:
        confirmed = _confirmed(values, change)
        if confirmed is None:
            continue
        now = statistics.median(values[max(change.alarm + 1, len(values) - NEWEST) :].tolist())
        if _share(change, now) < HALF:
            continue
        better = improves(track.key.name, now - change.before)
        way: Way = "different" if better is None else "better" if better else "worse"
        if standing is None or (standing.way == "better" and way != "better"):
            standing = Moved(
                track.key,
                change.before,
                now,
                unit.taken[track.at[change.began]],
                unit.taken[track.at[confirmed]],
                way,
                cost_of(track.key.name, change.before, now),
            )
    waiting = bool(changes) and changes[-1].alarm == len(values) - 1
    return standing, waiting and _recent(unit, track)


def _recent(unit: UnitChecks, track: Track) -> bool:
    """Whether the newest check measured it."""
    return bool(track.at[-1] == len(unit.taken) - 1)


def _confirmed(values: Floats, change: Change) -> int | None:
    """Index of the check that confirmed a change; None if none did."""
    after = values[change.alarm + 1 :].tolist()
    for count, total in enumerate(accumulate(after), 1):
        if _share(change, total / count) >= HALF:
            return change.alarm + count
    return None


def _share(change: Change, level: float) -> float:
    """How far of the step a level lies from the old one."""
    step = change.after - change.before
    return (level - change.before) / step if step else 0.0


def cost_of(name: str, before: float, now: float) -> float:
    """A change in units of what matters to the work; 0 where nothing is set."""
    unit = matters(name, before, now)
    return abs(now - before) / unit if unit else 0.0


def lines_standing(unit: UnitChecks) -> tuple[list[StreakLife], bool]:
    """New lines that two checks show and that are still there; whether one was seen once only."""
    new = [line for line in unit.lines if not line.since_start and not line.gone]
    standing = [line for line in new if line.again]
    return standing, any(not line.again for line in new)


def call_of(
    unit: UnitChecks, moved: Iterable[Moved], lines: Sequence[StreakLife], today: date
) -> Call | None:
    """The call of a scanner; None if nothing asks for one.

    A decision of a check is called if the check before said it too, or as long as the unit can be
    returned: the first is a second look, the second does not wait.
    """
    worse = sorted((m for m in moved if m.way != "better"), key=lambda m: -m.cost)
    kinds: list[CallKind] = []
    days_left = unit.identity.days_left(today)
    decided = unit.decided if unit.decided.decision in ACTS else None
    said = [decision in ACTS for _, decision in unit.said]
    twice = len(said) > 1 and said[-2]
    window = days_left is not None and days_left >= 0
    if decided is not None and (twice or window or len(said) == 1):
        kinds.append("decision")
    else:
        decided = None
    kinds += ["moved"] if worse else []
    kinds += ["line"] if lines else []
    if not kinds:
        return None
    begun = [m.since for m in worse] + [line.first for line in lines]
    called = [m.called for m in worse] + [line.again for line in lines]
    if decided is not None:
        at = len(said) - 1
        while at > 0 and said[at - 1]:
            at -= 1
        begun.append(unit.said[at][0])
        called.append(unit.said[min(at + 1, len(said) - 1)][0])
    costs = [m.cost for m in worse]
    costs += [line.contrast_percent / matters(LINE_MATTERS, 0.0, 0.0) for line in lines]
    return Call(
        unit.name,
        tuple(kinds),
        min(begun),
        min(called),
        tuple(worse),
        tuple(lines),
        decided,
        unit.decided.unfit if decided is not None else (),
        max(costs, default=0.0),
        days_left if window and decided is not None else None,
    )


def by_cost(call: Call) -> tuple[float, ...]:
    """What comes first: a return window, uses that are lost, then what moved furthest."""
    window = call.days_left if call.days_left is not None else 10_000
    return (window, -len(call.unfit), "decision" not in call.kinds, -call.cost)
