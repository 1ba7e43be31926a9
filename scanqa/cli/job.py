"""A job of many pages, from its options."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from scanqa.catalogue.sizes import PAGES_MM, TURN_S
from scanqa.cli.checks import check_positive
from scanqa.errors import BadOption

if TYPE_CHECKING:
    from scanqa.model import Job

SMALLEST_MM = 1.5  # of lower-case letters, as in the use "text"
MOST_PAGES = 10_000_000
SIDES_MM = (10.0, 2000.0)
SIZES = f"{', '.join(PAGES_MM)} or WIDTHxHEIGHT in mm"


def read_job(
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
            f"--page-size {text}: write {SIZES}, each from {SIDES_MM[0]:g} to {SIDES_MM[1]:g}"
        )
    return f"{sides[0]:g} × {sides[1]:g} mm", (sides[0], sides[1])
