"""Which records a word means that names a side of a comparison.

``heron`` is its newest record; ``heron@2026-11-01`` the newest that was taken by the end of that
day; ``heron@before`` and ``heron@after`` the records about its last event (a repair, a cleaning):
the newest before it and the newest since. Numbers joined by commas are records themselves.
"""

from __future__ import annotations

from datetime import date, datetime, time

from sqlalchemy import Engine

from scanqa.records import store
from scanqa.records.database import StoreError

BEFORE, AFTER = "before", "after"


def numbers_meant(engine: Engine, word: str) -> list[int]:
    """Numbers of the records that a word means; none if there is none of them.

    Raises
    ------
    StoreError
        If what follows an @ is no date, or there is no event, or no record on that side of it.
    """
    numbers = word.split(",")
    if all(part.strip().isdigit() for part in numbers):
        return [int(part) for part in numbers]
    scanner, at, when = word.rpartition("@")
    if not at or store.count(engine, word):  # a scanner may have an @ in its name
        return [entry.id for entry in store.entries(engine, word)[-1:]]
    known = store.entries(engine, scanner)
    if when in (BEFORE, AFTER):
        return [_beside_last_event(engine, scanner, when, known)]
    end = _end_of(when)
    found = [entry.id for entry in known if entry.taken <= end]
    if known and not found:
        raise StoreError(f"{word}: its first record was taken on {known[0].taken[:10]}")
    return found[-1:]


def _beside_last_event(engine: Engine, scanner: str, when: str, known: list[store.Entry]) -> int:
    events = store.events(engine, scanner)
    if not events:
        raise StoreError(f"{scanner} has no event: note it with scanqa event, or give a date")
    last = events[-1]
    earlier = [entry.id for entry in known if entry.taken < last.at]
    later = [entry.id for entry in known if entry.taken >= last.at]
    found = earlier if when == BEFORE else later
    if not found:
        raise StoreError(f"{scanner} has no record {when} {last.at[:10]}: {last.words}")
    return found[-1]


def _end_of(when: str) -> str:
    """The last moment that a date or a time includes, as records are dated."""
    try:
        moment = datetime.combine(date.fromisoformat(when), time(23, 59, 59))
    except ValueError:
        return store.normal_time(when)
    return store.normal_time(moment.isoformat())
