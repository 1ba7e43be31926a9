"""What several commands share: exit statuses, progress, delivering a record."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from scanqa.catalogue import Side
from scanqa.errors import BadOption

if TYPE_CHECKING:
    from scanqa.model import Record
    from scanqa.over_time import Past

DONE, LIMIT_BROKEN, UNUSABLE = 0, 1, 2
PAPERS = ("a4", "letter", "a3")

WIDEST_MARGIN_MM = 60  # as far as the edge strip's scale goes

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
ramp_height_option = click.option(
    "--ramp-height",
    type=float,
    metavar="MM",
    help="Height of the gutter ramp at its lip, by a rule.",
)
dead_margin_option = click.option(
    "--dead-margin",
    "dead_margins",
    nargs=2,
    type=(click.Choice(get_args(Side)), float),
    multiple=True,
    metavar="SIDE MM",
    help="Dead margin of a side, read by eye from the edge strip's scale; once for each side.",
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


def deliver(
    record: Record,
    page: Path,
    json_to: str | None,
    limits: list[Limit],
    *,
    keep: bool = False,
    records: str | None = None,
    evidence: bool | None = None,
) -> int:
    """Keep the record if asked to, write report and JSON, print where they are; the exit status.

    The report gains the scanner's history if there is one; it is written in any case. The page for
    a seller is written beside it where there is something to show, or as `evidence` says.
    """
    from scanqa.cli.job import plan_lines
    from scanqa.report.document import write_json
    from scanqa.report.more_pages import write_index
    from scanqa.report.pages import write_report

    for rejected in record.rejected:
        click.echo(f"scanqa: {rejected.why}", err=True)
    if not record.scans:
        return UNUSABLE
    past, kept = put_on_record(record, records) if keep else (None, True)
    page.parent.mkdir(parents=True, exist_ok=True)
    write_report(record, page, past=past)
    proof = _evidence(record, page, past, evidence)
    write_index(page.parent)
    if json_to is not None:
        write_json(record, json_to)
    for line in plan_lines(record.plan) if record.plan else []:
        click.echo(line, err=json_to == "-")
    broken = [words for words in (limit(record) for limit in limits) if words]
    for words in broken:
        click.echo(f"scanqa: limit broken: {words}", err=True)
    click.echo(f"{record.scanner}: {record.judgement.outcome.sentence}", err=json_to == "-")
    if past is not None and past.news is not None:
        click.echo(past.news.sentence, err=json_to == "-")
        click.echo(past.health.sentence, err=json_to == "-")
    if proof:
        click.echo(proof, err=json_to == "-")
    click.echo(page, err=json_to == "-")
    if record.rejected or not kept:
        return UNUSABLE
    return LIMIT_BROKEN if broken else DONE


def _evidence(record: Record, page: Path, past: Past | None, wanted: bool | None) -> Path | None:
    """Write the page for a seller; its path, or None if nothing calls for it."""
    from scanqa.report.evidence import worth_a_page, write_evidence

    path = page.with_name(f"{page.stem}-evidence.html")
    if not (worth_a_page(record) if wanted is None else wanted):
        if path.exists():
            click.echo(
                f"scanqa: {path} is of earlier scans; nothing in these calls for it", err=True
            )
        return None
    done = None if past is None else [(event.at, event.words) for event in past.health.events]
    write_evidence(record, path, done=done)
    return path


def put_on_record(record: Record, url: str | None) -> tuple[Past | None, bool]:
    """Keep a record in the database: what earlier ones say, and whether it could be kept."""
    from scanqa.records import store
    from scanqa.records.past import keep
    from scanqa.report.document import document

    try:
        with store.open_store(url) as engine:
            return keep(engine, document(record)), True
    except store.StoreError as error:
        click.echo(f"scanqa: {error}; the report is written, but not put on record", err=True)
        return None, False


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
    name = scanner.strip().replace(" ", "-")
    if name.lower() == "index":
        raise BadOption("--scanner index: the folder's index has that name; choose another")
    return name


def check_positive(option: str, *numbers: float | None) -> None:
    """Refuse lengths and times that cannot be."""
    if any(number is not None and not 0 < number < 10_000 for number in numbers):
        raise BadOption(f"{option}: must be over 0")


def by_rule(
    bars: tuple[float, float] | None, ramp_height: float | None, dead_margins: Mapping[Side, float]
) -> str:
    """What was read by eye, for the record's conditions; empty if nothing was."""
    read = []
    if bars:
        read.append(f"bars of the bed sheet {bars[0]:g} and {bars[1]:g} mm")
    if ramp_height:
        read.append(f"gutter ramp {ramp_height:g} mm high")
    read += [f"dead margin {side} {margin:g} mm" for side, margin in dead_margins.items()]
    return "; ".join(read)


def read_dead_margins(given: tuple[tuple[Side, float], ...]) -> dict[Side, float]:
    """Values of ``--dead-margin`` by side."""
    read: dict[Side, float] = {}
    for side, margin_mm in given:
        if side in read:
            raise BadOption(f"--dead-margin {side}: given twice; give each side once")
        if not 0 <= margin_mm <= WIDEST_MARGIN_MM:
            raise BadOption(
                f"--dead-margin {side} {margin_mm:g}: give millimetres from 0 to {WIDEST_MARGIN_MM}"
            )
        read[side] = margin_mm
    return read
