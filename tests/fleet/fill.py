"""Fills a database with checks of many scanners, as fast as rows go in.

Every check has the document of one record; its numbers go where `scanqa.records.store.add` puts
them (`tests/records/test_fleet_command.py` holds the two against each other).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from itertools import islice
from typing import Any

import msgspec
import sqlalchemy as sa
from sqlalchemy.engine import Engine

from scanqa.codec import to_builtins
from scanqa.model import Decision, Record
from scanqa.model.history import Event
from scanqa.records.packed import put_block
from scanqa.records.schema import event, record, streak, value
from scanqa.records.store import Check

AT_ONCE = 500  # checks in a transaction
_FIELDS = (
    "name", "direction", "channel", "edge_kind", "dpi", "method_version", "value", "random",
    "status", "low", "high", "unit", "count",
)  # fmt: skip


def put(
    engine: Engine,
    checks: Iterable[tuple[str, Check, Decision]],
    like: Record,
    events: Iterable[Event] = (),
) -> int:
    """Put checks on record; `like` is the record whose document they go by. How many there were."""
    document = to_builtins(like)
    with engine.connect() as connection:
        first = number = connection.scalar(sa.select(sa.func.max(record.c.id))) or 0
    waiting = iter(checks)
    while some := list(islice(waiting, AT_ONCE)):
        with engine.begin() as connection:
            for scanner, check, decided in some:
                number += 1
                _put(connection, number, scanner, check, decided, document)
    with engine.begin() as connection:
        rows = [asdict(each) for each in events]
        if rows:
            connection.execute(sa.insert(event), rows)
    return number - first


def _put(
    connection: sa.Connection, number: int, scanner: str, check: Check, decided: Decision,
    document: Any,
) -> None:  # fmt: skip
    row = {
        "id": number, "scanner": scanner, "taken": check.taken, "created": check.taken,
        "tool_version": "0", "scans_key": f"{number:064x}", "options": {},
        "decision": decided.decision, "decided": msgspec.to_builtins(decided),
        "document": document,
    }  # fmt: skip
    connection.execute(sa.insert(record).values(**row))
    rows = [
        {
            "record_id": number,
            **{name: getattr(v, name) for name in _FIELDS},
            "shared": msgspec.to_builtins(v.shared),
        }
        for v in check.values
    ]
    connection.execute(sa.insert(value), rows)
    put_block(connection, number, rows)
    lines = [{"record_id": number, "number": i, **asdict(x)} for i, x in enumerate(check.lines)]
    if lines:
        connection.execute(sa.insert(streak), lines)
