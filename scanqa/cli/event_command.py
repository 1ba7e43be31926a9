"""``scanqa event``: note what was done to a scanner."""

from __future__ import annotations

from datetime import UTC, datetime

import click

from scanqa.cli.options import records_option


@click.command("event")
@click.argument("scanner")
@click.argument("words")
@click.option("--date", help="When, as 2026-11-25 or 2026-11-25T10:00; now if left out.")
@records_option
def command(scanner: str, words: str, date: str | None, records: str | None) -> None:
    """Note a cleaning, a repair or a new lamp: WORDS. Histories begin anew there."""
    from scanqa.records import store
    from scanqa.records.database import open_store

    at = date or datetime.now(UTC).isoformat()
    with open_store(records) as engine:
        new = store.add_event(engine, scanner, at, words)
    click.echo(f"{scanner}, {store.normal_time(at)[:10]}: {words}" + ("" if new else " (known)"))
