"""``scanqa events``: what was done to the scanners, listed and removed."""

from __future__ import annotations

import click

from scanqa.cli.near_names import Named, hint
from scanqa.cli.options import records_option
from scanqa.errors import BadOption


@click.group("events", cls=Named)
def command() -> None:
    """List or remove what scanqa event noted."""


@command.command("list")
@click.argument("scanner", required=False)
@records_option
def list_(scanner: str | None, records: str | None) -> None:
    """List the events, of one SCANNER or of all: number, day, scanner, words."""
    from scanqa.records.database import open_store
    from scanqa.records.scanners import all_names, numbered_events

    with open_store(records) as engine:
        found = numbered_events(engine, scanner)
        names = all_names(engine)
    if scanner is not None and scanner not in names:
        raise BadOption(f"{scanner}: not on record; {hint(scanner, names, 'see scanqa scanners')}")
    for number, event in found:
        click.echo(f"{number:6} {event.at[:10]} {event.scanner}: {event.words}")


@command.command("remove")
@click.argument("which")
@records_option
def remove(which: str, records: str | None) -> None:
    """Forget one event: WHICH is its number, or its words where one event alone has them."""
    from scanqa.records.database import open_store
    from scanqa.records.scanners import numbered_events, remove_event

    with open_store(records) as engine:
        events = dict(numbered_events(engine, None))
        meant = [n for n, event in events.items() if which in (str(n), event.words)]
        if not meant:
            near = hint(which, {event.words for event in events.values()}, "see scanqa events list")
            raise BadOption(f"events remove {which}: no such event; {near}")
        if len(meant) > 1:
            numbers = ", ".join(map(str, meant))
            raise BadOption(f"events remove {which}: several events; name one by number: {numbers}")
        remove_event(engine, meant[0])
    gone = events[meant[0]]
    click.echo(f"removed: {gone.scanner}, {gone.at[:10]}: {gone.words}")
