"""Published limits against what was measured.

Limits are rows of ``criteria/*.toml``, each with document, table and how sure its numbers are; the
code only compares. A quantity that this set-up cannot know is *not judged*, never passed.

A row holds ``quantity``, ``grades`` (the strictest first) and ``operator`` (``operators`` for a
grade that differs). With ``measure``, ``statistic`` and perhaps ``relative`` it is judged:
``condition`` is said with every verdict; ``upper_bound`` (``lower_bound``) is why the true value
may be lower (higher) than the measured one, so that a limit is then not broken (not kept) for
sure; ``missing`` is said when nothing measured it. Without ``measure``, ``why_not`` says why.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from functools import cache
from importlib import resources
from typing import Any

from scanqa.findings.statistic import Figure, figure, holds
from scanqa.model import Criterion, ScanFacts, changed
from scanqa.summary import Summary

SURE = 2.0  # standard uncertainties from a limit, or the verdict is said to be near it


@cache
def documents() -> dict[str, dict[str, Any]]:
    """Every document with its limits, by its id (the name of its file)."""
    folder = resources.files("scanqa.findings") / "criteria"
    return {
        entry.name.removesuffix(".toml"): tomllib.loads(entry.read_text("utf-8"))
        for entry in sorted(folder.iterdir(), key=lambda e: e.name)
        if entry.name.endswith(".toml")
    }


def judge_criteria(
    measured: Sequence[Summary], scans: Sequence[ScanFacts] = ()
) -> tuple[Criterion, ...]:
    """One criterion for each quantity of each document."""
    return tuple(
        _judge(name, limit, measured, scans)
        for name, document in documents().items()
        for limit in document["limit"]
    )


def _judge(
    document: str,
    limit: dict[str, Any],
    measured: Sequence[Summary],
    scans: Sequence[ScanFacts],
) -> Criterion:
    rests_on = (limit["measure"],) if limit["measure"] else ()
    unjudged = Criterion(
        document=document,
        quantity=limit["quantity"],
        severity="note",
        verdict="not judged",
        rests_on=rests_on,
        gap="not-measured" if rests_on else "no-measure",
    )
    if not rests_on:
        return unjudged
    found = figure(
        measured,
        limit["measure"],
        limit["statistic"],
        relative=limit.get("relative", ""),
        scans=scans,
    )
    return unjudged if found is None else _graded(unjudged, found, limit)


def _graded(unjudged: Criterion, found: Figure, limit: dict[str, Any]) -> Criterion:
    """The best grade that is kept; not judged where even the mildest cannot be known."""
    low, high = found.range or (None, None)
    criterion = changed(
        unjudged,
        value=found.value,
        uncertainty=found.uncertainty,
        bound=found.bound,
        low=low,
        high=high,
        count=found.count,
        gap="",
    )
    kept = {grade: _kept(found, limit, grade) for grade in limit["grades"]}
    best = next((grade for grade, is_kept in kept.items() if is_kept), "")
    grade = best or list(kept)[-1]
    if kept[grade] is None:
        gap = "bound-of-method" if _one_sided(limit) else "bound-of-value"
        return changed(criterion, grade=grade, gap=gap)
    near = _is_near(found, limit, grade)
    if not best:
        return changed(criterion, severity="warning", verdict="not met", grade=grade, near=near)
    broken = [stricter for stricter, is_kept in kept.items() if is_kept is False]
    beyond = broken[-1] if broken and _is_near(found, limit, broken[-1]) else ""
    return changed(
        criterion, severity="good", verdict="met", grade=grade, near=near, next_grade=beyond
    )


def operator_of(limit: dict[str, Any], grade: str) -> str:
    """How the limit of a grade is meant: ``>=``, ``>``, ``<=`` or ``<``."""
    sign: str = limit.get("operators", {}).get(grade, limit["operator"])
    return sign


def _one_sided(limit: dict[str, Any]) -> bool:
    """Whether what is measured is more, or less, than the quantity itself."""
    return "upper_bound" in limit or "lower_bound" in limit


def _kept(found: Figure, limit: dict[str, Any], grade: str) -> bool | None:
    """Whether a grade's limit is kept; None if it cannot be known.

    Rows with a bound are limits from above (``<``): what is measured is then more, or less, than
    the quantity itself.
    """
    kept = holds(found, operator_of(limit, grade), limit["grades"][grade])
    if (kept is False and "upper_bound" in limit) or (kept and "lower_bound" in limit):
        return None
    return kept


def _is_near(found: Figure, limit: dict[str, Any], grade: str) -> bool:
    gap = abs(found.value - limit["grades"][grade])
    return found.uncertainty is not None and gap < SURE * found.uncertainty
