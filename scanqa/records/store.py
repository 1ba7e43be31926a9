"""Records in a database: a SQLite file by default, PostgreSQL by URL.

Each change is one transaction, so that a killed process loses at most the record it was writing.
Adding the same scans again changes nothing, unless a newer scanqa measured them: then the record
is measured anew in its place. Two processes may write at once.
"""

from __future__ import annotations

import hashlib
import json
import os
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.engine import Connection, Engine

from scanqa.errors import ScanqaError
from scanqa.over_time import Event
from scanqa.records.series import Value, values
from scanqa.records.tables import event, metadata, record, streak, value

ENVIRONMENT = "SCANQA_RECORDS"
SQLITE_PATIENCE_S = 30
SAME_LINE_MM = 0.5  # streaks of two scans of one check that lie this near are one


class StoreError(ScanqaError):
    """The database cannot be used: says which one, and what would help."""


@dataclass(frozen=True, slots=True)
class Entry:
    """A record without its document."""

    id: int
    scanner: str
    taken: str
    created: str
    tool_version: str


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
    """The numbers of one qualification, for a history; `lines` are its streaks, each place once."""

    record_id: int
    taken: str
    values: tuple[Value, ...]
    lines: tuple[Line, ...] = ()


def default_url() -> str:
    """``SCANQA_RECORDS`` or a SQLite file in the user's data folder."""
    given = os.environ.get(ENVIRONMENT)
    if given:
        return given
    import platformdirs

    return f"sqlite:///{platformdirs.user_data_path('scanqa') / 'records.sqlite'}"


@contextmanager
def open_store(url: str | None = None) -> Iterator[Engine]:
    """A database at the newest schema; made or upgraded where needed.

    Raises
    ------
    StoreError
        If it cannot be opened, or was written by a newer scanqa.
    """
    url = url or default_url()
    try:
        parsed = sa.make_url(url if "://" in url else f"sqlite:///{url}")
        engine = _engine(parsed)
    except (sa.exc.ArgumentError, sa.exc.NoSuchModuleError, ImportError, OSError) as error:
        raise StoreError(
            f"records {_shown(url)}: cannot be opened: {error}; give a file, sqlite:///FILE or "
            "postgresql+psycopg://USER@HOST/NAME (needs scanqa[postgres])"
        ) from error
    try:
        _upgrade(engine, _shown(url))
        yield engine
    except (sa.exc.OperationalError, sa.exc.DatabaseError) as error:
        reason = str(error.orig).strip().splitlines()[0]
        raise StoreError(
            f"records {_shown(url)}: {reason}; check that the database exists, is reachable and "
            "is one of scanqa's"
        ) from error
    finally:
        engine.dispose()


def _engine(url: sa.URL) -> Engine:
    if url.get_backend_name() != "sqlite":
        return sa.create_engine(url)
    if url.database and url.database != ":memory:":
        Path(url.database).expanduser().parent.mkdir(parents=True, exist_ok=True)
    engine = sa.create_engine(url, connect_args={"timeout": SQLITE_PATIENCE_S})

    @sa.event.listens_for(engine, "connect")
    def _set_up(connection: Any, _: Any) -> None:
        connection.isolation_level = None  # transactions begin where we say, just below
        connection.execute("PRAGMA foreign_keys = ON")
        # In WAL mode, which stays with the file, readers do not wait for a writer. The switch does
        # not wait its turn: when another process is at it, it is theirs to make.
        with suppress(sqlite3.OperationalError):
            connection.execute("PRAGMA journal_mode = WAL")

    @sa.event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        alone = connection.get_execution_options().get("alone", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if alone else "BEGIN")

    return engine


def _shown(url: str) -> str:
    try:
        return sa.make_url(url).render_as_string(hide_password=True)
    except sa.exc.ArgumentError:
        return url


def _upgrade(engine: Engine, shown: str) -> None:
    """Bring the schema up to date; loads Alembic only when there is something to do."""
    from scanqa.records.migrations import HEAD, upgrade

    with engine.connect() as connection:
        tables = set(sa.inspect(connection).get_table_names())
        found = (
            connection.scalar(sa.text("SELECT version_num FROM alembic_version"))
            if "alembic_version" in tables
            else None
        )
    if found == HEAD:
        return
    if found is not None and found > HEAD:
        raise StoreError(
            f"records {shown}: written by a newer scanqa (schema {found}, this one knows {HEAD}); "
            "update scanqa"
        )
    if found is None and tables & set(metadata.tables):
        raise StoreError(f"records {shown}: holds tables that are not scanqa's; name another file")
    upgrade(engine)


# ------------------------------------------------------------------------------- writing


def add(engine: Engine, document: Mapping[str, Any]) -> tuple[int, bool]:
    """Keep a qualification; returns its id and whether anything changed.

    Parameters
    ----------
    document : mapping
        As written by `scanqa.report.document`, schema ``scanqa.qualification/1``.
    """
    row = {
        "scanner": document["scanner"],
        "taken": taken(document),
        "created": document["created"],
        "tool_version": document["tool_version"],
        "scans_key": scans_key(document),
        "document": dict(document),
    }
    with engine.begin() as connection:
        new = _insert_unless_there(connection, record, row)
        found = connection.execute(
            sa.select(record.c.id, record.c.tool_version)
            .where(record.c.scanner == row["scanner"], record.c.scans_key == row["scans_key"])
            .with_for_update()
        ).one()
        if not new:
            if found.tool_version == row["tool_version"]:
                return int(found.id), False
            connection.execute(sa.update(record).where(record.c.id == found.id).values(**row))
            _forget(connection, found.id)
        write_numbers(connection, found.id, document)
    return int(found.id), True


def write_numbers(connection: Connection, record_id: int, document: Mapping[str, Any]) -> None:
    """Fill the tables that are made from a record's document."""
    rows = [_value_row(record_id, v) for v in values(document["measures"], document["scans"])]
    if rows:
        connection.execute(sa.insert(value), rows)
    lines = [
        {"record_id": record_id, "number": i, **asdict(line)}
        for i, line in enumerate(lines_of(document))
    ]
    if lines:
        connection.execute(sa.insert(streak), lines)


def _forget(connection: Connection, record_id: int) -> None:
    for table in (value, streak):
        connection.execute(sa.delete(table).where(table.c.record_id == record_id))


def lines_of(document: Mapping[str, Any]) -> list[Line]:
    """The streaks of a document, the strongest of each place."""
    found: list[Line] = []
    for s in sorted(document.get("streaks", ()), key=lambda s: -float(s["contrast_percent"])):
        line = Line(**{name: s[name] for name in _LINE_FIELDS})
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
    return {"record_id": record_id, **{name: getattr(v, name) for name in _VALUE_FIELDS}}


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


def document(engine: Engine, record_id: int) -> dict[str, Any] | None:
    """The whole document of a record, or None."""
    with engine.connect() as connection:
        found = connection.scalar(sa.select(record.c.document).where(record.c.id == record_id))
    return None if found is None else dict(found)


def documents(engine: Engine, scanner: str | None = None) -> Iterator[dict[str, Any]]:
    """Whole documents, oldest scans first, one at a time."""
    for entry in entries(engine, scanner):
        found = document(engine, entry.id)
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
            checks.setdefault(record_id, (when, []))[1].append(Value(*fields))
        for record_id, *fields in connection.execute(drawn.order_by(streak.c.number)):
            lines.setdefault(record_id, []).append(Line(*fields))
    return [
        Check(record_id, when, tuple(vs), tuple(lines.get(record_id, ())))
        for record_id, (when, vs) in checks.items()
    ]


def before(engine: Engine, scanner: str, record_id: int) -> dict[str, Any] | None:
    """The document of the check before a record, in the order of the scans; None if it is first."""
    with engine.connect() as connection:
        taken = connection.scalar(sa.select(record.c.taken).where(record.c.id == record_id))
        earlier = sa.or_(
            record.c.taken < taken, sa.and_(record.c.taken == taken, record.c.id < record_id)
        )
        found = connection.scalar(
            sa.select(record.c.document)
            .where(record.c.scanner == scanner, earlier)
            .order_by(record.c.taken.desc(), record.c.id.desc())
            .limit(1)
        )
    return None if found is None else dict(found)


def events(engine: Engine, scanner: str) -> list[Event]:
    """Events of a scanner, oldest first."""
    query = sa.select(event.c.scanner, event.c.at, event.c.words).order_by(event.c.at, event.c.id)
    with engine.connect() as connection:
        return [Event(*row) for row in connection.execute(query.where(event.c.scanner == scanner))]


# ------------------------------------------------------------------------------- keys, times


def scans_key(document: Mapping[str, Any]) -> str:
    """A hash over the scans' hashes and roles, whatever their order."""
    parts = sorted(f"{scan['role']} {scan['sha256']}" for scan in document["scans"])
    return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def taken(document: Mapping[str, Any]) -> str:
    """When the scans were made: as the conditions state, else by the files, else as measured."""
    stated = document.get("conditions", {}).get("date")
    if stated:
        return normal_time(stated)
    modified = [scan["modified"] for scan in document["scans"] if scan.get("modified")]
    return normal_time(max(modified) if modified else document["created"])


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
