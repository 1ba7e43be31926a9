"""Everything that a page over all scanners needs, in a handful of queries.

Numbers come from `scanqa.records.packed`, a block for each check, and are laid out as one `Track`
for each measure of each scanner. A record whose block is broken is named; the rest is read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Any, NamedTuple

import msgspec
import numpy as np
import sqlalchemy as sa
from numpy.typing import NDArray
from sqlalchemy.engine import Connection, Engine

from scanqa.catalogue import CATALOGUE
from scanqa.model import Decision, Floats, Identity, Key
from scanqa.model.history import Event, StreakLife
from scanqa.records import scanners
from scanqa.records.health import NONE_FOUND
from scanqa.records.packed import Place, read_layouts, unpacked
from scanqa.records.schema import block, event, record, streak
from scanqa.records.store import Line
from scanqa.records.streak_lives import LOOKED, lives_of

NEWEST = 240  # checks of a scanner: twenty years of months, a year of working days
UNDECIDED = ("", "too-little")  # decisions that leave standing what an earlier check decided
LOCK_PATIENCE = "30s"  # as SQLite's


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """One measure of one scanner over its checks.

    Attributes
    ----------
    at : (n,) int
        Which checks of the unit they are.
    values, doubts : (n,)
        As charts see them; the doubt of each check alone, NaN where it is not known.
    """

    key: Key
    at: NDArray[np.int64]
    values: Floats
    doubts: Floats


@dataclass(frozen=True, slots=True, eq=False)
class UnitChecks:
    """A scanner and its newest checks, oldest first.

    Attributes
    ----------
    taken, decisions : tuple of str
        Of each check: when, and the id of its decision.
    decided : Decision
        Of the newest check that could decide: two blanks a month leave most of a unit open.
    lines : tuple of StreakLife
        Streaks by place.
    count, first : int, str
        Checks on record; the time of the oldest.
    broken : tuple of int
        Records whose numbers cannot be read.
    """

    identity: Identity
    taken: tuple[str, ...]
    decisions: tuple[str, ...]
    decided: Decision
    tracks: tuple[Track, ...]
    lines: tuple[StreakLife, ...]
    looked: tuple[str, ...]
    events: tuple[Event, ...]
    count: int
    first: str
    broken: tuple[int, ...]

    @property
    def name(self) -> str:
        """Its name."""
        return self.identity.scanner

    @property
    def said(self) -> tuple[tuple[str, str], ...]:
        """Time and decision of each check that could decide."""
        pairs = zip(self.taken, self.decisions, strict=True)
        return tuple((at, word) for at, word in pairs if word not in UNDECIDED)


class _Row(NamedTuple):
    id: int
    scanner: str
    taken: str
    decision: str
    layout_id: int | None
    numbers: bytes | None


class _Column(NamedTuple):
    """A watched measure in a layout."""

    at: int
    base: Key
    kind: tuple[int, int]  # method version, dpi


def gather(engine: Engine) -> list[UnitChecks]:
    """All scanners that are noted or have records, by name."""
    with engine.connect() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.text(f"SET LOCAL lock_timeout = '{LOCK_PATIENCE}'"))
        layouts = read_layouts(connection)
        columns = {number: tuple(_columns(places)) for number, places in layouts.items()}
        looking = {
            number for number, places in layouts.items()
            if any(place.key.name.startswith(LOOKED) for place in places)
        }  # fmt: skip
        rows = _rows(connection)
        lines = _lines(connection)
        decided = _decided(connection)
        counted = _counted(connection)
        events = _events(connection)
        known = {each.scanner: each for each in scanners.noted(connection)}
    by_name = {name: list(some) for name, some in groupby(rows, key=lambda row: row.scanner)}
    units = []
    for name in sorted({*by_name, *known, *events}):
        mine = by_name.get(name, [])
        tracks, broken = _tracks(mine, layouts, columns)
        seen = [row for row in mine if row.layout_id in looking]
        looked = tuple(row.taken for row in seen)
        drawn = [lines.get(row.id, []) for row in seen]
        count, first = counted.get(name, (0, ""))
        units.append(
            UnitChecks(
                known.get(name, Identity(name)),
                tuple(row.taken for row in mine),
                tuple(row.decision for row in mine),
                decided.get(name, Decision()),
                tracks,
                lives_of(drawn, looked) if any(drawn) else (),
                looked,
                tuple(events.get(name, ())),
                count,
                first,
                broken,
            )
        )
    return units


def _columns(places: Sequence[Place]) -> Iterator[_Column]:
    """The watched measures of a layout; what this scanqa does not know is left out."""
    for at, place in enumerate(places):
        row = CATALOGUE.get(place.key.name)
        if row is not None and row.watched:
            yield _Column(at, place.key._replace(dpi=0), (place.version, place.key.dpi))


def _newest(*first: Any) -> Any:
    """Records with their rank in a scanner's: by `first`, then the newest first."""
    order = sa.func.row_number().over(
        partition_by=record.c.scanner,
        order_by=(*first, record.c.taken.desc(), record.c.id.desc()),
    )
    return sa.select(record.c.id, order.label("rank")).subquery()


def _rows(connection: Connection) -> list[_Row]:
    ranked = _newest()
    query = (
        sa.select(
            record.c.id, record.c.scanner, record.c.taken, record.c.decision,
            block.c.layout_id, block.c.numbers,
        )
        .join(ranked, ranked.c.id == record.c.id)
        .outerjoin(block, block.c.record_id == record.c.id)
        .where(ranked.c.rank <= NEWEST)
        .order_by(record.c.scanner, record.c.taken, record.c.id)
    )  # fmt: skip
    found = [_Row(*row) for row in connection.execute(query)]
    return sorted(found, key=lambda row: row.scanner)  # databases order letters each their own way


def _lines(connection: Connection) -> dict[int, list[Line]]:
    names = tuple(Line.__dataclass_fields__)
    query = sa.select(streak.c.record_id, *(streak.c[name] for name in names))
    found: dict[int, list[Line]] = {}
    for number, *fields in connection.execute(query.order_by(streak.c.record_id, streak.c.number)):
        found.setdefault(number, []).append(Line(*fields))
    return found


def _decided(connection: Connection) -> dict[str, Decision]:
    """The decision of each scanner that stands; its id alone where it cannot be read."""
    ranked = _newest(sa.case((record.c.decision.in_(UNDECIDED), 1), else_=0))
    query = (
        sa.select(record.c.scanner, record.c.decision, record.c.decided)
        .join(ranked, ranked.c.id == record.c.id)
        .where(ranked.c.rank == 1)
    )
    found = {}
    for name, word, whole in connection.execute(query):
        try:
            found[name] = msgspec.convert(whole, Decision)
        except msgspec.ValidationError:
            found[name] = Decision(word)
    return found


def _counted(connection: Connection) -> dict[str, tuple[int, str]]:
    query = sa.select(record.c.scanner, sa.func.count(), sa.func.min(record.c.taken)).group_by(
        record.c.scanner
    )
    return {name: (int(count), first) for name, count, first in connection.execute(query)}


def _events(connection: Connection) -> dict[str, list[Event]]:
    query = sa.select(event.c.scanner, event.c.at, event.c.words).order_by(event.c.at, event.c.id)
    found: dict[str, list[Event]] = {}
    for row in connection.execute(query):
        found.setdefault(row[0], []).append(Event(*row))
    return found


# ---------------------------------------------------------------------------------- tracks


def _tracks(
    rows: Sequence[_Row],
    layouts: Mapping[int, Sequence[Place]],
    columns: Mapping[int, Sequence[_Column]],
) -> tuple[tuple[Track, ...], tuple[int, ...]]:
    """The measures of a scanner over its checks, and the records that cannot be read."""
    read: dict[int, list[tuple[int, bytes]]] = {}
    broken = []
    for at, row in enumerate(rows):
        if row.layout_id is None or row.numbers is None:
            continue  # a check without numbers
        if row.layout_id in layouts:
            read.setdefault(row.layout_id, []).append((at, row.numbers))
        else:
            broken.append(row.id)
    parts: dict[Key, list[_Part]] = {}
    for number, some in read.items():
        numbers, whole = unpacked([each for _, each in some], len(layouts[number]))
        checks = np.array([at for at, _ in some], np.int64)
        broken += [rows[at].id for at in checks[~whole]]
        checks = checks[whole]
        for column in columns[number] if len(checks) else ():
            mine = numbers.value[:, column.at]
            if column.base.name in NONE_FOUND:
                mine = np.where(numbers.at_most[:, column.at], 0.0, mine)
            part = _Part(column.kind, checks, mine, numbers.doubt[:, column.at])
            parts.setdefault(column.base, []).append(part)
    return tuple(_track(base, some) for base, some in parts.items()), tuple(sorted(broken))


class _Part(NamedTuple):
    """Checks of one layout by one measure."""

    kind: tuple[int, int]  # method version, dpi
    at: NDArray[np.int64]
    values: Floats
    doubts: Floats


def _track(base: Key, parts: Sequence[_Part]) -> Track:
    """Parts of one measure put together: those of the newest method at the dpi of the newest."""
    version = max(part.kind[0] for part in parts)
    newest = max((part for part in parts if part.kind[0] == version), key=lambda part: part.at[-1])
    wanted = [part for part in parts if part.kind == newest.kind]
    key = base._replace(dpi=newest.kind[1])
    if len(wanted) == 1:
        return Track(key, newest.at, newest.values, newest.doubts)
    at = np.concatenate([part.at for part in wanted])
    order = np.argsort(at, kind="stable")
    values = np.concatenate([part.values for part in wanted])[order]
    doubts = np.concatenate([part.doubts for part in wanted])[order]
    return Track(key, at[order], values, doubts)
