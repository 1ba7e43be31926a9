"""``scanqa fleet``: all scanners of a database on one page."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import click

from scanqa.cli.options import out_option, records_option
from scanqa.cli.settings_file import Command
from scanqa.errors import BadOption

MOST_TOLD = 10  # scanners that the terminal names; the page has all


@click.command("fleet", cls=Command, short_help="Tell which of all scanners needs a hand today.")
@click.option(
    "--every",
    type=click.IntRange(1, 3650),
    default=31,
    show_default=True,
    metavar="DAYS",
    help="How often each scanner is to be checked.",
)
@click.option("-q", "--quiet", is_flag=True, help="Print the answer and the path alone.")
@out_option
@records_option
def command(every: int, quiet: bool, out: Path, records: str | None) -> None:
    """Tell which of all scanners on record needs a hand today, and write a page of it, fleet.html.

    Due checks, decisions, what changed since last month, scanners unlike the others of their
    model, lamps by when half of their light is gone, repairs and whether they helped. At most one
    false call in three months is to be expected of the whole fleet, however large. The database
    is only read.
    """
    from scanqa.records.database import open_store, shown_url
    from scanqa.records.fleet.overlook import fleet
    from scanqa.report.fleet.fleet_page import write_fleet
    from scanqa.report.index.naming import fleet_path
    from scanqa.words.of_fleet import (
        call_heading,
        cost_words,
        fleet_sentence,
        fleet_title,
        trouble_lines,
    )

    with open_store(records) as engine:
        found = fleet(engine, today=date.today(), every_days=every)
    if not found.units and not found.retired:
        raise BadOption(
            f"{records or shown_url()}: no scanner and no check on record; note scanners with "
            "scanqa scanners add or import, or name another database with --records"
        )
    for line in trouble_lines(found):
        click.echo(f"scanqa: {line}", err=True)
    path = fleet_path(out)
    write_fleet(found, path)
    click.echo(fleet_title(found))
    if not quiet:
        click.echo(fleet_sentence(found))
        for call in found.calls[:MOST_TOLD]:
            click.echo(f"  {call.scanner}: {call_heading(call)} ({cost_words(call)})")
        if len(found.calls) > MOST_TOLD:
            click.echo(f"  and {len(found.calls) - MOST_TOLD} more, on the page")
    click.echo(path)
