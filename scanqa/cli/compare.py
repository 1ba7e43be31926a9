"""``scanqa compare``: two scanners, or two settings of one, side by side."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scanqa.cli.shared import out_option, records_option
from scanqa.errors import BadOption

if TYPE_CHECKING:
    from scanqa.over_time import Comparison


@click.command("compare")
@click.argument("first")
@click.argument("second")
@click.option("--all", "whole", is_flag=True, help="Name the measures without a difference too.")
@click.option(
    "--price", nargs=2, type=float, metavar="FIRST SECOND", help="Prices, for a value table."
)
@click.option(
    "--hours", nargs=2, type=float, metavar="FIRST SECOND", help="Hours that the job would take."
)
@click.option("--report", is_flag=True, help="Write a page of it, FIRST-SECOND.html.")
@out_option
@records_option
def command(
    first: str,
    second: str,
    whole: bool,
    price: tuple[float, float] | None,
    hours: tuple[float, float] | None,
    report: bool,
    out: Path,
    records: str | None,
) -> None:
    """Compare FIRST with SECOND.

    Each is the name of a scanner on record (its newest qualification), a record's number, several
    numbers joined by commas (repeats), or a JSON file written by scanqa qualify --json.
    """
    from scanqa.records.comparison import Cost, compare

    for option, given in (("--price", price), ("--hours", hours)):
        if given is not None and min(given) < 0:
            raise BadOption(f"{option}: must not be under 0")
    prices, times = price or (None, None), hours or (None, None)
    costs = (Cost(prices[0], times[0]), Cost(prices[1], times[1])) if price or hours else None
    sides = _documents(first, records), _documents(second, records)
    names = _called(first, sides[0]), _called(second, sides[1])
    if names[0] == names[1]:
        names = first, second
    result = compare(*sides, names=names, costs=costs)
    _tell(result, whole=whole)
    if report:
        from scanqa.report.more_pages import write_comparison

        page = out / f"{_file(names[0])}-{_file(names[1])}.html"
        write_comparison(result, page)
        click.echo(page)


def _tell(result: Comparison, *, whole: bool) -> None:
    click.echo(result.sentence)
    if result.value_sentence:
        click.echo(result.value_sentence)
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


def _called(word: str, documents: list[dict[str, Any]]) -> str:
    """What to call a side: the scanner's name, and which record of it where a number was given."""
    scanner = str(documents[0]["scanner"])
    return f"{scanner} {word}" if re.fullmatch(r"[\d, ]+", word) else scanner


def _file(name: str) -> str:
    return re.sub(r"[^\w.-]+", "-", name).strip("-.") or "side"


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
