"""``scanqa compare``: two scanners, or two settings of one, side by side."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scanqa.cli.near_names import hint
from scanqa.cli.options import out_option, records_option
from scanqa.cli.settings_file import Command
from scanqa.errors import BadOption, NotARecord

if TYPE_CHECKING:
    from scanqa.model import Record
    from scanqa.model.compared import Comparison


@click.command("compare", cls=Command)
@click.argument("first")
@click.argument("second")
@click.option(
    "--all", "shown", flag_value="all", help="Name the measures without a difference too."
)
@click.option("-q", "--quiet", "shown", flag_value="answer", help="Print the answer alone.")
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
    shown: str | None,
    price: tuple[float, float] | None,
    hours: tuple[float, float] | None,
    report: bool,
    out: Path,
    records: str | None,
) -> None:
    """Compare FIRST with SECOND.

    Each is the name of a scanner on record (its newest qualification), NAME@2026-11-25 (the newest
    by that day), NAME@before or NAME@after (of its last event), a record's number, several numbers
    joined by commas (repeats), or a JSON file written by scanqa qualify --json.
    """
    from scanqa.model.compared import Cost
    from scanqa.records.comparison import compare

    for option, given in (("--price", price), ("--hours", hours)):
        if given is not None and min(given) < 0:
            raise BadOption(f"{option}: must not be under 0")
    prices, times = price or (None, None), hours or (None, None)
    costs = (Cost(prices[0], times[0]), Cost(prices[1], times[1])) if price or hours else None
    sides = _records(first, records), _records(second, records)
    names = _called(first, sides[0]), _called(second, sides[1])
    if names[0] == names[1]:
        names = first, second
    result = compare(*sides, names=names, costs=costs)
    _tell(result, shown)
    if report:
        from scanqa.report.index.naming import comparison_path
        from scanqa.report.more_pages import write_comparison

        out.mkdir(parents=True, exist_ok=True)
        page = comparison_path(out, *names)
        write_comparison(result, page, sides=(sides[0][-1], sides[1][-1]))
        click.echo(page)


def _tell(result: Comparison, shown: str | None) -> None:
    from scanqa.words.of_comparison import (
        comparison_notes,
        comparison_sentence,
        row_words,
        together_words,
        value_sentence,
    )

    click.echo(comparison_sentence(result))
    if shown == "answer":
        return
    if words := value_sentence(result):
        click.echo(words)
    for note in comparison_notes(result):
        click.echo(f"  note: {note}")
    if result.tried:
        click.echo(f"  intervals {together_words(result.together)}")
    for row in result.rows:
        if row.verdict in ("no difference shown", "not compared") and shown != "all":
            continue
        click.echo(f"  {row_words(row, result)}")


def _called(word: str, records: list[Record]) -> str:
    """What to call a side: the scanner's name, and which record of it where that was said."""
    scanner = records[0].scanner
    if re.fullmatch(r"[\d, ]+", word):
        return f"{scanner} {word}"
    which = word.removeprefix(f"{scanner}@")
    return scanner if which == word else f"{scanner} {which}"


def _records(name: str, records: str | None) -> list[Record]:
    """The qualifications that a word on the command line means."""
    from scanqa.codec import read_record
    from scanqa.records import store
    from scanqa.records.database import open_store
    from scanqa.records.named_side import numbers_meant
    from scanqa.records.scanners import all_names

    if Path(name).suffix == ".json":
        try:
            return [read_record(name)]
        except NotARecord as error:
            raise BadOption(f"{error}; name a file written by scanqa qualify --json") from None
    with open_store(records) as engine:
        found = [store.read(engine, number) for number in numbers_meant(engine, name)]
        names = all_names(engine)
    known = [record for record in found if record is not None]
    if not known or len(known) < len(found):
        words = hint(name.partition("@")[0], names, "see scanqa records list")
        raise BadOption(f"{name}: not on record; {words}")
    return known
