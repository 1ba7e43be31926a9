"""``scanqa job``: watch the pages of a job, tie them to a record, see whether they changed."""

from __future__ import annotations

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

import click

from scanqa.cli.checks import DONE, LIMIT_BROKEN, file_name
from scanqa.cli.job_telling import Following, Teller, check_before
from scanqa.cli.near_names import Named
from scanqa.cli.option_groups import group
from scanqa.cli.options import out_option, records_option

folder_argument = click.argument("folder", type=click.Path(path_type=Path, file_okay=False))


@click.group("job", cls=Named, short_help="Watch the pages of a job, and tie them to a record.")
def command() -> None:
    """Watch the pages of a job, tie them to a record, see whether they changed."""


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
    from scanqa.freed_memory import keep_freed_memory
    from scanqa.watch.follow import watch
    from scanqa.watch.journal import open_journal

    keep_freed_memory()
    page = out / f"{file_name(scanner)}-job.html"
    before = check_before(scanner, records)
    with open_journal(folder, scanner) as journal, _stopping() as stopped:
        teller = Teller(folder, scanner, before, following, json_to, page, stopped)
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
