"""Which method measured a value on record, and what another one gave of the same scans before."""

from __future__ import annotations

from typing import Any

import msgspec
import sqlalchemy as sa
from sqlalchemy.engine import Connection

from scanqa.catalogue import CATALOGUE
from scanqa.model import MeasuredBefore
from scanqa.records.schema import record, value


def changed(connection: Connection, record_id: int) -> dict[str, int]:
    """Measures of a record whose method has changed since, with the version that measured them."""
    rows = connection.execute(
        sa.select(value.c.name, value.c.method_version).where(value.c.record_id == record_id)
    )
    return {
        name: version
        for name, version in rows
        if name in CATALOGUE and CATALOGUE[name].version != version
    }


def measured_before(connection: Connection, record_id: int) -> list[dict[str, Any]]:
    """What other methods gave of the scans of a record: those of now, and those before them."""
    other = changed(connection, record_id)
    columns = [value.c[name] for name in MeasuredBefore.__dataclass_fields__]
    rows = connection.execute(
        sa.select(*columns).where(value.c.record_id == record_id).order_by(*columns[:5])
    )
    now = [dict(row) for row in rows.mappings() if row["name"] in other]
    earlier = connection.scalar(
        sa.select(record.c.document["measured_before"]).where(record.c.id == record_id)
    )
    return [*now, *(each for each in earlier or () if each["name"] not in other)]


def all_measured_before(
    connection: Connection, chosen: sa.Select[tuple[int]]
) -> dict[int, tuple[MeasuredBefore, ...]]:
    """By record, where another method has measured the scans before."""
    part = record.c.document["measured_before"]
    rows = connection.execute(sa.select(record.c.id, part).where(record.c.id.in_(chosen)))
    return {
        number: msgspec.convert(part, tuple[MeasuredBefore, ...]) for number, part in rows if part
    }
