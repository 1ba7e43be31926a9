"""The command line: parses, calls one library function, prints.

Exit status: 0 done; 1 measured, but a limit given with ``--fail-on`` is broken; 2 some input
cannot be used (one line for each on standard error; everything else is still measured).
Only click is imported here at the top, so that ``--help`` answers at once.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from scanqa import __version__
from scanqa.catalogue import Role, Side
from scanqa.errors import BadOption, ScanqaError

if TYPE_CHECKING:
    from scanqa.model import Record

DONE, LIMIT_BROKEN, UNUSABLE = 0, 1, 2
PAPERS = ("a4", "letter", "a3")


class _OneLineErrors(click.Group):
    """Errors of ours are one line and status 2; anything else is a bug and shows itself."""

    def invoke(self, ctx: click.Context) -> object:
        try:
            return super().invoke(ctx)
        except ScanqaError as error:
            click.echo(f"scanqa: {error}", err=True)
            ctx.exit(UNUSABLE)


@click.group(cls=_OneLineErrors, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="scanqa")
def main() -> None:
    """Measure how good a flatbed document scanner really is.

    Print a sheet (scanqa sheets), scan it and some blank paper, then let scanqa qualify measure
    the scans and write a report. scanqa demo shows it all on simulated scans.
    """


@main.command()
@click.option(
    "--paper",
    type=click.Choice(PAPERS),
    multiple=True,
    help="Paper to draw for; may be repeated. Default: all.",
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("targets"),
    show_default=True,
    help="Folder to write the PDFs to.",
)
def sheets(paper: tuple[str, ...], out: Path) -> None:
    """Write the printable sheets as PDF."""
    from scanqa.sheets.pdf import write_sheets

    for path in write_sheets(paper or PAPERS, out):
        click.echo(path)


@main.command()
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
@click.option("--scanner", required=True, help="Name of the scanner; the report is named after it.")
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("reports"),
    show_default=True,
    help="Folder for the report.",
)
@click.option("--json", "json_to", metavar="FILE|-", help="Also write the results as JSON.")
@click.option(
    "--role",
    "roles",
    multiple=True,
    metavar="NAME=FILE",
    help=f"Say what a file shows instead of having it recognised: {', '.join(get_args(Role))}.",
)
@click.option("--dpi", type=float, help="Sampling of the scans, where their files do not say it.")
@click.option(
    "--book-edge", type=click.Choice(get_args(Side)), help="Side of the image where the spine lies."
)
@click.option("--curve", metavar="CURVE", help="Tone curve: srgb, linear, a gamma, or a file.")
@click.option(
    "--bars",
    nargs=2,
    type=float,
    metavar="MM MM",
    help="Lengths of the bed sheet's bars, across and down, by a steel rule.",
)
@click.option("--light", metavar="WORDS", help="Words on the light source, kept with the record.")
@click.option(
    "--fail-on",
    multiple=True,
    metavar="LIMIT",
    help="Exit with 1 if this holds: limited, unfit, or a measure such as 'edges.shadow_left>3'.",
)
def qualify(
    paths: tuple[Path, ...],
    scanner: str,
    out: Path,
    json_to: str | None,
    roles: tuple[str, ...],
    dpi: float | None,
    book_edge: Side | None,
    curve: str | None,
    bars: tuple[float, float] | None,
    light: str | None,
    fail_on: tuple[str, ...],
) -> None:
    """Measure the scans of one scanner and write its report.

    PATHS are scans (TIFF, PNG, JPEG) or folders of them.
    """
    from scanqa.qualify import Options
    from scanqa.qualify import qualify as run

    limits = [_limit(text) for text in fail_on]
    options = Options(
        dpi=_sensible_dpi(dpi),
        book_edge=book_edge,
        curve=curve,
        bars_mm=bars,
        roles=dict(_role(text) for text in roles),
        conditions={"light": light} if light else {},
    )
    name = _file_name(scanner)
    if not paths and not roles:
        raise BadOption("no scans given; name files or a folder")
    with _progress() as progress:
        record = run(paths, scanner=scanner, options=options, progress=progress)
    sys.exit(_deliver(record, out / f"{name}.html", json_to, limits))


@main.command()
@click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("reports"),
    show_default=True,
    help="Folder for the reports.",
)
@click.option(
    "--scans",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("demo-scans"),
    show_default=True,
    help="Folder for the simulated scans.",
)
def demo(out: Path, scans: Path) -> None:
    """Simulate two scanners with known faults, measure them and write their reports.

    The Tarn Valley Orchard Society (invented) digitises nursery catalogues with heron, an old
    scanner with a cold-cathode lamp, and wren, a newer one with LEDs.
    """
    from scanqa.demo import write_demo
    from scanqa.qualify import Options
    from scanqa.qualify import qualify as run

    with _progress() as progress:
        written = write_demo(scans, progress=progress)
    status = DONE
    for name, files in written.items():
        options = Options(book_edge="left", conditions={"light": DEMO_LIGHT[name]})
        with _progress() as progress:
            record = run(files, scanner=name, options=options, progress=progress)
        json_to = str(out / f"{name}.json")
        status = max(status, _deliver(record, out / f"{name}.html", json_to, []))
    sys.exit(status)


DEMO_LIGHT = {"heron": "cold-cathode lamp (simulated)", "wren": "LED (simulated)"}


def _deliver(
    record: Record, page: Path, json_to: str | None, limits: list[Callable[[Record], str | None]]
) -> int:
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


@contextmanager
def _progress() -> Iterator[Callable[[int, int, str], None]]:
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


def _file_name(scanner: str) -> str:
    """A scanner's name as a file name; refuses what could leave the folder."""
    if not re.fullmatch(r"\w[\w .-]{0,80}", scanner):
        raise BadOption(
            f"--scanner {scanner!r}: cannot be a file name; use letters, digits, blank, '-', '_'"
        )
    return scanner.strip().replace(" ", "-")


def _sensible_dpi(dpi: float | None) -> float | None:
    if dpi is not None and not 20 <= dpi <= 20_000:
        raise BadOption(f"--dpi {dpi:g}: not a sampling that a scanner has; give 20 to 20000")
    return dpi


def _role(text: str) -> tuple[Path, Role]:
    name, _, file = text.partition("=")
    roles: tuple[Role, ...] = get_args(Role)
    for role in roles:
        if role == name and file:
            return Path(file), role
    raise BadOption(f"--role {text}: write NAME=FILE, NAME being one of {', '.join(roles)}")


def _limit(text: str) -> Callable[[Record], str | None]:
    """A function that tells how a record breaks the limit, or None."""
    from scanqa.catalogue import CATALOGUE

    if text in ("limited", "unfit"):
        grave = ("unfit",) if text == "unfit" else ("limited", "unfit")
        return lambda record: (
            f"the outcome is {record.judgement.outcome.fitness}"
            if record.judgement.outcome.fitness in grave
            else None
        )
    match = re.fullmatch(r"\s*([\w.]+)\s*([<>])\s*(-?\d+(?:\.\d+)?)\s*", text)
    if not match or match[1] not in CATALOGUE:
        raise BadOption(
            f"--fail-on {text}: write limited, unfit, or a measure with < or > and a number"
        )
    name, sign, number = match[1], match[2], float(match[3])

    def broken(record: Record) -> str | None:
        for m in record.results.named(name):
            if m.value is not None and (m.value < number if sign == "<" else m.value > number):
                return f"{name} is {m.value:g} {m.unit}, {sign} {number:g}"
        return None

    return broken
