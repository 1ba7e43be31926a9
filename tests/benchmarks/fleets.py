"""Time and size of the fleet's page, by hand: ``python -m tests.benchmarks.fleets [URL]``.

Five hundred scanners with sixty monthly checks each (blanks, bed sheet and edge strips: some 110
numbers a check, drawn as in `tests/fleet`), one in fifty sick, one in five with an event in the
last year: the page within 5 s and 3 MB; and what a record takes in the database, with and without
its document. A URL of an empty PostgreSQL database does the same there.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import numpy as np
import sqlalchemy as sa

from scanqa.codec import to_json_line
from scanqa.demo import checked_months
from scanqa.model import Decision
from scanqa.model.history import Event
from scanqa.records.database import open_store
from scanqa.records.store import Check
from tests.benchmarks.records import best
from tests.fleet.fill import put
from tests.fleet.lives import BEGIN, FAULTS, checks_of, day_of, healthy, kind_of
from tests.fleet.pool import read_pool
from tests.records.builders import qualification

SCANNERS, MONTHS, SEED = 500, 60, 500
MOST_S, MOST_BYTES = 5.0, 3_000_000


def lives_as_checks() -> Iterator[tuple[str, Check, Decision]]:
    """All checks, scanner by scanner, the last one a month before today's month ends."""
    rng = np.random.default_rng(SEED)
    kinds = [kind_of(pool) for pool in read_pool().values()]
    for at in range(SCANNERS):
        life = healthy(f"unit {at:03}", kinds[at % 2], MONTHS, rng)
        if at % 50 == 0:
            life = FAULTS[at // 50 % len(FAULTS)](life, MONTHS - 10, rng)
        for check in checks_of(life):
            yield life.name, check, Decision("keep")


def events() -> list[Event]:
    rng = np.random.default_rng(SEED)
    return [
        Event(f"unit {at:03}", day_of(int(rng.integers(MONTHS - 11, MONTHS))), "glass cleaned")
        for at in range(0, SCANNERS, 5)
    ]


def sizes(url: str) -> str:
    """Bytes a record takes in each table, its indices with it."""
    with open_store(url) as engine, engine.connect() as connection:
        count = connection.scalar(sa.text("SELECT count(*) FROM record"))
        if engine.dialect.name == "sqlite":
            rows = connection.execute(sa.text("SELECT name, sum(pgsize) FROM dbstat GROUP BY name"))
        else:
            rows = connection.execute(sa.text(
                "SELECT relname, pg_total_relation_size(oid) FROM pg_class WHERE relkind = 'r' "
                "AND relname IN ('record', 'value', 'block', 'streak')"
            ))  # fmt: skip
        return ", ".join(f"{name} {size / count:.0f}" for name, size in rows if size / count > 1)


def main() -> None:
    with tempfile.TemporaryDirectory(dir="/var/tmp") as name:
        url = sys.argv[1] if sys.argv[1:] else f"sqlite:///{name}/fleet.sqlite"
        start = time.monotonic()
        with open_store(url) as engine:
            count = put(engine, lives_as_checks(), qualification(), events())
        took = time.monotonic() - start
        print(f"{count} checks put in, {1000 * took / count:.1f} ms each", flush=True)
        print(f"bytes a record without its document: {sizes(url)}", flush=True)
        said = best("fleet", "--out", name, "--records", url, records=Path(name) / "none.sqlite")
        size = (Path(name) / "fleet.html").stat().st_size
        print(f"scanqa fleet, {SCANNERS} scanners × {MONTHS} checks: {said}; page {size:,} bytes")
        print(f"asked: {MOST_S} s, {MOST_BYTES:,} bytes", flush=True)
    months = checked_months(today=BEGIN + timedelta(days=800))
    documents = [len(to_json_line(record).encode()) for record in months]
    print(f"document of a check of two blanks: {np.mean(documents):,.0f} bytes of JSON")


if __name__ == "__main__":
    main()
