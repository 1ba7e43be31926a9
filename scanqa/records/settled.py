"""Records looked up by their scans before these are measured, and decided after their neighbours.

A batch measures the checks of a scanner in any order. Each goes on record without a decision; when
all are there, `settle` decides them in the order of their scans, by what was known then.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Engine

from scanqa.catalogue import CATALOGUE
from scanqa.model import Decision, Identity, Record
from scanqa.records import methods, scanners, store
from scanqa.records.database import StoreError
from scanqa.records.health import health
from scanqa.records.lamp import LIGHT
from scanqa.records.schema import record
from scanqa.version import __version__


@dataclass(frozen=True, slots=True)
class OnRecord:
    """A record that is there already.

    Attributes
    ----------
    options : mapping
        What was told of its scans.
    older : bool
        Whether a method, or scanqa as a whole, has changed since it was measured.
    """

    id: int
    options: Mapping[str, str]
    older: bool


def on_record(engine: Engine, scanner: str, hashes: Collection[str]) -> OnRecord | None:
    """The record of some scans, by the hashes of their files; None if there is none."""
    with engine.connect() as connection:
        found = connection.execute(
            sa.select(record.c.id, record.c.options, record.c.tool_version).where(
                record.c.scanner == scanner, record.c.scans_key == store.key_of(hashes)
            )
        ).first()
        if found is None:
            return None
        changed = methods.changed(connection, found.id)
    newer = any(version > CATALOGUE[name].version for name, version in changed.items())
    older = not newer and (bool(changed) or found.tool_version != __version__)
    return OnRecord(int(found.id), dict(found.options), older)


def keep_undecided(engine: Engine, measured: Record) -> store.Kept:
    """Put a check on record, to be decided when its neighbours are there.

    Raises
    ------
    StoreError
        If its scans are of another unit, as far as they and the records say.
    """
    name, stated = measured.scanner, measured.identity
    known = scanners.find(engine, name)
    if field := scanners.differing(known, stated):
        raise StoreError(
            f"{name} is on record with {field} {getattr(known, field)}; these scans say "
            f"{getattr(stated, field)}: not put on record; see that they are of this scanner"
        )
    if stated and (other := scanners.same_serial(scanners.all_known(engine), stated)):
        raise StoreError(
            f"these scans say serial {stated.serial}, which is {other}'s: not put on record; "
            f"list them as scans of {other}, or say which has it by scanqa scanners change"
        )
    return store.add(engine, replace(measured, decision=Decision()))


@dataclass(frozen=True, slots=True)
class Beside:
    """What was known of a unit when a check was made.

    Attributes
    ----------
    earlier : Record or None
        The check with which the stretch of light began in which it lies.
    before : Record or None
        The check before.
    noted : tuple of str
        Words of the events between that and this.
    identity : Identity or None
        Which unit it is.
    """

    earlier: Record | None
    before: Record | None
    noted: tuple[str, ...]
    identity: Identity | None


def settle(
    engine: Engine,
    scanner: str,
    mine: Collection[int],
    decided: Callable[[Record, Beside], Record],
) -> int:
    """Decide the records of a scanner from the first undecided one on; how many.

    Doing it again changes nothing, and two processes that do it at once write the same.

    Parameters
    ----------
    mine : collection of int
        The records that may be decided, by id; others are only looked at.
    decided : callable
        A record as it is to be kept, from itself and what stands beside it.
    """
    entries = _in_order(engine, scanner)
    open_ones = [e for e in entries if e.id in mine and not e.decision]
    if not open_ones:
        return 0
    todo = [e for e in entries if e.id in mine and e.taken >= open_ones[0].taken]
    checks = store.history(engine, scanner, names=[LIGHT])
    events = store.events(engine, scanner)
    place = {entry.id: at for at, entry in enumerate(entries)}
    number = 0
    for entry in todo:
        found = store.read(engine, entry.id)
        if found is None:
            continue
        past = [check for check in checks if place[check.record_id] < place[entry.id]]
        then = [event for event in events if event.at <= entry.taken]
        starts = [s.dates[s.starts[-1]] for s in health(scanner, past, then).series]
        first = next((c.record_id for c in past if starts and c.taken == max(starts)), None)
        before = entries[place[entry.id] - 1] if place[entry.id] else None
        beside = Beside(
            store.read(engine, first) if first is not None else None,
            store.read(engine, before.id) if before else None,
            tuple(e.words for e in then if not before or before.taken < e.at),
            scanners.fill_blanks(engine, found.identity)
            if found.identity
            else scanners.find(engine, scanner),
        )
        number += _rewrite(engine, entry.id, decided(found, beside))
    return number


def _in_order(engine: Engine, scanner: str) -> Sequence[Any]:
    """Records by the time of their scans; of one time by their scans, whatever came first."""
    query = sa.select(record.c.id, record.c.taken, record.c.decision)
    with engine.connect() as connection:
        return connection.execute(
            query.where(record.c.scanner == scanner).order_by(record.c.taken, record.c.scans_key)
        ).all()


def check_may_write(engine: Engine) -> None:
    """See that this user of the database may write, before the work and not after.

    Raises
    ------
    StoreError
        From `open_store`, if not.
    """
    with engine.begin() as connection:
        connection.execute(sa.update(record).where(sa.false()).values(taken=record.c.taken))


def _rewrite(engine: Engine, record_id: int, kept: Record) -> bool:
    """Put a record in the place of itself with other words; its numbers stay. False if it went."""
    with engine.begin() as connection:
        changed = connection.execute(
            sa.update(record).where(record.c.id == record_id).values(**store.judged(kept))
        )
    return changed.rowcount == 1
