"""``scanqa qualify``: measure the scans of one scanner and write its report."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, get_args

import click

from scanqa.catalogue import Role, Side
from scanqa.cli.earlier import read_earlier
from scanqa.cli.job import job_options
from scanqa.cli.shared import (
    Limit,
    bars_option,
    book_edge_option,
    by_rule,
    check_positive,
    curve_option,
    dead_margin_option,
    deliver,
    file_name,
    json_option,
    keep_option,
    light_option,
    out_option,
    progress,
    ramp_height_option,
    read_dead_margins,
    records_option,
)
from scanqa.errors import BadOption

if TYPE_CHECKING:
    from scanqa.model import Job, Record


@click.command("qualify")
@click.argument("paths", nargs=-1, type=click.Path(path_type=Path))
@click.option("--scanner", required=True, help="Name of the scanner; the report is named after it.")
@out_option
@json_option
@click.option(
    "--role",
    "roles",
    multiple=True,
    metavar="NAME=FILE",
    help=f"Say what a file shows instead of having it recognised: {', '.join(get_args(Role))}.",
)
@click.option("--dpi", type=float, help="Sampling of the scans, where their files do not say it.")
@book_edge_option
@curve_option
@bars_option
@ramp_height_option
@dead_margin_option
@click.option(
    "--line-time", type=float, metavar="MS", help="Time for one row at this dpi, if known."
)
@click.option(
    "--earlier",
    type=click.Path(path_type=Path),
    help="JSON document of an earlier check of this scanner: shows a lamp that has faded since.",
)
@click.option(
    "--reference",
    type=click.Path(path_type=Path),
    help="CGATS text file with measured values of the tone patches.",
)
@click.option(
    "--edge-response",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Text table (cy/mm, response) of your print's own edges, to be divided out.",
)
@click.option(
    "--uses",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="TOML file of your own kinds of work and limits, in place of the usual ones.",
)
@click.option(
    "--evidence/--no-evidence",
    default=None,
    help="Write the page for a seller, NAME-evidence.html.  [default: if a fault was found or a "
    "use is limited]",
)
@job_options
@light_option
@click.option("--temperature", type=float, metavar="°C", help="Of the room, kept with the record.")
@click.option("--date", help="When the scans were made, if their files do not say it.")
@keep_option
@records_option
@click.option(
    "--fail-on",
    multiple=True,
    metavar="LIMIT",
    help="Exit with 1 if this holds: limited, unfit, or a measure such as 'edges.shadow_left>3'.",
)
def command(
    paths: tuple[Path, ...],
    scanner: str,
    out: Path,
    json_to: str | None,
    roles: tuple[str, ...],
    dpi: float | None,
    book_edge: Side | None,
    curve: str | None,
    bars: tuple[float, float] | None,
    ramp_height: float | None,
    dead_margins: tuple[tuple[Side, float], ...],
    line_time: float | None,
    earlier: Path | None,
    reference: Path | None,
    edge_response: Path | None,
    uses: Path | None,
    evidence: bool | None,
    job: Job | None,
    light: str | None,
    temperature: float | None,
    date: str | None,
    keep: bool,
    records: str | None,
    fail_on: tuple[str, ...],
) -> None:
    """Measure the scans of one scanner and write its report.

    PATHS are scans (TIFF, PNG, JPEG) or folders of them.
    """
    from scanqa.qualify import Options, qualify
    from scanqa.scans.cgats import read_cgats
    from scanqa.scans.response import read_response

    check_positive("--bars", *(bars or ()))
    check_positive("--ramp-height", ramp_height)
    check_positive("--line-time", line_time)
    limits = [_limit(text) for text in fail_on]
    margins_mm = read_dead_margins(dead_margins)
    words = {
        "light": light,
        "temperature": None if temperature is None else f"{temperature:g} °C",
        "date": date,
        "read by eye": by_rule(bars, ramp_height, margins_mm),
        "limits": _own(uses),
    }
    options = Options(
        dpi=_sensible_dpi(dpi),
        book_edge=book_edge,
        curve=curve,
        bars_mm=bars,
        ramp_height_mm=ramp_height,
        line_time_ms=line_time,
        earlier=read_earlier(earlier),
        dead_margins_mm=margins_mm,
        reference=read_cgats(reference) if reference else None,
        edge_response=read_response(edge_response) if edge_response else None,
        uses=uses,
        job=job,
        roles=dict(_role(text) for text in roles),
        conditions={name: said for name, said in words.items() if said},
    )
    name = file_name(scanner)
    if not paths and not roles:
        raise BadOption("no scans given; name files or a folder")
    with progress() as told:
        record = qualify(paths, scanner=scanner, options=options, progress=told)
    page = out / f"{name}.html"
    status = deliver(record, page, json_to, limits, keep=keep, records=records, evidence=evidence)
    sys.exit(status)


def _own(uses: Path | None) -> str | None:
    """That the limits of use are not the usual ones."""
    return f"the uses and their limits are the user's own ({uses.name})" if uses else None


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


def _limit(text: str) -> Limit:
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
