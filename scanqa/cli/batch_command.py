"""``scanqa batch``: measure many sets of scans by several processes, here or on a cluster."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scanqa.cli.checks import DONE, UNUSABLE
from scanqa.cli.near_names import hint
from scanqa.cli.option_groups import group
from scanqa.cli.options import out_option, records_option
from scanqa.cli.settings_file import Command, UserSettings, read_settings
from scanqa.errors import BadOption

if TYPE_CHECKING:
    from scanqa.batch.engine import Engine
    from scanqa.batch.manifest import Piece
    from scanqa.batch.tasks import Done

GIGABYTE = 1 << 30
SHARE_OF_MEMORY = 0.8  # of the machine's, for all workers together


@dataclass(frozen=True, slots=True)
class Hands:
    """Who does the work."""

    workers: int | None
    memory: float | None
    scheduler: str | None

    @contextmanager
    def engine(self, records: str | None) -> Iterator[Engine]:
        """The workers, for as long as they are needed.

        Raises
        ------
        BadOption
            If options contradict each other.
        """
        from scanqa.batch.engine import local
        from scanqa.records.database import default_url

        if self.scheduler is not None:
            if self.workers is not None or self.memory is not None:
                raise BadOption(
                    "--scheduler: its own workers do the work; leave --workers and --memory out"
                )
            from scanqa.batch.cluster import cluster

            with cluster(self.scheduler) as of_scheduler:
                yield of_scheduler
            return
        workers = self.workers or _cores()
        most = self.memory * GIGABYTE if self.memory else SHARE_OF_MEMORY * _memory() / workers
        with local(workers, most_bytes=int(most), records=records or default_url()) as here:
            yield here


@click.command("batch", cls=Command)
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path))
@group(
    "hands",
    Hands,
    click.option(
        "--workers",
        type=click.IntRange(1, 256),
        metavar="N",
        help="Processes, of one thread each.  [default: one for each core]",
    ),
    click.option(
        "--memory",
        type=click.FloatRange(min=0.25),
        metavar="GB",
        help="Memory that a process may take.  [default: its share of the machine's]",
    ),
    click.option(
        "--scheduler",
        metavar="ADDRESS",
        help="Use the workers of this Dask scheduler: tcp://127.0.0.1:8786, or tls://HOST:8786 "
        "with certificates (needs scanqa[cluster]).",
    ),
    heading="Who does the work",
)
@click.option("--again", is_flag=True, help="Measure anew what an older method has measured.")
@click.option("--new-scanners", is_flag=True, help="Begin scanners that nothing is on record of.")
@out_option
@records_option
@click.option("-q", "--quiet", is_flag=True, help="Print what was wrong alone.")
def command(
    paths: tuple[Path, ...],
    hands: Hands,
    again: bool,
    new_scanners: bool,
    out: Path,
    records: str | None,
    quiet: bool,
) -> None:
    """Measure many sets of scans, or watch many jobs, and put them on record.

    PATHS are manifests (CSV: set, scanner, file …) or folders that hold a folder for each scanner
    and in it one for each set. The same command again goes on where it stopped.
    """
    from scanqa.batch.manifest import read_all
    from scanqa.batch.run_batch import Order, work
    from scanqa.records.database import travelling
    from scanqa.words.of_batch import goes_on, tally_words

    settings = read_settings()
    listed = read_all(paths, _usual(settings))
    pieces, wrong = _checked(listed.pieces, records, new_scanners)
    for line in (*listed.wrong, *wrong):
        click.echo(f"scanqa: {line}", err=True)
    order = Order(travelling(records), again, str(out.resolve()), *_of_uses(settings))
    lines: list[str] = []
    with hands.engine(records) as engine, _progress(len(pieces), quiet) as step:

        def tell(piece: Piece, result: Done | BaseException) -> None:
            step()
            for line in _lines(piece, result):
                lines.append(line)
                click.echo(f"scanqa: {line}", err=True)

        ends = work(engine, pieces, order, tell)
    if not quiet:
        click.echo(tally_words(ends))
    if words := goes_on(ends):
        click.echo(f"scanqa: {words}", err=True)
    sys.exit(UNUSABLE if listed.wrong or wrong or lines else DONE)


def _lines(piece: Piece, result: Done | BaseException) -> Iterator[str]:
    """What was wrong with a set, or with the pages of a job, a line each."""
    from scanqa.batch.run_batch import end_of
    from scanqa.batch.tasks import Done
    from scanqa.words.of_batch import faults

    why = result.why if isinstance(result, Done) else ()
    broke = "" if isinstance(result, Done) else f"{type(result).__name__}: {result}"
    return faults(piece.name, piece.scanner, end_of(result), why, broke)


def _checked(
    pieces: Sequence[Piece], records: str | None, new_scanners: bool
) -> tuple[list[Piece], list[str]]:
    """Pieces of scanners that are known and no two of which are one unit, and what is wrong.

    Raises
    ------
    StoreError
        If the database cannot be used, or not by this user.
    """
    from scanqa.records.database import open_store
    from scanqa.records.scanners import all_known, all_names, same_serial
    from scanqa.records.settled import check_may_write

    with open_store(records) as engine:
        check_may_write(engine)
        known, units = all_names(engine), all_known(engine)
    names = dict.fromkeys(piece.scanner for piece in pieces)
    refused: dict[str, str] = {}
    for name in names:
        unit = next((unit for unit in units if unit.scanner == name), None)
        other = same_serial(units, unit) if unit else ""
        if name not in known and not new_scanners:
            words = hint(name, known, "a scanner that nothing is on record of is begun with")
            refused[name] = f"{name}: no such scanner; {words}" + (
                " --new-scanners" if words.endswith("with") else " If not, say --new-scanners"
            )
        elif unit and other:
            refused[name] = (
                f"{name}: has serial {unit.serial}, and so has {other}; say which by scanqa "
                f"scanners change, or that one is --retired"
            )
    wrong = [
        f"{line} ({sum(p.scanner == name for p in pieces)} sets not measured)"
        for name, line in refused.items()
    ]
    return [piece for piece in pieces if piece.scanner not in refused], wrong


def _usual(settings: UserSettings) -> dict[str, dict[str, str]]:
    """Options that the user's settings hold, in words, by scanner; ``""`` for all others."""
    from scanqa.batch.manifest import OPTIONS

    def words(value: object) -> str:
        return " ".join(map(str, value)) if isinstance(value, list) else str(value)

    def said(scanner: str | None) -> dict[str, str]:
        held = settings.holding(scanner)
        found = {key: words(held[key]) for key in OPTIONS if key in held}
        if "uses" in held:
            found["uses"] = str((settings.path.parent / str(held["uses"])).resolve())
        return found

    return {"": said(None), **{name: said(name) for name in settings.of_scanner}}


def _of_uses(settings: UserSettings) -> tuple[dict[str, tuple[str, ...]], dict[str, Path]]:
    """Uses that count, and the user's own kinds of work, by scanner."""
    needed, uses = {}, {}
    for name in ("", *settings.of_scanner):
        held = settings.holding(name)
        if isinstance(wanted := held.get("for"), list):
            needed[name] = tuple(map(str, wanted))
        if "uses" in held:
            uses[name] = (settings.path.parent / str(held["uses"])).resolve()
    return needed, uses


@contextmanager
def _progress(total: int, quiet: bool) -> Iterator[Callable[[], None]]:
    """A bar on a terminal; nothing when piped."""
    from scanqa.cli.delivery import progress

    done = 0
    with progress(quiet=quiet) as shown:

        def step() -> None:
            nonlocal done
            done += 1
            shown(done, total, f"{done} of {total} sets")

        shown(0, total, f"0 of {total} sets")
        yield step


def _cores() -> int:
    import os

    return len(os.sched_getaffinity(0))


def _memory() -> int:
    """Bytes of memory of this machine."""
    import os

    return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES")
