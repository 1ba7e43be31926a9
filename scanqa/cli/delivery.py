"""What becomes of a qualification: on record, a report, JSON, and what the terminal says."""

from __future__ import annotations

import sys
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from scanqa.cli.checks import DONE, LIMIT_BROKEN, UNUSABLE
from scanqa.cli.options import Delivery, Limit

if TYPE_CHECKING:
    from scanqa.model import Qualification, Record, Results, Told
    from scanqa.model.history import Past
    from scanqa.records.looking_back import Beside
    from scanqa.records.store import Kept
    from scanqa.report.draw.figures import Drawing
    from scanqa.report.view import Picture


def deliver(
    found: Qualification,
    to: Delivery,
    *,
    limits: Sequence[Limit] = (),
    evidence: bool | None = None,
) -> int:
    """Decide, keep the record if asked to, write pages and JSON, print where they are; exit status.

    The report gains the scanner's history if there is one; it is written in any case. The page for
    a seller is written beside it where there is something to show, or as `evidence` says.
    """
    from scanqa.words.of_decision import decision_line

    for rejected in found.record.rejected:
        click.echo(f"scanqa: {rejected.why}", err=True)
    for scan in found.record.scans:
        if scan.dpi is None and scan.notes:
            click.echo(f"scanqa: {scan.file}: {scan.notes[-1]}", err=True)
    if not found.record.scans:
        return UNUSABLE
    record, past, kept = _on_record(found.record, to)
    try:
        pages = _write_pages(replace(found, record=record), to.out, past, evidence)
    finally:  # a disk that is full for one may not be for the other
        if to.json_to is not None:
            _write_json(record, to.json_to)
    broken = [words for words in (limit(record) for limit in limits) if words]
    for words in broken:
        click.echo(f"scanqa: limit broken: {words}", err=True)
    lines: Iterable[str] = (*_lines(record, past), *map(str, pages), *_ending(record))
    if to.quiet:
        lines = [decision_line(record.scanner, record.decision)]
    for line in lines:
        click.echo(line, err=to.json_to == "-")
    if record.rejected or not kept:
        return UNUSABLE
    return LIMIT_BROKEN if broken else DONE


def load_pages(found: Collection[Results]) -> None:
    """Load what draws pages, and what draws curves as soon as one will surely be drawn."""
    import scanqa.report.evidence.seller_page
    import scanqa.report.more_pages
    import scanqa.standing  # noqa: F401
    from scanqa.report.draw import canvas
    from scanqa.report.pages import load
    from scanqa.report.sections.pictures import surely_a_curve

    load()
    if any(surely_a_curve(evidence) for results in found for evidence in results.evidence):
        canvas.load()


def told_by_records(told: Told, scanner: str, to: Delivery) -> Told:
    """What the user told, and the check on record that shows what has changed since.

    An earlier check that the user names comes first. Where records cannot be read nothing is added:
    `deliver` says so when it comes to keeping.
    """
    if told.earlier is not None or not to.keep:
        return told
    from scanqa.records.database import StoreError, open_store
    from scanqa.records.looking_back import first_of_its_light

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


def _ending(record: Record) -> Iterator[str]:
    """The last lines: what to do with the unit, and what first."""
    from scanqa.words.of_decision import acts, decision_line

    yield decision_line(record.scanner, record.decision)
    if record.decision.decision == "open":
        return  # its title names the scan that comes first
    first = [act.text for act in acts(record.actions, record.decision)][:1]
    yield from (f"First: {text}" for text in first)


def _write_pages(
    found: Qualification, folder: Path, past: Past | None, evidence: bool | None
) -> list[Path]:
    """Write report and index, and the seller's page where it is called for; their paths."""
    from scanqa.report.draw.figures import draw
    from scanqa.report.evidence.seller_page import write_evidence
    from scanqa.report.index.naming import report_path
    from scanqa.report.more_pages import write_index
    from scanqa.report.pages import write_report
    from scanqa.report.view import Lines
    from scanqa.side_by_side import processes_to_use, side_by_side

    folder.mkdir(parents=True, exist_ok=True)
    page = report_path(folder, found.record)
    proof = _evidence_path(found.record, folder, evidence)
    beside: list[Callable[[], Any]] = []
    if proof is not None:
        done = None if past is None else [(event.at, event.words) for event in past.health.events]
        beside = [partial(write_evidence, found, proof, done=done)]

    def drawn(pictures: Sequence[tuple[Picture, str]]) -> list[Drawing]:
        # Curves take longest, and the page for a seller is written beside them.
        works: list[Callable[[], Any]] = [partial(draw, *each) for each in pictures]
        works += beside
        costs = [2 * isinstance(picture, Lines) for picture, _ in pictures] + [1 for _ in beside]
        return side_by_side(
            lambda at: works[at](),
            range(len(works)),
            cost=costs.__getitem__,
            processes=processes_to_use(),
        )[: len(pictures)]

    write_report(found, page, past=past, drawn=drawn)
    write_index(folder)
    return [path for path in (proof, page) if path is not None]


def _evidence_path(record: Record, folder: Path, wanted: bool | None) -> Path | None:
    """Where the page for a seller belongs; None if nothing calls for it."""
    from scanqa.report.evidence.seller_page import worth_a_page
    from scanqa.report.index.naming import day_of, file_stem, is_full, mark_of, path_for

    facts = {"page": "evidence", "scanner": record.scanner}
    stem = f"{file_stem(record.scanner)}-evidence"
    if not is_full(record):  # a small check leaves the page of a full one alone
        facts["record"] = mark_of(record)
        stem += f"-{day_of(record)}"
    path = path_for(folder, stem, facts)
    if not (worth_a_page(record) if wanted is None else wanted):
        if path.exists():
            click.echo(
                f"scanqa: {path} is of earlier scans; nothing in these calls for it", err=True
            )
        return None
    return path


def _write_json(record: Record, to: str) -> None:
    from scanqa.codec import to_json, write_record

    if to == "-":
        sys.stdout.write(to_json(record))
    else:
        write_record(record, to)


def _on_record(record: Record, to: Delivery) -> tuple[Record, Past | None, bool]:
    """Decide by what is on record, and keep it there; False if that was asked and not done."""
    from scanqa.standing import decided

    stated = record.identity
    if not to.keep:
        return decided(record, identity=stated, needed=to.needed), None, True
    from scanqa.records.database import StoreError, open_store
    from scanqa.records.looking_back import beside, keep

    try:
        with open_store(to.records) as engine:
            known = beside(engine, record)
            if known.differs and not _same_unit(record, known):
                alone = decided(record, identity=stated, needed=to.needed)
                return alone, None, False
            record = decided(
                record,
                identity=known.identity,
                before=known.before,
                noted=known.noted,
                needed=to.needed,
            )
            kept, past = keep(engine, record)
    except StoreError as error:
        click.echo(f"scanqa: {error}; the report is made, but not put on record", err=True)
        return decided(record, identity=stated, needed=to.needed), None, False
    if kept.how == "corrected":
        click.echo(f"scanqa: {_correction(kept, record)}", err=True)
    return record, past, True


def _same_unit(record: Record, known: Beside) -> bool:
    """Ask whether two units of one name are one: they are never put together unasked."""
    ours = getattr(known.identity, known.differs)
    theirs = getattr(record.identity, known.differs)
    words = f"{record.scanner} is on record with {known.differs} {ours}; these scans say {theirs}"
    if sys.stdin.isatty() and sys.stderr.isatty():
        return click.confirm(f"{words}. Is it the same unit?", default=False, err=True)
    click.echo(
        f"scanqa: {words}; not put on record: give another unit another name with --scanner, or "
        f"say scanqa scanners change {record.scanner} --{known.differs} {theirs}",
        err=True,
    )
    return False


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
def progress(*, quiet: bool = False) -> Iterator[Callable[[int, int, str], None]]:
    """A progress bar on a terminal, without colours if ``NO_COLOR`` is set; nothing when piped."""
    if quiet or not sys.stderr.isatty():
        yield lambda done, total, words: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (BarColumn(), TimeElapsedColumn(), TextColumn("{task.description}"))
    console = Console(stderr=True)
    # No thread that draws it again and again: a process with threads cannot be forked.
    with Progress(*columns, console=console, transient=True, auto_refresh=False) as bar:
        task = bar.add_task("", total=None)
        yield lambda done, total, words: bar.update(
            task, completed=done, total=total, description=words, refresh=True
        )
