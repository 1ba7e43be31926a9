"""Records in and out of a database (`scanqa.records.database` opens it).

Each change is one transaction, so that a killed process loses at most the record it was writing. A
record is known by its scanner and its scans. Adding the same again changes nothing, unless another
scanqa measured them or the user told other things of them: then it is replaced in its place. Two
processes may write at once.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Collection, Iterator, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any, Literal

import msgspec
import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import Connection, Engine

from scanqa.codec import from_builtins, to_builtins
from scanqa.errors import NotARecord
from scanqa.model import MeasuredBefore, Record, Streak
from scanqa.model.history import Event
from scanqa.records import methods
from scanqa.records.database import StoreError
from scanqa.records.packed import put_block
from scanqa.records.schema import block, event, record, streak, value
from scanqa.records.series import Value, values

SAME_LINE_MM = 0.5  # streaks of two scans of one check that lie this near are one


@dataclass(frozen=True, slots=True)
class Entry:
    """A record without its document."""

    id: int
    scanner: str
    taken: str
    created: str
    tool_version: str
    decision: str


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of a record that was put in.

    Attributes
    ----------
    how : str
        ``new``; ``known``, nothing changed; ``measured anew`` by another scanqa; ``corrected``: the
        user told other things of the same scans.
    before : mapping
        What was told before, if it was corrected.
    """

    id: int
    how: Literal["new", "known", "measured anew", "corrected"]
    before: dict[str, str]


@dataclass(frozen=True, slots=True)
class Line:
    """A streak as a history needs it; fields as for `scanqa.model.Streak`."""

    axis: str
    polarity: str
    at_mm: float
    width_um: float
    contrast_percent: float
    significance: float
    visible: bool


@dataclass(frozen=True, slots=True)
class Check:
    """The numbers of one qualification, for a history; `lines` are its streaks, each place once.

    `measured_before` are values of the same scans by methods that others have taken the place of.
    """

    record_id: int
    taken: str
    values: tuple[Value, ...]
    lines: tuple[Line, ...] = ()
    measured_before: tuple[MeasuredBefore, ...] = ()


# ------------------------------------------------------------------------------- writing


def add(engine: Engine, kept: Record) -> Kept:
    """Put a qualification on record."""
    row: dict[str, Any] = {
        "scanner": kept.scanner,
        "taken": taken(kept),
        "created": kept.created,
        "tool_version": kept.tool_version,
        "scans_key": scans_key(kept),
        "options": dict(kept.options),
        **judged(kept),
    }
    with engine.begin() as connection:
        new = _insert_unless_there(connection, record, row)
        found = connection.execute(
            sa.select(record.c.id, record.c.tool_version, record.c.options)
            .where(record.c.scanner == row["scanner"], record.c.scans_key == row["scans_key"])
            .with_for_update()
        ).one()
        how: Literal["new", "known", "measured anew", "corrected"] = "new"
        if not new:
            if found.options != row["options"]:
                how = "corrected"
            elif found.tool_version != row["tool_version"] or methods.changed(connection, found.id):
                how = "measured anew"
                row["document"]["measured_before"] = methods.measured_before(connection, found.id)
            else:
                return Kept(int(found.id), "known", {})
            connection.execute(sa.update(record).where(record.c.id == found.id).values(**row))
            _forget(connection, found.id)
        _write_numbers(connection, found.id, kept)
    return Kept(int(found.id), how, dict(found.options) if how == "corrected" else {})


def judged(kept: Record) -> dict[str, Any]:
    """The columns of a record that change when it is judged anew and its numbers stay."""
    return {
        "decision": kept.decision.decision,
        "decided": msgspec.to_builtins(kept.decision),
        "document": to_builtins(kept),
    }


def _write_numbers(connection: Connection, record_id: int, kept: Record) -> None:
    """Fill the tables that are made from a record's document."""
    rows = [_value_row(record_id, v) for v in values(kept.measures, kept.scans)]
    if rows:
        connection.execute(sa.insert(value), rows)
        put_block(connection, record_id, rows)
    lines = [
        {"record_id": record_id, "number": i, **asdict(line)}
        for i, line in enumerate(lines_of(kept.streaks))
    ]
    if lines:
        connection.execute(sa.insert(streak), lines)


def _forget(connection: Connection, record_id: int) -> None:
    for table in (value, block, streak):
        connection.execute(sa.delete(table).where(table.c.record_id == record_id))


def lines_of(streaks: Sequence[Streak]) -> list[Line]:
    """Streaks as a history needs them, the strongest of each place; those that a check shows alone.

    A line that only the difference to an earlier check shows would be called gone by the next one.
    """
    found: list[Line] = []
    for s in sorted((s for s in streaks if not s.since), key=lambda s: -s.contrast_percent):
        line = Line(**{name: getattr(s, name) for name in _LINE_FIELDS})
        if not any(
            (one.axis, one.polarity) == (line.axis, line.polarity)
            and abs(one.at_mm - line.at_mm) <= max(SAME_LINE_MM, one.width_um / 1000)
            for one in found
        ):
            found.append(line)
    return found


def _insert_unless_there(connection: Connection, table: sa.Table, row: dict[str, Any]) -> bool:
    dialect = sqlite if connection.dialect.name == "sqlite" else postgresql
    insert = dialect.insert(table).values(**row).on_conflict_do_nothing()
    return connection.execute(insert.returning(table.c.id)).first() is not None


def _value_row(record_id: int, v: Value) -> dict[str, Any]:
    row = {name: getattr(v, name) for name in _VALUE_FIELDS}
    return {"record_id": record_id, **row, "shared": msgspec.to_builtins(v.shared)}


_VALUE_FIELDS = tuple(Value.__dataclass_fields__)
_LINE_FIELDS = tuple(Line.__dataclass_fields__)


def add_event(engine: Engine, scanner: str, at: str, words: str) -> bool:
    """Keep an event; the same event again changes nothing (False)."""
    with engine.begin() as connection:
        row = {"scanner": scanner, "at": normal_time(at), "words": words}
        return _insert_unless_there(connection, event, row)


def remove(engine: Engine, record_id: int) -> bool:
    """Forget a record; False if there is none of that id."""
    with engine.begin() as connection:
        _forget(connection, record_id)
        return connection.execute(sa.delete(record).where(record.c.id == record_id)).rowcount == 1


# ------------------------------------------------------------------------------- reading


def entries(engine: Engine, scanner: str | None = None) -> list[Entry]:
    """Records without their documents, oldest scans first."""
    columns = [record.c[name] for name in Entry.__dataclass_fields__]
    query = sa.select(*columns).order_by(record.c.taken, record.c.id)
    if scanner is not None:
        query = query.where(record.c.scanner == scanner)
    with engine.connect() as connection:
        return [Entry(*row) for row in connection.execute(query)]


def read(engine: Engine, record_id: int) -> Record | None:
    """A whole record, or None if there is none of that id; raises as `_decoded`."""
    with engine.connect() as connection:
        found = connection.scalar(sa.select(record.c.document).where(record.c.id == record_id))
    return None if found is None else _decoded(found, record_id)


def _decoded(document: Any, record_id: int) -> Record:
    """The record of a document.

    Raises
    ------
    StoreError
        If this scanqa cannot read it.
    """
    try:
        return from_builtins(document)
    except NotARecord as error:
        raise StoreError(
            f"record {record_id}: {error}; measure its scans again with scanqa qualify"
        ) from error


def read_all(engine: Engine, scanner: str | None = None) -> Iterator[Record]:
    """Whole records, oldest scans first, one at a time; raises as `read`."""
    for entry in entries(engine, scanner):
        found = read(engine, entry.id)
        if found is not None:
            yield found


def count(engine: Engine, scanner: str) -> int:
    """How many records a scanner has."""
    query = sa.select(sa.func.count()).select_from(record).where(record.c.scanner == scanner)
    with engine.connect() as connection:
        return int(connection.scalar(query) or 0)


def history(
    engine: Engine,
    scanner: str,
    *,
    names: Sequence[str] | None = None,
    newest: int | None = None,
    since: str | None = None,
) -> list[Check]:
    """The numbers of the qualifications of a scanner, oldest scans first.

    Parameters
    ----------
    names : sequence of str or None
        Only these measures.
    newest : int or None
        Only so many checks, the newest ones.
    since : str or None
        Only checks from this time on.
    """
    chosen = sa.select(record.c.id).where(record.c.scanner == scanner)
    if since is not None:
        chosen = chosen.where(record.c.taken >= normal_time(since))
    if newest is not None:
        chosen = chosen.order_by(record.c.taken.desc(), record.c.id.desc()).limit(newest)
    columns = [value.c[name] for name in _VALUE_FIELDS]
    query = (
        sa.select(record.c.id, record.c.taken, *columns)
        .join(value, value.c.record_id == record.c.id)
        .where(record.c.id.in_(chosen))
        .order_by(record.c.taken, record.c.id)
    )
    if names is not None:
        query = query.where(value.c.name.in_(names))
    drawn = sa.select(streak.c.record_id, *(streak.c[name] for name in _LINE_FIELDS)).where(
        streak.c.record_id.in_(chosen)
    )
    checks: dict[int, tuple[str, list[Value]]] = {}
    lines: dict[int, list[Line]] = {}
    with engine.connect() as connection:
        for record_id, when, *fields in connection.execute(query):
            checks.setdefault(record_id, (when, []))[1].append(_value(fields))
        for record_id, *fields in connection.execute(drawn.order_by(streak.c.number)):
            lines.setdefault(record_id, []).append(Line(*fields))
        before = methods.all_measured_before(connection, chosen)
    return [
        Check(
            record_id, when, tuple(vs), tuple(lines.get(record_id, ())), before.get(record_id, ())
        )
        for record_id, (when, vs) in checks.items()
    ]


def _value(fields: Sequence[Any]) -> Value:
    row = dict(zip(_VALUE_FIELDS, fields, strict=True))
    return msgspec.convert(row, Value)


def before(engine: Engine, scanner: str, record_id: int) -> Record | None:
    """The check before a record, in the order of the scans; None if it is the first."""
    with engine.connect() as connection:
        taken = connection.scalar(sa.select(record.c.taken).where(record.c.id == record_id))
        earlier = sa.or_(
            record.c.taken < taken, sa.and_(record.c.taken == taken, record.c.id < record_id)
        )
        found = connection.scalar(
            sa.select(record.c.id)
            .where(record.c.scanner == scanner, earlier)
            .order_by(record.c.taken.desc(), record.c.id.desc())
            .limit(1)
        )
    return None if found is None else read(engine, found)


def newest(engine: Engine, scanner: str) -> Record | None:
    """The newest check of a scanner; None if there is none; raises as `read`."""
    found = entries(engine, scanner)
    return read(engine, found[-1].id) if found else None


def check_before(engine: Engine, kept: Record) -> Record | None:
    """The check before one that may not be on record yet; None if there is none."""
    query = (
        sa.select(record.c.id)
        .where(
            record.c.scanner == kept.scanner,
            record.c.taken <= taken(kept),
            record.c.scans_key != scans_key(kept),
        )
        .order_by(record.c.taken.desc(), record.c.id.desc())
        .limit(1)
    )
    with engine.connect() as connection:
        found = connection.scalar(query)
    return None if found is None else read(engine, found)


def events(engine: Engine, scanner: str) -> list[Event]:
    """Events of a scanner, oldest first."""
    query = sa.select(event.c.scanner, event.c.at, event.c.words).order_by(event.c.at, event.c.id)
    with engine.connect() as connection:
        return [Event(*row) for row in connection.execute(query.where(event.c.scanner == scanner))]


# ------------------------------------------------------------------------------- keys, times


def scans_key(kept: Record) -> str:
    """A hash over the scans' hashes, whatever their order."""
    return key_of([scan.sha256 for scan in kept.scans])


def key_of(hashes: Collection[str]) -> str:
    """The key of scans by the hashes of their files."""
    return hashlib.sha256(json.dumps(sorted(hashes)).encode()).hexdigest()


def taken(kept: Record) -> str:
    """When the scans were made: as the conditions state, else by the files, else as measured."""
    stated = kept.conditions.get("date")
    if stated:
        return normal_time(stated)
    modified = [scan.modified for scan in kept.scans if scan.modified]
    return normal_time(max(modified) if modified else kept.created)


def normal_time(text: str) -> str:
    """ISO 8601 in UTC with seconds, so that text order is time order; no zone means UTC.

    Raises
    ------
    StoreError
        If it is not a date.
    """
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as error:
        raise StoreError(f"{text!r} is not a date; write 2026-11-25 or 2026-11-25T10:00") from error
    if moment.tzinfo is None:
        moment = moment.replace(tzinfo=UTC)
    return moment.astimezone(UTC).isoformat(timespec="seconds")
