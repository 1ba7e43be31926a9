"""``scanqa qualify``: measure the scans of one scanner and write its report."""

from __future__ import annotations

import re
import sys
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scanqa.catalogue import ROLES, Role
from scanqa.cli.checks import check_positive, file_name
from scanqa.cli.delivery import deliver, load_pages, progress, told_by_records
from scanqa.cli.near_names import no_measure
from scanqa.cli.option_groups import group
from scanqa.cli.options import Delivery, Known, Limit, delivery_options, known_options
from scanqa.cli.settings_file import Command
from scanqa.errors import BadOption, NotARecord

if TYPE_CHECKING:
    from scanqa.model import Record, Told


@dataclass(frozen=True, slots=True)
class Files:
    """What the user says of these scans, and files that go with them."""

    roles: tuple[str, ...]
    dpi: float | None
    line_time: float | None
    earlier: Path | None
    reference: Path | None
    edge_response: Path | None
    temperature: float | None
    date: str | None

    def told(self, known: Known) -> Told:
        """All that the user told, files read.

        Raises
        ------
        BadOption
            If a value makes no sense or a file cannot be used.
        """
        from scanqa.scans.cgats import read_cgats
        from scanqa.scans.response import read_response

        check_positive("--line-time", self.line_time)
        words = {
            "temperature": None if self.temperature is None else f"{self.temperature:g} °C",
            "date": self.date,
        }
        return replace(
            known.told(words),
            dpi=_sensible_dpi(self.dpi),
            line_time_ms=self.line_time,
            reference=read_cgats(self.reference) if self.reference else None,
            edge_response=read_response(self.edge_response) if self.edge_response else None,
            roles=dict(_role(text) for text in self.roles),
            earlier=_read_earlier(self.earlier),
        )


@dataclass(frozen=True, slots=True)
class Outcomes:
    """What is written, and when the exit status is 1."""

    evidence: bool | None
    fail_on: tuple[str, ...]


@click.command("qualify", cls=Command)
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
@click.option("--scanner", required=True, help="Name of the scanner; the report is named after it.")
@delivery_options
@group(
    "outcomes",
    Outcomes,
    click.option(
        "--evidence/--no-evidence",
        default=None,
        help="Write the page for a seller, NAME-evidence.html.  [default: if a fault was found or "
        "a use is limited]",
    ),
    click.option(
        "--fail-on",
        multiple=True,
        metavar="LIMIT",
        help="Exit with 1 if this holds: limited, unfit, or a measure such as "
        "'edges.shadow_left>3'.",
    ),
    heading="What is written, and the exit status",
)
@known_options
@group(
    "files",
    Files,
    click.option(
        "--role",
        "roles",
        multiple=True,
        metavar="NAME=FILE",
        help=f"Say what a file shows instead of having it recognised: {', '.join(ROLES)}.",
    ),
    click.option(
        "--dpi", type=float, help="Sampling of the scans, where their files do not say it."
    ),
    click.option(
        "--line-time", type=float, metavar="MS", help="Time for one row at this dpi, if known."
    ),
    click.option(
        "--earlier",
        type=click.Path(path_type=Path),
        help="JSON document of an earlier check of this scanner: shows a lamp that has faded "
        "since, and new lines too faint for one check.",
    ),
    click.option(
        "--reference",
        type=click.Path(path_type=Path),
        help="CGATS text file with measured values of the tone patches.",
    ),
    click.option(
        "--edge-response",
        type=click.Path(path_type=Path),
        metavar="FILE",
        help="Text table (cy/mm, response) of your print's own edges, to be divided out.",
    ),
    click.option(
        "--temperature", type=float, metavar="°C", help="Of the room, kept with the record."
    ),
    click.option("--date", help="When the scans were made, if their files do not say it."),
    heading="These scans",
)
def command(
    paths: tuple[Path, ...],
    scanner: str,
    delivery: Delivery,
    outcomes: Outcomes,
    known: Known,
    files: Files,
) -> None:
    """Measure the scans of one scanner and write its report.

    PATHS are scans (TIFF, PNG, JPEG) or folders of them.
    """
    from scanqa.qualification import qualify

    limits = [_limit(text) for text in outcomes.fail_on]
    delivery.check()
    told = told_by_records(files.told(known), scanner, delivery)
    file_name(scanner)
    if not paths and not told.roles:
        raise BadOption("no scans given; name files or a folder")
    with progress(quiet=delivery.quiet) as shown:
        found = qualify(paths, scanner=scanner, told=told, progress=shown, meanwhile=load_pages)
    sys.exit(deliver(found, delivery, limits=limits, evidence=outcomes.evidence))


def _read_earlier(path: Path | None) -> Record | None:
    """The record that ``--json`` wrote; None without a path."""
    if path is None:
        return None
    from scanqa.codec import read_record

    try:
        return read_record(path)
    except NotARecord as error:
        raise BadOption(f"--earlier {error}; give the file that --json wrote") from None


def _sensible_dpi(dpi: float | None) -> float | None:
    if dpi is not None and not 20 <= dpi <= 20_000:
        raise BadOption(f"--dpi {dpi:g}: not a sampling that a scanner has; give 20 to 20000")
    return dpi


def _role(text: str) -> tuple[Path, Role]:
    name, _, file = text.partition("=")
    for role in ROLES:
        if role == name and file:
            return Path(file), role
    raise BadOption(f"--role {text}: write NAME=FILE, NAME being one of {', '.join(ROLES)}")


def _limit(text: str) -> Limit:
    """A function that tells how a record breaks the limit, or None."""
    from scanqa.catalogue import CATALOGUE

    if text in ("limited", "unfit"):
        grave = ("unfit",) if text == "unfit" else ("limited", "unfit")
        return lambda record: (
            f"the outcome is {record.outcome.judged}" if record.outcome.judged in grave else None
        )
    match = re.fullmatch(r"\s*([\w.]+)\s*([<>])\s*(-?\d+(?:\.\d+)?)\s*", text)
    if not match:
        raise BadOption(
            f"--fail-on {text}: write limited, unfit, or a measure with < or > and a number"
        )
    if match[1] not in CATALOGUE:
        raise BadOption(f"--fail-on {text}: {no_measure(match[1])}")
    name, sign, number = match[1], match[2], float(match[3])

    def broken(record: Record) -> str | None:
        for m in record.named(name):
            if m.value is not None and (m.value < number if sign == "<" else m.value > number):
                return f"{name} is {m.value:g} {m.unit}, {sign} {number:g}"
        return None

    return broken
