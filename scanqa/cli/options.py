"""The groups of options that several commands take."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from scanqa.catalogue import PAPERS, PaperKind, Side
from scanqa.catalogue.sizes import TURN_S
from scanqa.cli.checks import check_positive
from scanqa.cli.job import SIZES, SMALLEST_MM, read_job
from scanqa.cli.option_groups import group
from scanqa.errors import BadOption

if TYPE_CHECKING:
    from scanqa.model import Record, Told

WIDEST_MARGIN_MM = 60  # as far as the edge strip's scale goes

Limit = Callable[["Record"], str | None]  # how a record breaks the limit, or None

out_option = click.option(
    "--out",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path("reports"),
    show_default=True,
    help="Folder for the report.",
)
records_option = click.option(
    "--records",
    metavar="URL",
    help="Database of records: a file, sqlite:///FILE or postgresql+psycopg://… "
    "(default: SCANQA_RECORDS, else a file in the user's data folder).",
)


# ------------------------------------------------------------------------------ delivery


@dataclass(frozen=True, slots=True)
class Delivery:
    """Where results go."""

    out: Path
    json_to: str | None
    keep: bool
    records: str | None
    needed: tuple[str, ...] = ()
    quiet: bool = False

    def check(self) -> None:
        """See, before anything is measured, that results can be written."""
        from scanqa.whole import check_writable

        check_writable(self.out)
        if self.json_to not in (None, "-"):
            check_writable(Path(str(self.json_to)).parent)


delivery_options = group(
    "delivery",
    Delivery,
    out_option,
    click.option("--json", "json_to", metavar="FILE|-", help="Also write the results as JSON."),
    click.option("--keep/--no-keep", default=True, help="Put the qualification on record."),
    records_option,
    click.option(
        "--for",
        "needed",
        multiple=True,
        metavar="USE",
        help="A use that you want it for; uses not named do not count. May be repeated.",
    ),
    click.option("-q", "--quiet", is_flag=True, help="Print the decision alone."),
    heading="Where results go",
)


# -------------------------------------------------------------- what the user knows, a job


@dataclass(frozen=True, slots=True)
class Known:
    """What the user knows of scanner, sheet and job."""

    book_edge: Side | None
    curve: str | None
    bars: tuple[float, float] | None
    ramp_height: float | None
    dead_margins: tuple[tuple[Side, float], ...]
    print_label: str
    paper: PaperKind | None
    card_paper: PaperKind | None
    light: str | None
    pages: int | None
    page_size: str | None
    smallest: float | None
    scan_seconds: float | None
    turn_seconds: float | None
    uses: Path | None

    def told(self, conditions: Mapping[str, str | None]) -> Told:
        """The same for `qualify`, with words to keep with the record.

        Raises
        ------
        BadOption
            If a value makes no sense.
        """
        from scanqa.model import Told

        check_positive("--bars", *(self.bars or ()))
        check_positive("--ramp-height", self.ramp_height)
        margins_mm = _read_dead_margins(self.dead_margins)
        words = {
            "light": self.light,
            "read by eye": _read_by_eye(self.bars, self.ramp_height, margins_mm),
            "limits": _own_limits(self.uses),
            **conditions,
        }
        return Told(
            book_edge=self.book_edge,
            curve=self.curve,
            bars_mm=self.bars,
            ramp_height_mm=self.ramp_height,
            dead_margins_mm=margins_mm,
            print_label=self.print_label,
            paper=self.paper,
            card_paper=self.card_paper,
            uses=self.uses,
            job=read_job(
                self.pages, self.page_size, self.smallest, self.scan_seconds, self.turn_seconds
            ),
            conditions={name: said for name, said in words.items() if said},
        )


known_options = group(
    "known",
    Known,
    click.option(
        "--book-edge",
        type=click.Choice(get_args(Side)),
        help="Side of the image where the spine lies.",
    ),
    click.option("--curve", metavar="CURVE", help="Tone curve: srgb, linear, a gamma, or a file."),
    click.option(
        "--bars",
        nargs=2,
        type=float,
        metavar="MM MM",
        help="Lengths of the bed sheet's bars, across and down, by a steel rule.",
    ),
    click.option(
        "--ramp-height",
        type=float,
        metavar="MM",
        help="Height of the gutter ramp at its lip, by a rule.",
    ),
    click.option(
        "--dead-margin",
        "dead_margins",
        nargs=2,
        type=(click.Choice(get_args(Side)), float),
        multiple=True,
        metavar="SIDE MM",
        help="Dead margin of a side, read by eye from the edge strip's scale; once for each side.",
    ),
    click.option(
        "--print",
        "print_label",
        default="",
        metavar="LABEL",
        help="Name of the printed sheet: checks on one sheet compare without its print's doubt.",
    ),
    click.option(
        "--paper",
        type=click.Choice(PAPERS),
        help="Kind of paper of the printed sheet: how far light spreads in it.",
    ),
    click.option(
        "--card-paper",
        type=click.Choice(PAPERS),
        help="Kind of paper that the edge card is cut from.",
    ),
    click.option(
        "--light", metavar="WORDS", help="Words on the light source, kept with the record."
    ),
    click.option("--pages", type=int, metavar="N", help="Plan a job of so many pages."),
    click.option("--page-size", metavar="SIZE", help=f"Of a page: {SIZES}.  [default: a4]"),
    click.option(
        "--smallest",
        type=float,
        metavar="MM",
        help=f"Height of the smallest lower-case letters of the job.  [default: {SMALLEST_MM:g}]",
    ),
    click.option(
        "--scan-seconds", type=float, metavar="S", help="Time of a scan, if the files do not say."
    ),
    click.option(
        "--turn-seconds",
        type=float,
        metavar="S",
        help=f"Time to turn a page between scans.  [default: {TURN_S:g}]",
    ),
    click.option(
        "--uses",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="TOML file of your own kinds of work and limits, in place of the usual ones.",
    ),
    heading="What you know of scanner, sheet and job",
)


def _own_limits(uses: Path | None) -> str | None:
    """That the limits of use are not the usual ones."""
    return f"the uses and their limits are the user's own ({uses.name})" if uses else None


def _read_by_eye(
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


def _read_dead_margins(given: tuple[tuple[Side, float], ...]) -> dict[Side, float]:
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
