"""Which unit a name means: its make, model, serial and papers, kept beside the records."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, replace
from datetime import date

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import Connection, Engine

from scanqa.model import Identity
from scanqa.model.history import Event
from scanqa.records.database import StoreError
from scanqa.records.schema import event, record
from scanqa.records.schema import scanner as table

DATES = ("acquired", "return_until", "retired")
TELLS_UNITS_APART = ("serial", "model")
FIELDS = tuple(Identity.__dataclass_fields__)


def find(engine: Engine, name: str) -> Identity | None:
    """What is known of a unit; None if nothing was ever noted."""
    query = sa.select(*(table.c[field] for field in FIELDS)).where(table.c.scanner == name)
    with engine.connect() as connection:
        row = connection.execute(query).first()
    return None if row is None else Identity(*row)


def all_known(engine: Engine) -> list[Identity]:
    """All units that something was noted of, by name."""
    with engine.connect() as connection:
        return noted(connection)


def noted(connection: Connection) -> list[Identity]:
    """As `all_known`, beside other questions."""
    query = sa.select(*(table.c[field] for field in FIELDS)).order_by(table.c.scanner)
    return [Identity(*row) for row in connection.execute(query)]


def all_names(engine: Engine) -> tuple[str, ...]:
    """Every name that a record, an event or a note goes by."""
    each = sa.union(*(sa.select(known.c.scanner) for known in (table, record, event)))
    with engine.connect() as connection:
        return tuple(sorted(connection.scalars(each)))


def numbered_events(engine: Engine, scanner: str | None) -> list[tuple[int, Event]]:
    """Events of a scanner, or of all, with their numbers, oldest first."""
    query = sa.select(event.c.id, event.c.scanner, event.c.at, event.c.words)
    if scanner is not None:
        query = query.where(event.c.scanner == scanner)
    with engine.connect() as connection:
        rows = connection.execute(query.order_by(event.c.at, event.c.id))
        return [(number, Event(*rest)) for number, *rest in rows]


def remove_event(engine: Engine, number: int) -> None:
    """Forget an event."""
    with engine.begin() as connection:
        connection.execute(sa.delete(event).where(event.c.id == number))


def keep_identity(engine: Engine, identity: Identity) -> None:
    """Note what is known of a unit, in place of what was.

    Raises
    ------
    StoreError
        If a date is none.
    """
    row = asdict(_with_dates(identity))
    with engine.begin() as connection:
        if not _begun(connection, row):
            connection.execute(_update_of(identity.scanner).values(**row))


def fill_blanks(engine: Engine, stated: Identity) -> Identity:
    """Fill what is not noted of a unit by what files state; what is noted then.

    Two processes may do so at once: what was noted first stays.
    """
    with engine.begin() as connection:
        if _begun(connection, asdict(stated)):
            return stated
        mine = sa.select(*(table.c[field] for field in FIELDS)).with_for_update()
        row = connection.execute(mine.where(table.c.scanner == stated.scanner)).one()
        filled = filled_by(Identity(*row), stated)
        connection.execute(_update_of(stated.scanner).values(**asdict(filled)))
    return filled


def same_serial(identities: Sequence[Identity], unit: Identity) -> str:
    """Another name that may stand for this unit (`may_be_one`); else empty."""
    return next((each.scanner for each in identities if may_be_one(each, unit)), "")


def may_be_one(one: Identity, other: Identity) -> bool:
    """Whether two names may stand for one unit: one serial, and no make or model against it.

    Makers number their units each for itself, and so do models. A unit that is retired holds its
    serial no more.
    """
    if one.scanner == other.scanner or one.retired or other.retired:
        return False
    two_makes = one.make and other.make and one.make.casefold() != other.make.casefold()
    return bool(one.serial and other.serial) and not two_makes and not differing(one, other)


def _begun(connection: Connection, row: dict[str, str]) -> bool:
    """Note a unit of which nothing was noted; False if something was."""
    dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
    insert = dialect.insert(table).values(**row).on_conflict_do_nothing()
    return connection.execute(insert.returning(table.c.scanner)).first() is not None


def _update_of(scanner: str) -> sa.Update:
    return sa.update(table).where(table.c.scanner == scanner)


def differing(known: Identity | None, stated: Identity | None) -> str:
    """What makes of a name two units: the field in which both say something, and not the same."""
    if known is None or stated is None:
        return ""
    for field in TELLS_UNITS_APART:
        ours, theirs = getattr(known, field), getattr(stated, field)
        if ours and theirs and ours.casefold() != theirs.casefold():
            return field
    return ""


def joint(known: Identity | None, stated: Identity | None) -> Identity | None:
    """What is known, its blanks filled by what the files state."""
    return filled_by(known, stated) if known and stated else known or stated


def filled_by(known: Identity, stated: Identity) -> Identity:
    """What is known, and where nothing is, what is stated."""
    blanks = {f: getattr(stated, f) for f in FIELDS if not getattr(known, f)}
    return replace(known, **blanks)


def _with_dates(identity: Identity) -> Identity:
    """With dates as ISO 8601."""
    for field in DATES:
        words = getattr(identity, field)
        if not words:
            continue
        try:
            date.fromisoformat(words)
        except ValueError as error:
            raise StoreError(
                f"{identity.scanner}: {field.replace('_', ' ')} {words!r} is not a date; "
                "write 2026-11-25"
            ) from error
    return identity
