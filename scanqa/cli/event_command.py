"""``scanqa event``: note what was done to a scanner."""

from __future__ import annotations

import sys
from datetime import UTC, datetime

import click

from scanqa.cli.near_names import hint
from scanqa.cli.options import records_option
from scanqa.cli.settings_file import Command
from scanqa.errors import BadOption


@click.command("event", cls=Command)
@click.argument("scanner")
@click.argument("words")
@click.option("--date", help="When, as 2026-11-25 or 2026-11-25T10:00; now if left out.")
@click.option("--new-scanner", "new", is_flag=True, help="Nothing is on record of it yet.")
@records_option
def command(scanner: str, words: str, date: str | None, new: bool, records: str | None) -> None:
    """Note a cleaning, a repair or a new lamp: WORDS. Histories begin anew there.

    Listed and removed by scanqa events.
    """
    from scanqa.records import store
    from scanqa.records.database import open_store
    from scanqa.records.scanners import all_names

    at = date or datetime.now(UTC).isoformat()
    with open_store(records) as engine:
        names = all_names(engine)
        if scanner not in names and not new:
            _ask(scanner, names)
        added = store.add_event(engine, scanner, at, words)
    click.echo(f"{scanner}, {store.normal_time(at)[:10]}: {words}" + ("" if added else " (known)"))


def _ask(scanner: str, names: tuple[str, ...]) -> None:
    """Ask whether an event begins the records of a scanner: a slip of the pen must not."""
    near = hint(scanner, names, "see scanqa scanners list")
    if not (sys.stdin.isatty() and sys.stderr.isatty()):
        raise BadOption(
            f"event {scanner}: no scanner of this name is on record; {near} (--new-scanner notes "
            "it all the same)"
        )
    words = f"No scanner {scanner} is on record; {near} Note it as a new scanner?"
    if not click.confirm(words, default=False, err=True):
        raise BadOption(f"event {scanner}: nothing noted")
