"""Options that describe a job of many pages, and its plan in a few lines of text."""

from __future__ import annotations

import functools
import re
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from scanqa.catalogue import HOURS_A_DAY, PAGES_MM, TURN_S
from scanqa.cli.shared import check_positive
from scanqa.errors import BadOption

if TYPE_CHECKING:
    from scanqa.model import Job, Plan

SMALLEST_MM = 1.5  # of lower-case letters, as in the use "text"
MOST_PAGES = 10_000_000
SIDES_MM = (10.0, 2000.0)
GB, MB = 1e9, 1e6


def job_options(command: Callable[..., None]) -> Callable[..., None]:
    """Adds the options of a job to a command, which gets a Job, or None, as `job`."""

    @click.option("--pages", type=int, metavar="N", help="Plan a job of so many pages.")
    @click.option(
        "--page-size",
        metavar="SIZE",
        help=f"Of a page: {', '.join(PAGES_MM)} or WIDTHxHEIGHT in mm.  [default: a4]",
    )
    @click.option(
        "--smallest",
        type=float,
        metavar="MM",
        help=f"Height of the smallest lower-case letters of the job.  [default: {SMALLEST_MM:g}]",
    )
    @click.option(
        "--scan-seconds", type=float, metavar="S", help="Time of a scan, if the files do not say."
    )
    @click.option(
        "--turn-seconds",
        type=float,
        metavar="S",
        help=f"Time to turn a page between scans.  [default: {TURN_S:g}]",
    )
    @functools.wraps(command)
    def with_job(
        *given: Any,
        pages: int | None,
        page_size: str | None,
        smallest: float | None,
        scan_seconds: float | None,
        turn_seconds: float | None,
        **others: Any,
    ) -> None:
        job = _job(pages, page_size, smallest, scan_seconds, turn_seconds)
        command(*given, job=job, **others)

    return with_job


def _job(
    pages: int | None,
    page_size: str | None,
    smallest: float | None,
    scan_seconds: float | None,
    turn_seconds: float | None,
) -> Job | None:
    """The job that the options describe.

    Raises
    ------
    BadOption
        If a value makes no sense, or an option was given without ``--pages``.
    """
    from scanqa.model import Job

    details = {
        "--page-size": page_size,
        "--smallest": smallest,
        "--scan-seconds": scan_seconds,
        "--turn-seconds": turn_seconds,
    }
    if pages is None:
        alone = next((name for name, value in details.items() if value is not None), None)
        if alone:
            raise BadOption(f"{alone}: describes a job of many pages; say how many with --pages")
        return None
    if not 1 <= pages <= MOST_PAGES:
        raise BadOption(f"--pages {pages}: give a number of pages, from 1 to {MOST_PAGES}")
    check_positive("--smallest", smallest)
    check_positive("--scan-seconds", scan_seconds)
    check_positive("--turn-seconds", turn_seconds)
    name, size_mm = _page(page_size or "a4")
    return Job(
        pages=pages,
        page=name,
        page_mm=size_mm,
        smallest_mm=SMALLEST_MM if smallest is None else smallest,
        turn_s=TURN_S if turn_seconds is None else turn_seconds,
        seconds=scan_seconds,
    )


def _page(text: str) -> tuple[str, tuple[float, float]]:
    known = PAGES_MM.get(text.lower())
    if known:
        return text.upper() if text[-1].isdigit() else text.capitalize(), known
    match = re.fullmatch(r"(\d+(?:\.\d+)?)\s*[x×]\s*(\d+(?:\.\d+)?)", text)
    sides = [float(side) for side in match.groups()] if match else []
    if not sides or not all(SIDES_MM[0] <= side <= SIDES_MM[1] for side in sides):
        raise BadOption(
            f"--page-size {text}: write {', '.join(PAGES_MM)} or WIDTHxHEIGHT in mm, "
            f"each from {SIDES_MM[0]:g} to {SIDES_MM[1]:g}"
        )
    return f"{sides[0]:g} × {sides[1]:g} mm", (sides[0], sides[1])


def plan_lines(plan: Plan) -> list[str]:
    """What a job takes, for the terminal; the report tells it whole."""
    job = plan.job
    lines = [f"{job.pages} pages of {job.page}: scan at {plan.dpi} dpi; {plan.why_dpi}"]
    if plan.pages_per_hour is None:
        lines.append(f"  time not known: {plan.why_time}")
    else:
        most = "at most " if plan.at_most else ""
        days = f"{plan.days} day{'s' if plan.days != 1 else ''} of {HOURS_A_DAY:g} h"
        lines.append(
            f"  {most}{plan.pages_per_hour:.0f} pages/hour, {plan.hours:.1f} h, {days} ("
            f"{plan.seconds:.1f} s a scan, {job.turn_s:g} s to turn)"
        )
    for size in plan.sizes:
        whole = f"{size.bytes * job.pages / GB:.1f} GB"
        spread = f" ± {size.uncertainty / MB:.1f}" if size.uncertainty else ""
        lines.append(f"  {size.format}: {size.bytes / MB:.1f}{spread} MB a page, {whole} in all")
    return lines
