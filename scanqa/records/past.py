"""What the records say about a scanner, in one call: for the commands and the report."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sqlalchemy.engine import Engine

from scanqa.over_time import Health, Past
from scanqa.records import store
from scanqa.records.health import health
from scanqa.records.news import news

MOST_CHECKS = 1000  # the newest: four years of working days; older ones stay on record


def health_of(
    engine: Engine,
    scanner: str,
    *,
    limits: Mapping[str, float] | None = None,
    newest: int | None = MOST_CHECKS,
    since: str | None = None,
) -> Health:
    """The health of a scanner from its newest checks; `limits` as for `health`."""
    checks = store.history(engine, scanner, newest=newest, since=since)
    on_record = store.count(engine, scanner)
    return health(
        scanner, checks, store.events(engine, scanner), limits=limits, on_record=on_record
    )


def keep(engine: Engine, document: Mapping[str, Any]) -> Past | None:
    """Put a qualification on record and look back from it; None if it is the scanner's first."""
    record_id, _ = store.add(engine, document)
    scanner = document["scanner"]
    earlier = store.before(engine, scanner, record_id)
    if earlier is None:
        return None
    found = health_of(engine, scanner)
    return Past(found, news(document, earlier, found))
