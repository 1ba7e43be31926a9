"""The database of records: a SQLite file by default, PostgreSQL by URL; opened, made, upgraded."""

from __future__ import annotations

import logging
import os
import random
import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, TypeVar

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from scanqa.errors import ScanqaError
from scanqa.records.schema import metadata

ENVIRONMENT = "SCANQA_RECORDS"
SQLITE_PATIENCE_S = 30
PATIENCE_S = 120.0  # of a batch, for a database that does not answer
FIRST_PAUSE_S, LONGEST_PAUSE_S = 0.25, 8.0

Found = TypeVar("Found")

# A connection that breaks is told by the exception, in a line of ours. The libraries say it once
# more in a log, which without a handler would end on the user's terminal.
for library in ("psycopg", "sqlalchemy"):
    logging.getLogger(library).addHandler(logging.NullHandler())


class StoreError(ScanqaError):
    """The database cannot be used: says which one, and what would help."""


class Unreachable(StoreError):
    """The database does not answer, or not now: the same again may go well."""


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
    except (
        sa.exc.ArgumentError, sa.exc.NoSuchModuleError, ImportError, OSError, ValueError,
    ) as error:  # fmt: skip
        why = "" if isinstance(error, (sa.exc.ArgumentError, ValueError)) else f": {error}"
        raise StoreError(
            f"records {_shown(url)}: cannot be opened{why}; give a file, sqlite:///FILE or "
            "postgresql+psycopg://USER@HOST/NAME (needs scanqa[postgres])"
        ) from error
    try:
        _upgrade(engine, _shown(url))
        yield engine
    except (sa.exc.DatabaseError, sa.exc.InterfaceError) as error:
        reason = str(error.orig).strip().splitlines()[0]
        if "permission denied" in reason or "readonly database" in reason:
            raise StoreError(
                f"records {_shown(url)}: {reason}; this user may only read: name one that may write"
            ) from error
        passing = isinstance(error, (sa.exc.OperationalError, sa.exc.InterfaceError))
        raise (Unreachable if passing else StoreError)(
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


def travelling(url: str | None) -> str:
    """A database as a task may name it on its way to another process: without its password.

    A file is named by its whole path.
    """
    given = url or default_url()
    place = given if "://" in given else f"sqlite:///{given}"
    head, _, file = place.partition(":///")
    if head == "sqlite" and file and file != ":memory:" and "?" not in file:
        return f"sqlite:///{Path(file).expanduser().resolve()}"
    return _shown(place)


def arrived(named: str) -> str:
    """The database that a task names, with this process's own password for it, if it has one.

    Raises
    ------
    StoreError
        If it needs one that this process does not know.
    """
    own = default_url()
    if travelling(own) == named:
        return own
    if "***" in named:
        raise StoreError(
            f"records {named}: this worker does not know the password; set {ENVIRONMENT} where "
            "it starts, or keep the password in ~/.pgpass there and leave it out of the URL"
        )
    return named


def patiently(named: str, work: Callable[[Engine], Found]) -> Found:
    """Use the database that a task names; wait for it where it does not answer.

    What is done must bear to be begun again.

    Raises
    ------
    Unreachable
        If it does not answer for long.
    """
    pause, until = FIRST_PAUSE_S, time.monotonic() + PATIENCE_S
    while True:
        try:
            with open_store(arrived(named)) as engine:
                return work(engine)
        except Unreachable:
            if time.monotonic() > until:
                raise
        time.sleep(pause * random.uniform(0.7, 1.3))  # so that workers come back one by one
        pause = min(2 * pause, LONGEST_PAUSE_S)


def shown_url() -> str:
    """The database that is used where none is named, without passwords."""
    return _shown(default_url()).removeprefix("sqlite:///")


def _shown(url: str) -> str:
    """A URL as it may be printed: without passwords, wherever they stand."""
    try:
        parsed = sa.make_url(url)
        secret = [name for name in parsed.query if "pass" in name.lower() or "key" in name.lower()]
        hidden = parsed.update_query_dict(dict.fromkeys(secret, "***"))
        return hidden.render_as_string(hide_password=True)
    except (sa.exc.ArgumentError, ValueError):
        # Not to be taken apart: what may be a password is left out whole.
        scheme, sign, rest = url.partition("://")
        return f"{scheme}{sign}…" if sign and ("@" in rest or "?" in rest) else url


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
