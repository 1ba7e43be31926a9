"""``scanqa job``: watch the pages of a job, tie them to a record, see whether they changed."""

from __future__ import annotations

import signal
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import TYPE_CHECKING

import click

from scanqa.cli.checks import DONE, LIMIT_BROKEN, file_name
from scanqa.cli.near_names import Named
from scanqa.cli.option_groups import group
from scanqa.cli.options import out_option, records_option
from scanqa.errors import ScanqaError

if TYPE_CHECKING:
    from scanqa.model.watched import Watched
    from scanqa.watch.events import Before
    from scanqa.watch.follow import Progress

folder_argument = click.argument("folder", type=click.Path(path_type=Path, file_okay=False))


@click.group("job", cls=Named)
def command() -> None:
    """Watch the pages of a job, tie them to a record, see whether they changed."""


@dataclass(frozen=True, slots=True)
class Following:
    """How long a folder is followed, and how loudly."""

    follow: bool
    idle: float | None
    bell: bool


following_options = group(
    "following",
    Following,
    click.option("--follow", is_flag=True, help="Wait for further pages until Ctrl-C."),
    click.option(
        "--idle",
        type=click.FloatRange(min=0),
        metavar="S",
        help="With --follow: end when nothing came for so many seconds.",
    ),
    click.option("--bell", is_flag=True, help="Ring the terminal's bell at each event."),
)


@command.command("watch")
@folder_argument
@click.option("--scanner", required=True, help="Name of the scanner.")
@following_options
@click.option("--json", "json_to", metavar="FILE|-", help="Write what was found as JSON.")
@click.option("--curve", metavar="CURVE", help="Tone curve: srgb, linear, a gamma, or a file.")
@out_option
@records_option
def watch_command(
    folder: Path,
    scanner: str,
    following: Following,
    json_to: str | None,
    curve: str | None,
    out: Path,
    records: str | None,
) -> None:
    """Measure every page of FOLDER as it comes, and say what begins at which page.

    Needs no target. The folder is only read; what was read is kept elsewhere, so that the same
    command goes on where it stopped. Exit status 1 if pages are to be scanned again.
    """
    from scanqa.watch.follow import watch
    from scanqa.watch.journal import open_journal

    page = out / f"{file_name(scanner)}-job.html"
    before = _check_before(scanner, records)
    with open_journal(folder, scanner) as journal, _stopping() as stopped:
        teller = _Teller(folder, scanner, before, following, json_to, page, stopped)
        last = watch(folder, journal, tell=teller, follow=following.follow, curve=curve)
    found = teller.end(last)
    sys.exit(LIMIT_BROKEN if found.redo else DONE)


@dataclass(frozen=True, slots=True)
class Counting:
    """How long a check of the scanner counts."""

    days: int
    pages: int


counting_options = group(
    "counting",
    Counting,
    click.option(
        "--days",
        type=click.IntRange(min=1),
        default=14,
        show_default=True,
        help="A check of the scanner counts for so many days,",
    ),
    click.option(
        "--pages",
        type=click.IntRange(min=1),
        default=2000,
        show_default=True,
        help="and for so many pages; what ends first.",
    ),
)


@command.command("record")
@folder_argument
@click.option("--scanner", required=True, help="Name of the scanner, as the watch had it.")
@click.option(
    "--bag",
    type=click.Path(path_type=Path),
    metavar="DIR",
    help="Also write a BagIt bag: pages by hard link or copy, MIX and PREMIS entries.",
)
@counting_options
@out_option
@records_option
def record_command(
    folder: Path,
    scanner: str,
    bag: Path | None,
    counting: Counting,
    out: Path,
    records: str | None,
) -> None:
    """Tie the pages of FOLDER to checks, settings and what the watch found.

    Writes NAME-job-record.json, .html and .sha256, and with --bag a BagIt bag. Watch the folder
    first.
    """
    from scanqa.cli.job_record_files import write_record

    sys.exit(write_record(folder, scanner, bag, (counting.days, counting.pages), out, records))


@command.command("check")
@folder_argument
@click.option(
    "--record",
    type=click.Path(path_type=Path, dir_okay=False),
    required=False,
    help="NAME-job-record.json or NAME-job.sha256; not needed for a bag.",
)
def check_command(folder: Path, record: Path | None) -> None:
    """Say whether the files of FOLDER, or of a bag, are what the record holds.

    Exit status 1 if a file was changed or is missing.
    """
    from scanqa.cli.job_record_files import check_files

    sys.exit(check_files(folder, record))


class _Teller:
    """Tells what is new, in lines, JSON and a page; keeps what was told already."""

    def __init__(
        self,
        folder: Path,
        scanner: str,
        before: Before,
        following: Following,
        json_to: str | None,
        page: Path,
        stopped: Callable[[], bool],
    ) -> None:
        self._folder, self._scanner, self._before = folder, scanner, before
        self._following, self._json_to, self._page = following, json_to, page
        self._stopped = stopped
        self._said: dict[str, str] = {}
        self._moved = time.monotonic()

    def __call__(self, progress: Progress) -> bool:
        if progress.page is not None:
            self._moved = time.monotonic()
        if self._following.follow:
            if progress.gone:
                self._say("folder", f"{progress.gone}; waiting for it")
            else:
                self._said.pop("folder", None)
            found = self._watched(progress)
            if self._tell(found) or progress.page is not None:
                self._write(found)
        return not self._stopped() and not self._idle()

    def end(self, progress: Progress) -> Watched:
        """Tell the whole, write all."""
        from scanqa.report.job_page import write_job_page
        from scanqa.watch.fault_pictures import pictures_of
        from scanqa.words.of_watch import judged_sentence, summary_sentence

        found = self._watched(progress)
        self._tell(found)
        self._write(found)
        write_job_page(found, pictures_of(found, self._folder), self._page)
        click.echo(summary_sentence(found), err=self._json_to == "-")
        if sentence := judged_sentence(found):
            click.echo(sentence, err=self._json_to == "-")
        click.echo(self._page, err=self._json_to == "-")
        if self._json_to == "-":
            from scanqa.codec import to_document

            click.echo(to_document(found), nl=False)
        return found

    def _watched(self, progress: Progress) -> Watched:
        from scanqa.watch.events import watched

        return watched(
            progress.job,
            self._scanner,
            str(self._folder),
            unread=progress.unread,
            before=self._before,
        )

    def _tell(self, found: Watched) -> bool:
        """Say what is new; whether anything was."""
        from scanqa.words.of_watch import event_sentence, fault_words, page_words, what_to_do

        news = False
        for event in found.events:
            # Said again only when what to do has changed, not with each page that it touches.
            key = f"{event.kind} {event.action} {event.lasts} {event.decided_by}"
            if self._said.get(f"event {event.number}") != key:
                first = f"event {event.number}" not in self._said
                self._said[f"event {event.number}"] = key
                words = event_sentence(event)
                if not first:
                    words = f"{event.from_file}: {fault_words(event)}: {what_to_do(event)}"
                click.echo(words, err=self._json_to == "-")
                news = True
        for page in found.pages:
            if words := page_words(page):
                self._say(f"page {page.file} {page.sha256}", words)
        if news and self._following.bell:
            click.echo("\a", nl=False, err=True)
        return news

    def _say(self, key: str, words: str) -> None:
        if self._said.get(key) != words:
            self._said[key] = words
            click.echo(words, err=True)

    def _write(self, found: Watched) -> None:
        if self._json_to and self._json_to != "-":
            from scanqa.codec import to_document
            from scanqa.whole import write_whole

            write_whole(Path(self._json_to), to_document(found))

    def _idle(self) -> bool:
        idle = self._following.idle
        return idle is not None and time.monotonic() - self._moved > idle


def _check_before(scanner: str, records: str | None) -> Before:
    """What the newest check on record knows; a job is watched without one too."""
    from scanqa.watch.events import Before

    try:
        from scanqa.records import store
        from scanqa.records.database import open_store

        with open_store(records) as engine:
            entries = store.entries(engine, scanner)
            record = store.read(engine, entries[-1].id) if entries else None
    except ScanqaError as error:
        click.echo(f"scanqa: {error}; watched without the check before the job", err=True)
        return Before()
    if record is None:
        return Before()
    lines = sorted({round(s.at_mm, 1) for s in record.streaks if s.axis == "travel"})
    return Before(record.created, tuple(lines))


@contextmanager
def _stopping() -> Iterator[Callable[[], bool]]:
    """Ctrl-C and a request to end close the watch in order, after the page in hand."""
    asked: list[int] = []

    def stop(number: int, frame: FrameType | None) -> None:
        asked.append(number)

    signals = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
    before = {which: signal.signal(which, stop) for which in signals}
    try:
        yield lambda: bool(asked)
    finally:
        for which, handler in before.items():
            signal.signal(which, handler)
