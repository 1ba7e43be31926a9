"""What becomes of a qualification: on record, a report, JSON, and what the terminal says."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scanqa.cli.checks import DONE, LIMIT_BROKEN, UNUSABLE
from scanqa.cli.options import Delivery, Limit

if TYPE_CHECKING:
    from scanqa.model import Qualification, Record, Told
    from scanqa.model.history import Past
    from scanqa.records.store import Kept


def deliver(
    found: Qualification,
    to: Delivery,
    *,
    limits: Sequence[Limit] = (),
    evidence: bool | None = None,
) -> int:
    """Keep the record if asked to, write report and JSON, print where they are; the exit status.

    The report gains the scanner's history if there is one; it is written in any case. The page for
    a seller is written beside it where there is something to show, or as `evidence` says.
    """
    record = found.record
    for rejected in record.rejected:
        click.echo(f"scanqa: {rejected.why}", err=True)
    for scan in record.scans:
        if scan.dpi is None and scan.notes:
            click.echo(f"scanqa: {scan.file}: {scan.notes[-1]}", err=True)
    if not record.scans:
        return UNUSABLE
    past, kept = _put_on_record(record, to.records) if to.keep else (None, True)
    proof = _write_pages(found, to.page(record.scanner), past, evidence)
    if to.json_to is not None:
        _write_json(record, to.json_to)
    broken = [words for words in (limit(record) for limit in limits) if words]
    for words in broken:
        click.echo(f"scanqa: limit broken: {words}", err=True)
    for line in _lines(record, past):
        click.echo(line, err=to.json_to == "-")
    for page in filter(None, (proof, to.page(record.scanner))):
        click.echo(page, err=to.json_to == "-")
    if record.rejected or not kept:
        return UNUSABLE
    return LIMIT_BROKEN if broken else DONE


def told_by_records(told: Told, scanner: str, to: Delivery) -> Told:
    """What the user told, and the check on record that shows what has changed since.

    An earlier check that the user names comes first. Where records cannot be read nothing is added:
    `deliver` says so when it comes to keeping.
    """
    from scanqa.records.database import StoreError, open_store
    from scanqa.records.looking_back import first_of_its_light

    if told.earlier is not None or not to.keep:
        return told
    try:
        with open_store(to.records) as engine:
            return replace(told, earlier=first_of_its_light(engine, scanner))
    except StoreError:
        return told


def _lines(record: Record, past: Past | None) -> Iterator[str]:
    """What the terminal says of a record."""
    from scanqa.words.of_history import health_sentence, news_sentence
    from scanqa.words.of_plan import plan_lines
    from scanqa.words.of_roles import taken_for

    yield taken_for(record.scans)
    yield from plan_lines(record.plan) if record.plan else ()
    yield f"{record.scanner}: {record.outcome.sentence}"
    if past is not None and past.news is not None:
        yield news_sentence(past.news)
        yield health_sentence(past.health)


def _write_pages(
    found: Qualification, page: Path, past: Past | None, evidence: bool | None
) -> Path | None:
    """Write report and index, and the seller's page where it is called for; its path."""
    from scanqa.report.more_pages import write_index
    from scanqa.report.pages import write_report

    page.parent.mkdir(parents=True, exist_ok=True)
    write_report(found, page, past=past)
    proof = _write_evidence(found, page, past, evidence)
    write_index(page.parent)
    return proof


def _write_evidence(
    found: Qualification, page: Path, past: Past | None, wanted: bool | None
) -> Path | None:
    """Write the page for a seller; its path, or None if nothing calls for it."""
    from scanqa.report.evidence import worth_a_page, write_evidence

    path = page.with_name(f"{page.stem}-evidence.html")
    if not (worth_a_page(found.record) if wanted is None else wanted):
        if path.exists():
            click.echo(
                f"scanqa: {path} is of earlier scans; nothing in these calls for it", err=True
            )
        return None
    done = None if past is None else [(event.at, event.words) for event in past.health.events]
    write_evidence(found, path, done=done)
    return path


def _write_json(record: Record, to: str) -> None:
    from scanqa.codec import to_json, write_record

    if to == "-":
        sys.stdout.write(to_json(record))
    else:
        write_record(record, to)


def _put_on_record(record: Record, url: str | None) -> tuple[Past | None, bool]:
    """Keep a record in the database: what earlier ones say, and whether it could be kept."""
    from scanqa.records.database import StoreError, open_store
    from scanqa.records.looking_back import keep

    try:
        with open_store(url) as engine:
            kept, past = keep(engine, record)
    except StoreError as error:
        click.echo(f"scanqa: {error}; the report is written, but not put on record", err=True)
        return None, False
    if kept.how == "corrected":
        click.echo(f"scanqa: {_correction(kept, record)}", err=True)
    return past, True


def _correction(kept: Kept, record: Record) -> str:
    """What was told otherwise of the same scans before."""
    names = [n for n in {**kept.before, **record.options} if
             kept.before.get(n) != record.options.get(n)]  # fmt: skip
    changes = [
        f"--{name} {kept.before.get(name, 'nothing')} before, "
        f"{record.options.get(name, 'nothing')} now"
        for name in names
    ]
    return f"record {kept.id} is replaced: the same scans with other options ({'; '.join(changes)})"


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
