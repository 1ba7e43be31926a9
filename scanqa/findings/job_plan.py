"""A job of so many pages: at which dpi, how long, how much disk.

*dpi*: what the quality index asks for (`legibility`) so that the smallest character comes out
excellent, rounded up to a usual setting; capped at what the optics support, since more makes larger
files and nothing else. *Time*: seconds for a scan as timed (or told) and for turning a page.
*Disk*: an uncompressed TIFF follows from the size by arithmetic; the other formats come from
compressing parts of the user's own scans (`scanqa.scans.compressed`) and carry their scatter.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Literal

from scanqa.catalogue.sizes import HOURS_A_DAY
from scanqa.findings.legibility import dpi_needed, index_reached, levels, word
from scanqa.model import (
    MM_PER_INCH,
    FileSize,
    Job,
    Legibility,
    Measurement,
    OpticsFor,
    Plan,
    Results,
    ScanFacts,
)
from scanqa.summary import value_of

USUAL_DPI = (100, 150, 200, 300, 400, 600, 800, 1200, 2400)  # settings that drivers offer
SHORT = 0.05  # a setting that is short of what is needed by less will do
SECONDS = "pace.seconds_per_scan"
KEPT_BITS = 8


def plan(
    job: Job,
    results: Results,
    scans: Sequence[ScanFacts],
    legible: Sequence[Legibility],
    compressed: Mapping[str, FileSize],
) -> Plan:
    """Work out a job.

    Parameters
    ----------
    job : Job
        What is to be done.
    results, scans : Results, tuple of ScanFacts
        For the time of a scan.
    legible : sequence of Legibility
        Effective dpi at each dpi that was measured.
    compressed : mapping of format to FileSize
        Bytes *for each pixel* of this scanner's scans, their uncertainty and basis.

    Returns
    -------
    Plan
        Without words: `scanqa.words.of_plan.worded_plan` adds them.
    """
    needed = dpi_needed("character", levels()[0].index, job.smallest_mm)
    best = finest_optics(legible)
    optics = _optics(needed, best)
    dpi = _usual(best.effective_dpi if best and optics == "too-little" else needed)
    channels = max((facts.channels for facts in scans), default=3)
    at_hand = min(dpi, best.effective_dpi) if best and optics in ("enough", "too-little") else dpi
    reached = index_reached("character", at_hand, job.smallest_mm)
    whole = Plan(
        job=job,
        needed_dpi=needed,
        dpi=dpi,
        optics=optics,
        optics_dpi=best.effective_dpi if best else None,
        index=reached,
        legibility=word("character", reached),
        sizes=_sizes(job, dpi, channels, compressed),
    )
    return _timed(whole, results, scans)


def finest_optics(legible: Sequence[Legibility]) -> Legibility | None:
    """Where the optics were shown to support most."""
    return max(legible, key=lambda each: each.effective_dpi, default=None)


def _usual(dpi: float) -> int:
    """The lowest usual setting that is not short of a dpi by more than `SHORT`."""
    return next((step for step in USUAL_DPI if step >= (1 - SHORT) * dpi), USUAL_DPI[-1])


def _optics(needed: float, best: Legibility | None) -> OpticsFor:
    """What is known of the optics for letters that need so much."""
    if best is None:
        return "not-measured"
    if (1 - SHORT) * needed <= best.effective_dpi:
        return "enough"
    return "too-little" if best.bound == "ok" and best.limit is None else "at-least"


# ---------------------------------------------------------------------------------- time


def _timed(whole: Plan, results: Results, scans: Sequence[ScanFacts]) -> Plan:
    job = whole.job
    if job.seconds is not None:
        return _paced(whole, job.seconds, None, timed="told")
    delivered = {facts.file: facts.dpi[0] for facts in scans if facts.dpi}
    timed = [m for m in results.named(SECONDS) if m.scan in delivered]
    if not timed:
        return whole
    chosen = _nearest(timed, delivered, whole.dpi)
    coarser = delivered[chosen.scan] < (1 - SHORT) * whole.dpi
    paced = _paced(whole, value_of(chosen), chosen.uncertainty, timed="timed")
    return replace(paced, at_most=coarser, quoted=chosen.reason)


def _nearest(timed: Sequence[Measurement], dpi: Mapping[str, float], wanted: float) -> Measurement:
    """Of the scans that were timed, one at the dpi wanted, else the next finer, else the finest."""
    enough = [m for m in timed if dpi[m.scan] >= (1 - SHORT) * wanted]
    if enough:
        return min(enough, key=lambda m: dpi[m.scan])
    return max(timed, key=lambda m: dpi[m.scan])


def _paced(
    whole: Plan, seconds: float, error: float | None, *, timed: Literal["told", "timed"]
) -> Plan:
    job = whole.job
    rate = 3600 / (seconds + job.turn_s)
    hours = job.pages / rate
    return replace(
        whole,
        timed=timed,
        seconds=seconds,
        pages_per_hour=rate,
        rate_uncertainty=None if error is None else rate * error / (seconds + job.turn_s),
        hours=hours,
        days=max(math.ceil(hours / HOURS_A_DAY), 1),
    )


# ---------------------------------------------------------------------------------- disk


def _sizes(
    job: Job, dpi: float, channels: int, compressed: Mapping[str, FileSize]
) -> tuple[FileSize, ...]:
    """Bytes of one page in each format."""
    width, height = (round(side / MM_PER_INCH * dpi) for side in job.page_mm)
    pixels = width * height
    exact = FileSize(
        "TIFF, uncompressed",
        float(pixels * channels * KEPT_BITS // 8),
        0.0,
        f"{width} × {height} px × {channels} × {KEPT_BITS} bits, exact but for the header",
    )
    return (
        exact,
        *(
            FileSize(
                each.format,
                pixels * each.bytes,
                None if each.uncertainty is None else pixels * each.uncertainty,
                each.basis,
            )
            for each in compressed.values()
        ),
    )
