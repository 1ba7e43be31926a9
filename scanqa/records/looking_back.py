"""What the records say about a scanner, in one call: for the commands and the report."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from sqlalchemy.engine import Engine

from scanqa.model import Identity, Record
from scanqa.model.history import Health, Past
from scanqa.records import scanners, store
from scanqa.records.database import open_store
from scanqa.records.health import health
from scanqa.records.lamp import LIGHT
from scanqa.records.news import news
from scanqa.records.store import Kept

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


def history(
    scanner: str, *, records: str | None = None, limits: Mapping[str, float] | None = None
) -> Health:
    """How a scanner fares over the checks on record.

    Parameters
    ----------
    scanner : str
        Name of the scanner.
    records : str, optional
        The database: a file or a URL; the user's own unless given.
    limits : mapping from measure to limit, optional
        Limits whose crossing is to be dated.

    Returns
    -------
    Health
        Each measure with its changes, drift and state; streaks by place; events; the lamp.
        Values are in the units of the catalogue.

    Raises
    ------
    StoreError
        If the database cannot be used.

    Notes
    -----
    Control charts on self-starting scores (Quesenberry, Journal of Quality Technology 23(3), 1991;
    Hawkins, The Statistician 36(4), 1987), all measures on one false-alarm budget.
    """
    with open_store(records) as engine:
        return health_of(engine, scanner, limits=limits)


@dataclass(frozen=True, slots=True)
class Beside:
    """What is on record beside a qualification that is not on record yet.

    Attributes
    ----------
    identity : Identity or None
        Which unit it is: as noted, its blanks filled by what the files state.
    differs : str
        The field in which files and notes tell of two units; empty if none.
    before : Record or None
        The check before.
    noted : tuple of str
        Words of the events since then.
    """

    identity: Identity | None
    differs: str
    before: Record | None
    noted: tuple[str, ...]


def beside(engine: Engine, record: Record) -> Beside:
    """What is on record of the unit of a qualification."""
    known = scanners.find(engine, record.scanner)
    before = store.check_before(engine, record)
    now = store.taken(record)
    since = store.taken(before) if before else ""
    events = store.events(engine, record.scanner)
    return Beside(
        scanners.joint(known, record.identity),
        scanners.differing(known, record.identity),
        before,
        tuple(event.words for event in events if since < event.at <= now),
    )


def first_of_its_light(engine: Engine, scanner: str) -> Record | None:
    """The check with which the present stretch of a scanner's light began; None if it has none.

    An event that changed the light (a new lamp, a cleaning) begins another stretch; so a lamp that
    fades is told from what it was when it was new, however slowly it does.
    """
    checks = store.history(engine, scanner, names=[LIGHT], newest=MOST_CHECKS)
    series = health(scanner, checks, store.events(engine, scanner)).series
    starts = [s.dates[s.starts[-1]] for s in series]
    if not starts:
        return None
    number = next(check.record_id for check in checks if check.taken == max(starts))
    return store.read(engine, number)


def past_of(
    engine: Engine,
    scanner: str,
    *,
    limits: Mapping[str, float] | None = None,
    newest: int | None = MOST_CHECKS,
    since: str | None = None,
) -> Past:
    """The health of a scanner, and what its newest check shows against the one before."""
    found = health_of(engine, scanner, limits=limits, newest=newest, since=since)
    last = [store.read(engine, entry.id) for entry in store.entries(engine, scanner)[-2:]]
    if len(last) < 2 or last[0] is None or last[1] is None:
        return Past(found, None)
    return Past(found, news(last[1], last[0], found))


def keep(engine: Engine, record: Record) -> tuple[Kept, Past | None]:
    """Put a qualification on record and look back from it; no past if it is the scanner's first."""
    if record.identity is not None:
        scanners.keep_identity(engine, record.identity)
    kept = store.add(engine, record)
    earlier = store.before(engine, record.scanner, kept.id)
    if earlier is None:
        return kept, None
    found = health_of(engine, record.scanner)
    return kept, Past(found, news(record, earlier, found))
