"""``scanqa scanners``: which unit a name means."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import asdict, replace
from pathlib import Path

import click

from scanqa.cli.checks import file_name
from scanqa.cli.near_names import Named, hint
from scanqa.cli.options import records_option
from scanqa.errors import BadOption

FIELDS = {
    "make": "Who made it.",
    "model": "Its model.",
    "serial": "Its serial number.",
    "asset": "Your own number for it.",
    "site": "Where it stands.",
    "sensor": "Kind of sensor: CCD, contact sensor …",
    "lamp": "Kind of lamp: cold cathode, LED …",
    "driver": "Driver and its version.",
    "acquired": "When it came, as 2026-11-25.",
    "seller": "From whom it is.",
    "return_until": "Last day to return it, as 2026-11-25.",
    "retired": "When it was taken out of use, as 2026-11-25.",
}
LABELS = {"asset": "asset number", "seller": "from", "acquired": "arrived"}


def _fields(command: Callable[..., None]) -> Callable[..., None]:
    """An option for each field of an identity."""
    for name, words in reversed(FIELDS.items()):
        command = click.option(f"--{name.replace('_', '-')}", name, metavar="WORDS", help=words)(
            command
        )
    return command


@click.group("scanners", cls=Named, short_help="Note which unit a name means: serial, from whom.")
def command() -> None:
    """Say which unit a name means: make, model, serial, from whom, until when it can go back."""


@command.command("add")
@click.argument("name")
@_fields
@records_option
def add(name: str, records: str | None, **given: str | None) -> None:
    """Note a unit by the NAME that its checks go by."""
    from scanqa.model import Identity
    from scanqa.records.database import open_store
    from scanqa.records.scanners import find, keep_identity

    file_name(name)
    with open_store(records) as engine:
        if find(engine, name) is not None:
            raise BadOption(
                f"{name}: already noted; change it with scanqa scanners change, or give another "
                "unit another name"
            )
        keep_identity(engine, Identity(name, **_given(given)))
    click.echo(f"{name}: noted")


@command.command("change")
@click.argument("name")
@_fields
@records_option
def change(name: str, records: str | None, **given: str | None) -> None:
    """Change what is noted of NAME; an empty word takes a field away."""
    from scanqa.records.database import open_store
    from scanqa.records.scanners import all_names, find, keep_identity

    with open_store(records) as engine:
        known = find(engine, name)
        if known is None:
            words = hint(name, all_names(engine), "see scanqa scanners add")
            raise BadOption(f"{name}: nothing noted yet; {words}")
        keep_identity(engine, replace(known, **_given(given)))
    click.echo(f"{name}: changed")


@command.command("import")
@click.argument("file", type=click.Path(path_type=Path, allow_dash=True))
@records_option
def import_(file: Path, records: str | None) -> None:
    """Note all units of a FILE.csv, or ``-``: whole, or not at all if a line of it is bad.

    The first line names the columns: scanner, and any of make, model, serial, asset, site, sensor,
    lamp, driver, acquired, seller, return_until, retired.
    """
    from scanqa.records.database import open_store
    from scanqa.records.units_list import read_list, take

    if str(file) != "-" and not file.is_file():
        raise BadOption(f"{file}: no such file; name a table saved as CSV")
    content = sys.stdin.buffer.read() if str(file) == "-" else file.read_bytes()
    listed, unknown = read_list(content, str(file))
    if unknown:
        click.echo(
            f"scanqa: {file}: columns that no unit has, left out: {', '.join(unknown)}", err=True
        )
    with open_store(records) as engine:
        found = take(engine, listed)
    for words in found.bad:
        click.echo(f"scanqa: {file}, {words}", err=True)
    if found.bad:
        raise BadOption(
            f"{file}: nothing taken: {len(found.bad)} of {len(listed)} lines are bad; mend them "
            "and import the list again"
        )
    click.echo(f"{len(found.added)} noted, {len(found.known)} known already")


@command.command("list")
@records_option
def list_(records: str | None) -> None:
    """List all units: those noted, and those that have only records."""
    from scanqa.model import Identity
    from scanqa.records import store
    from scanqa.records.database import open_store
    from scanqa.records.scanners import all_known
    from scanqa.words.of_identity import unit_words

    with open_store(records) as engine:
        known = {each.scanner: each for each in all_known(engine)}
        names = dict.fromkeys([*known, *(entry.scanner for entry in store.entries(engine))])
    for name in names:
        words = unit_words(known.get(name, Identity(name)))
        click.echo(f"{name}: {words or 'nothing noted'}")


@command.command("show")
@click.argument("name")
@records_option
def show(name: str, records: str | None) -> None:
    """Print all that is noted of NAME."""
    from scanqa.records.database import open_store
    from scanqa.records.scanners import all_names, find

    with open_store(records) as engine:
        known = find(engine, name)
        names = all_names(engine)
    if known is None:
        words = hint(name, names, "see scanqa scanners list")
        raise BadOption(f"{name}: nothing noted; {words}")
    for field, words in asdict(known).items():
        if words:
            click.echo(f"{LABELS.get(field, field.replace('_', ' '))}: {words}")


def _given(given: dict[str, str | None]) -> dict[str, str]:
    """The options that were given."""
    return {name: words.strip() for name, words in given.items() if words is not None}
