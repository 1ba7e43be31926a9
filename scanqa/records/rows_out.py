"""Rows of records for other programs, one at a time whatever there is."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Engine

from scanqa.model import Key
from scanqa.records.fleet.gather import UnitChecks
from scanqa.records.schema import record, scanner, value

AT_ONCE = 5000  # rows that the database hands over


def months(engine: Engine, name: str | None = None) -> list[str]:
    """Months with checks, of one scanner or of all, as ``2026-11``."""
    month = sa.func.substr(record.c.taken, 1, 7)
    query = sa.select(month).distinct().order_by(month)
    with engine.connect() as connection:
        return list(connection.scalars(_only(query, name)))


def value_rows(
    engine: Engine, name: str | None = None, *, month: str | None = None
) -> Iterator[dict[str, Any]]:
    """Every number on record, with its check."""
    columns = [c for c in value.c if c.name not in ("record_id", "shared")]
    query = sa.select(record.c.id.label("record"), record.c.scanner, record.c.taken, *columns).join(
        value, value.c.record_id == record.c.id
    )
    if month is not None:
        query = query.where(record.c.taken >= month, record.c.taken < f"{month}~")
    order = (record.c.taken, *value.primary_key.columns)  # the same rows, the same bytes
    yield from _rows(engine, _only(query, name).order_by(*order))


def check_rows(engine: Engine, name: str | None = None) -> Iterator[dict[str, Any]]:
    """Every check on record."""
    query = sa.select(
        record.c.id.label("record"), record.c.scanner, record.c.taken, record.c.created,
        record.c.tool_version, record.c.decision,
    )  # fmt: skip
    yield from _rows(engine, _only(query, name).order_by(record.c.taken, record.c.id))


def scanner_rows(engine: Engine, name: str | None = None) -> Iterator[dict[str, Any]]:
    """Every unit that is noted."""
    query = sa.select(scanner).order_by(scanner.c.scanner)
    yield from _rows(engine, query if name is None else query.where(scanner.c.scanner == name))


def newest_values(units: Sequence[UnitChecks]) -> dict[str, dict[Key, float]]:
    """The newest value of each watched measure of each scanner."""
    return {u.name: {t.key: float(t.values[-1]) for t in u.tracks} for u in units}


def _only(query: Any, name: str | None) -> Any:
    return query if name is None else query.where(record.c.scanner == name)


def _rows(engine: Engine, query: Any) -> Iterator[dict[str, Any]]:
    with engine.connect().execution_options(yield_per=AT_ONCE) as connection:
        for row in connection.execute(query).mappings():
            yield dict(row)
