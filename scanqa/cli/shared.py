"""What several commands share: exit statuses, progress, delivering a record."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from scanqa.catalogue import Side
from scanqa.errors import BadOption

if TYPE_CHECKING:
    from scanqa.model import Record

DONE, LIMIT_BROKEN, UNUSABLE = 0, 1, 2
PAPERS = ("a4", "letter", "a3")

Limit = Callable[["Record"], str | None]  # how a record breaks the limit, or None

# Options that several commands take.
out_option = click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("reports"),
    show_default=True,
    help="Folder for the report.",
)
json_option = click.option(
    "--json", "json_to", metavar="FILE|-", help="Also write the results as JSON."
)
book_edge_option = click.option(
    "--book-edge", type=click.Choice(get_args(Side)), help="Side of the image where the spine lies."
)
curve_option = click.option(
    "--curve", metavar="CURVE", help="Tone curve: srgb, linear, a gamma, or a file."
)
bars_option = click.option(
    "--bars",
    nargs=2,
    type=float,
    metavar="MM MM",
    help="Lengths of the bed sheet's bars, across and down, by a steel rule.",
)
light_option = click.option(
    "--light", metavar="WORDS", help="Words on the light source, kept with the record."
)
keep_option = click.option(
    "--keep/--no-keep", default=True, help="Put the qualification on record."
)
records_option = click.option(
    "--records",
    metavar="URL",
    help="Database of records: a file, sqlite:///FILE or postgresql+psycopg://… "
    "(default: SCANQA_RECORDS, else a file in the user's data folder).",
)


def deliver(record: Record, page: Path, json_to: str | None, limits: list[Limit]) -> int:
    """Write report and JSON, print where they are, and give the exit status."""
    from scanqa.report.document import write_json
    from scanqa.report.pages import write_report

    for rejected in record.rejected:
        click.echo(f"scanqa: {rejected.why}", err=True)
    if not record.scans:
        return UNUSABLE
    page.parent.mkdir(parents=True, exist_ok=True)
    write_report(record, page)
    if json_to is not None:
        write_json(record, json_to)
    broken = [words for words in (limit(record) for limit in limits) if words]
    for words in broken:
        click.echo(f"scanqa: limit broken: {words}", err=True)
    click.echo(f"{record.scanner}: {record.judgement.outcome.sentence}", err=json_to == "-")
    click.echo(page, err=json_to == "-")
    if record.rejected:
        return UNUSABLE
    return LIMIT_BROKEN if broken else DONE


def put_on_record(record: Record, url: str | None) -> None:
    """Keep a record in the database."""
    from scanqa.records import store
    from scanqa.report.document import document

    with store.open_store(url) as engine:
        store.add(engine, document(record))


@contextmanager
def progress() -> Iterator[Callable[[int, int, str], None]]:
    """A progress bar on a terminal; nothing when piped."""
    if not sys.stderr.isatty():
        yield lambda done, total, words: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (BarColumn(), TimeElapsedColumn(), TextColumn("{task.description}"))
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task("", total=None)
        yield lambda done, total, words: bar.update(
            task, completed=done, total=total, description=words
        )


def file_name(scanner: str) -> str:
    """A scanner's name as a file name; refuses what could leave the folder."""
    if not re.fullmatch(r"\w[\w .-]{0,80}", scanner):
        raise BadOption(
            f"--scanner {scanner!r}: cannot be a file name; use letters, digits, blank, '-', '_'"
        )
    return scanner.strip().replace(" ", "-")
