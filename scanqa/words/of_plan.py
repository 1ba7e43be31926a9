"""What a job takes: its reasons, and a few lines for the terminal; the report tells it whole."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from scanqa.catalogue.sizes import HOURS_A_DAY
from scanqa.findings.job_plan import finest_optics
from scanqa.model import Legibility, Plan
from scanqa.words.numbers import bounded, number

GB, MB = 1e9, 1e6


def plan_lines(plan: Plan) -> list[str]:
    """What a job takes."""
    job = plan.job
    lines = [f"{job.pages} pages of {job.page}: scan at {plan.dpi} dpi; {plan.why_dpi}"]
    if plan.pages_per_hour is None:
        lines.append(f"  time not known: {plan.why_time}")
    else:
        days = f"{plan.days} day{'s' if plan.days != 1 else ''} of {HOURS_A_DAY:g} h"
        lines.append(
            f"  {rate_words(plan)} pages/hour, {hours_words(plan)} h, {days} ("
            f"{plan.seconds:.1f} s a scan, {job.turn_s:g} s to turn)"
        )
    for size in plan.sizes:
        whole = f"{size.bytes * job.pages / GB:.1f} GB"
        spread = f" ± {size.uncertainty / MB:.1f}" if size.uncertainty else ""
        lines.append(f"  {size.format}: {size.bytes / MB:.1f}{spread} MB a page, {whole} in all")
    return lines


def rate_words(plan: Plan) -> str:
    """Pages an hour, where they are known; a bound where a scan takes longer than was timed."""
    rate = plan.pages_per_hour or 0.0
    return bounded("at-most", rate, (None, None)) if plan.at_most else number(rate, 0)


def hours_words(plan: Plan) -> str:
    """Hours for the job, likewise."""
    hours = plan.hours or 0.0
    return bounded("at-least", hours, (None, None)) if plan.at_most else number(hours, 1)


def worded_plan(plan: Plan, legible: Sequence[Legibility]) -> Plan:
    """A plan with the words on its dpi and its time.

    Parameters
    ----------
    legible : sequence of Legibility
        Those that it was worked out from, with their words.
    """
    return replace(plan, why_dpi=_why_dpi(plan, legible), why_time=_why_time(plan))


def _why_dpi(plan: Plan, legible: Sequence[Legibility]) -> str:
    best = finest_optics(legible)
    if best is None:
        return "whether the optics support it is not known: no bed sheet was scanned"
    optics = f"the optics support {best.effective_dpi:.0f} dpi"
    if plan.optics == "enough":
        return optics
    if plan.optics == "too-little":
        return f"{optics} only: a finer setting makes larger files, not finer ones"
    return (
        f"whether the optics support more than {best.effective_dpi:.0f} dpi is not known: "
        f"{best.note}; scan the bed sheet at this setting to see"
    )


def _why_time(plan: Plan) -> str:
    if not plan.timed:
        return (
            "no scan was timed: say how long one takes (--scan-seconds), or scan with scanqa "
            "capture, which times each"
        )
    how = "as told" if plan.timed == "told" else ": ".join(filter(None, ("timed", plan.quoted)))
    return f"{how}; a scan at {plan.dpi} dpi takes longer" if plan.at_most else how
