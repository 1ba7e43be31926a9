"""What a page over all scanners shows, as ids, dates and numbers; frozen.

Dates are ISO 8601. A *call* says that a scanner needs a hand; `Call.kind` says what it rests on.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

from scanqa.model.decided import Decision, Identity
from scanqa.model.history import Crossing, Effect, StreakLife
from scanqa.model.result import Key

Way = Literal["worse", "better", "different"]
CallKind = Literal["decision", "moved", "line"]
UnitState = Literal["called", "seen once", "steady", "too few checks", "no check"]
Helped = Literal["helped", "not shown", "worse", "mixed", "not yet"]


@dataclass(frozen=True, slots=True)
class Moved:
    """A measure that left its level and stays away from it.

    Attributes
    ----------
    before, now : float
        Its level before the change; the median of the newest checks.
    since, called : str
        Time of the first check that belongs to the change; of the check that confirmed it.
    cost : float
        The change in units of the difference from which on it matters to the work.
    """

    key: Key
    before: float
    now: float
    since: str
    called: str
    way: Way
    cost: float


@dataclass(frozen=True, slots=True)
class Call:
    """A scanner that needs a hand, and why.

    Attributes
    ----------
    since, called : str
        When it began; when it was first called.
    moved : tuple of Moved
        What moved for the worse, the costliest first.
    lines : tuple of StreakLife
        New lines that two checks show at one place.
    decision : Decision or None
        That the newest check asks for something to be done, where it does.
    unfit : tuple of str
        Uses that the scanner has become unfit for.
    cost : float
        Of the costliest thing, in units of what matters to the work.
    days_left : int or None
        To return the unit, where that is open.
    """

    scanner: str
    kinds: tuple[CallKind, ...]
    since: str
    called: str
    moved: tuple[Moved, ...] = ()
    lines: tuple[StreakLife, ...] = ()
    decision: Decision | None = None
    unfit: tuple[str, ...] = ()
    cost: float = 0.0
    days_left: int | None = None


@dataclass(frozen=True, slots=True)
class Due:
    """When a scanner is to be checked next; `late` counts days since, negative before."""

    scanner: str
    last: str
    on: str
    late: int


@dataclass(frozen=True, slots=True)
class News:
    """One thing that is new since a month ago.

    `kind`: a ``decision`` that is another one (`before`, `after` are ids), a ``call`` that was
    made, an ``event`` that was noted (`after` holds its words), a ``first`` check.
    """

    scanner: str
    at: str
    kind: Literal["decision", "call", "event", "first"]
    before: str = ""
    after: str = ""


@dataclass(frozen=True, slots=True)
class Apart:
    """A scanner that differs from the others of its model in one measure.

    Attributes
    ----------
    value, usual : float
        Its own level, and the mean of the others.
    count : int
        Scanners of the model that are known by this measure.
    cost : float
        The difference in units of what matters to the work.
    """

    scanner: str
    model: str
    key: Key
    value: float
    usual: float
    count: int
    way: Way
    cost: float


FEWEST_OF_A_MODEL = 8  # scanners, for one of them to be held against the others


@dataclass(frozen=True, slots=True)
class ModelKnown:
    """How many scanners of a model are on record, and whether they are enough to compare."""

    model: str
    count: int
    compared: bool


@dataclass(frozen=True, slots=True)
class LampEnd:
    """A lamp whose light falls: the share that is left, and months until half of it is gone."""

    scanner: str
    lamp: str
    left: float
    half_in_months: Crossing | None


@dataclass(frozen=True, slots=True)
class Repair:
    """Something that was done to a scanner, and whether it helped."""

    effect: Effect
    helped: Helped


@dataclass(frozen=True, slots=True)
class UnitRow:
    """A scanner in the list of all.

    Attributes
    ----------
    checks : int
        On record.
    first, last : str
        Times of the oldest and newest check; empty without any.
    state : str
        ``called``, ``seen once``, ``steady``, ``too few checks`` or ``no check``.
    lost : int
        Newest checks whose numbers cannot be read.
    """

    identity: Identity
    checks: int
    first: str
    last: str
    decision: Decision
    state: UnitState
    lost: int = 0


@dataclass(frozen=True, slots=True)
class Budget:
    """How the chance of a false call is held over the fleet.

    Attributes
    ----------
    a_quarter : float
        False calls a quarter at most, whatever the size of the fleet.
    checks_a_quarter : float
        Of the whole fleet.
    series : int
        Measures that are watched, over all scanners.
    run_length : float
        Checks between false alarms of one measure of one scanner that this asks for.
    widened : dict
        By measure, how much wider its limits are than ideal values would ask: what the fleet
        itself shows.
    """

    a_quarter: float
    checks_a_quarter: float
    series: int
    run_length: float
    widened: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Fleet:
    """All scanners of a database on one day.

    Attributes
    ----------
    calls : tuple of Call
        The costliest first.
    seen_once : tuple of str
        Scanners of which one check shows something; the next one decides.
    same_serial : tuple of tuple of str
        Names that go by one serial number.
    unreadable : tuple of (scanner, record)
        Records whose numbers cannot be read; everything else is shown.
    """

    today: str
    every_days: int
    units: tuple[UnitRow, ...]
    retired: tuple[str, ...]
    calls: tuple[Call, ...]
    seen_once: tuple[str, ...]
    due: tuple[Due, ...]
    news: tuple[News, ...]
    apart: tuple[Apart, ...]
    models: tuple[ModelKnown, ...]
    lamps: tuple[LampEnd, ...]
    repairs: tuple[Repair, ...]
    budget: Budget
    same_serial: tuple[tuple[str, ...], ...] = ()
    unreadable: tuple[tuple[str, int], ...] = ()
