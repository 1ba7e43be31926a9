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

from scanqa.catalogue import HOURS_A_DAY
from scanqa.findings.legibility import ALL_OF_IT, dpi_needed, index_reached, levels, word
from scanqa.model import (
    MM_PER_INCH,
    FileSize,
    Job,
    Legibility,
    Measurement,
    Plan,
    Results,
    ScanFacts,
)

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
    """
    needed = dpi_needed("character", levels()[0].index, job.smallest_mm)
    best = max(legible, key=lambda each: each.effective_dpi, default=None)
    dpi, supported, why = _dpi(needed, best)
    channels = max((facts.channels for facts in scans), default=3)
    reached = index_reached("character", min(dpi, supported), job.smallest_mm)
    whole = Plan(
        job=job,
        needed_dpi=needed,
        dpi=dpi,
        why_dpi=why,
        index=reached,
        legibility=word("character", reached),
        optics_known=math.isfinite(supported),
        sizes=_sizes(job, dpi, channels, compressed),
    )
    return _timed(whole, results, scans)


def _usual(dpi: float) -> int:
    """The lowest usual setting that is not short of a dpi by more than `SHORT`."""
    return next((step for step in USUAL_DPI if step >= (1 - SHORT) * dpi), USUAL_DPI[-1])


def _dpi(needed: float, best: Legibility | None) -> tuple[int, float, str]:
    """The setting, the dpi that is known to be supported, and why it is this setting."""
    if best is None:
        why = "whether the optics support it is not known: no bed sheet was scanned"
        return _usual(needed), math.inf, why
    optics = f"{best.effective_dpi:.0f} dpi"
    if (1 - SHORT) * needed <= best.effective_dpi:
        return _usual(needed), best.effective_dpi, f"the optics support {optics}"
    if best.at_least or best.effective_dpi >= ALL_OF_IT * best.dpi:
        why = (
            f"whether the optics support more than {optics} is not known: {best.note}; scan the "
            "bed sheet at this setting to see"
        )
        return _usual(needed), math.inf, why
    why = f"the optics support {optics} only: a finer setting makes larger files, not finer ones"
    return _usual(best.effective_dpi), best.effective_dpi, why


# ---------------------------------------------------------------------------------- time


def _timed(whole: Plan, results: Results, scans: Sequence[ScanFacts]) -> Plan:
    job = whole.job
    error: float | None = None
    at_most = False
    if job.seconds is not None:
        seconds, basis = job.seconds, "as told"
    else:
        delivered = {facts.file: facts.dpi[0] for facts in scans}
        timed = [m for m in results.named(SECONDS) if m.scan in delivered]
        if not timed:
            why = "no scan was timed: say how long one takes (--scan-seconds), or scan with "
            return replace(whole, why_time=why + "scanqa capture, which times each")
        chosen = _nearest(timed, delivered, whole.dpi)
        assert chosen.value is not None  # it is one of those with a value
        seconds, error = chosen.value, chosen.uncertainty
        basis = f"timed: {chosen.reason}" if chosen.reason else "timed"
        if delivered[chosen.scan] < (1 - SHORT) * whole.dpi:
            at_most = True
            basis += f"; a scan at {whole.dpi} dpi takes longer"
    rate = 3600 / (seconds + job.turn_s)
    hours = job.pages / rate
    return replace(
        whole,
        seconds=seconds,
        why_time=basis,
        pages_per_hour=rate,
        rate_uncertainty=None if error is None else rate * error / (seconds + job.turn_s),
        at_most=at_most,
        hours=hours,
        days=max(math.ceil(hours / HOURS_A_DAY), 1),
    )


def _nearest(timed: Sequence[Measurement], dpi: Mapping[str, float], wanted: float) -> Measurement:
    """Of the scans that were timed, one at the dpi wanted, else the next finer, else the finest."""
    enough = [m for m in timed if dpi[m.scan] >= (1 - SHORT) * wanted]
    if enough:
        return min(enough, key=lambda m: dpi[m.scan])
    return max(timed, key=lambda m: dpi[m.scan])


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
