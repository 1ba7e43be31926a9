"""``scanqa compare``: two scanners, or two settings of one, side by side."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from scanqa.cli.shared import records_option
from scanqa.errors import BadOption


@click.command("compare")
@click.argument("first")
@click.argument("second")
@click.option("--all", "whole", is_flag=True, help="Name the measures without a difference too.")
@records_option
def command(first: str, second: str, whole: bool, records: str | None) -> None:
    """Compare FIRST with SECOND.

    Each is the name of a scanner on record (its newest qualification), a record's number, several
    numbers joined by commas (repeats), or a JSON file written by scanqa qualify --json.
    """
    from scanqa.records.comparison import compare

    result = compare(_documents(first, records), _documents(second, records), names=(first, second))
    click.echo(result.sentence)
    for note in result.notes:
        click.echo(f"  note: {note}")
    for row in result.rows:
        if row.verdict in ("no difference shown", "not compared") and not whole:
            continue
        place = " ".join(part for part in row.key if part)
        if row.difference is None:
            click.echo(f"  {place}: {row.verdict}: {row.reason}")
            continue
        click.echo(
            f"  {place}: {row.first:.4g} and {row.second:.4g} {row.unit}; difference "
            f"{row.difference:+.3g} ({row.low:+.3g} to {row.high:+.3g}), {row.verdict}"
        )


def _documents(name: str, records: str | None) -> list[dict[str, Any]]:
    """The qualifications that a word on the command line means."""
    from scanqa.records import store
    from scanqa.report.document import check

    path = Path(name)
    if path.suffix == ".json":
        if not path.is_file():
            raise BadOption(f"{name}: no such file; name one written by scanqa qualify --json")
        text = path.read_text("utf-8", errors="replace")
        why = check(text)
        if why is not None:
            raise BadOption(f"{name}: {why}; name a file written by scanqa qualify --json")
        return [json.loads(text)]
    with store.open_store(records) as engine:
        numbers = name.split(",")
        if all(part.strip().isdigit() for part in numbers):
            found = [store.document(engine, int(part)) for part in numbers]
        else:
            newest = store.entries(engine, name)[-1:]
            found = [store.document(engine, entry.id) for entry in newest]
    documents = [document for document in found if document is not None]
    if not documents or len(documents) < len(found):
        raise BadOption(f"{name}: not on record; see scanqa records list")
    return documents
