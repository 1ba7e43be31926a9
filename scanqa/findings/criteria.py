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
from collections.abc import Iterator, Sequence
from importlib import resources
from typing import Any

from scanqa.findings.statistic import Summary, holds, summarise
from scanqa.model import Finding, Results, ScanFacts

_WORDS = {">=": "at least", ">": "over", "<=": "at most", "<": "under"}
_NOTHING = "nothing in this set of scans measures it"
_PRINT = "the print of the target or the set-up limits the measurement"
SURE = 2.0  # standard uncertainties from a limit, or the verdict is said to be near it


def documents() -> Iterator[dict[str, Any]]:
    """Every document with its limits, as read from the package."""
    folder = resources.files("scanqa.findings") / "criteria"
    for entry in sorted(folder.iterdir(), key=lambda e: e.name):
        if entry.name.endswith(".toml"):
            yield tomllib.loads(entry.read_text("utf-8"))


def judge_criteria(results: Results, scans: Sequence[ScanFacts] = ()) -> tuple[Finding, ...]:
    """One finding for each quantity of each document."""
    return tuple(
        _judge(document, limit, results, scans)
        for document in documents()
        for limit in document["limit"]
    )


def _judge(
    document: dict[str, Any], limit: dict[str, Any], results: Results, scans: Sequence[ScanFacts]
) -> Finding:
    title = f"{document['document']}, {document['category']}: {limit['quantity']}"
    source = f"{document['document']}, {limit['table']}, {document['sure']}"
    if not limit["measure"]:
        return Finding("criterion", title, "note", "not judged", limit["why_not"], source=source)
    rests_on = (limit["measure"],)
    found = summarise(
        results,
        limit["measure"],
        limit["statistic"],
        relative=limit.get("relative", ""),
        scans=scans,
    )
    if found is None:
        why = limit.get("missing", _NOTHING)
        return Finding("criterion", title, "note", "not judged", why, rests_on, source=source)
    said = _said(found, limit)
    kept = {grade: _kept(found, limit, grade) for grade in limit["grades"]}
    best = next((grade for grade, known in kept.items() if known), None)
    if best is not None:
        reason = f"{said}; meets {best} ({_bound(limit, best)}){_near(found, limit, best)}"
        stricter = [grade for grade, known in kept.items() if known is False][-1:]
        if stricter and _is_near(found, limit, stricter[0]):
            reason += f"; {stricter[0]} ({_bound(limit, stricter[0])}) lies within the uncertainty"
        return Finding("criterion", title, "good", "met", reason, rests_on, source=source)
    mildest = list(kept)[-1]
    if kept[mildest] is None:
        why = limit.get("upper_bound") or limit.get("lower_bound") or _PRINT
        reason = f"{said}; {_asks(mildest)} for {_bound(limit, mildest)}, but {why}"
        return Finding("criterion", title, "note", "not judged", reason, rests_on, source=source)
    only = "even " if len(kept) > 1 else ""
    bound = _bound(limit, mildest)
    reason = f"{said}; {only}{_asks(mildest)} for {bound}{_near(found, limit, mildest)}"
    return Finding("criterion", title, "warning", "not met", reason, rests_on, source=source)


def _operator(limit: dict[str, Any], grade: str) -> str:
    sign: str = limit.get("operators", {}).get(grade, limit["operator"])
    return sign


def _kept(found: Summary, limit: dict[str, Any], grade: str) -> bool | None:
    """Whether a grade's limit is kept; None if it cannot be known.

    Rows with a bound are limits from above (``<``): what is measured is then more, or less, than
    the quantity itself.
    """
    kept = holds(found, _operator(limit, grade), limit["grades"][grade])
    if (kept is False and "upper_bound" in limit) or (kept and "lower_bound" in limit):
        return None
    return kept


def _bound(limit: dict[str, Any], grade: str) -> str:
    value = f"{limit['grades'][grade]:g} {limit['unit']}".strip()
    return f"{_WORDS[_operator(limit, grade)]} {value}"


def _asks(grade: str) -> str:
    several = grade.startswith("all ") or " and " in grade
    return f"{grade} ask" if several else f"{grade} asks"


def _near(found: Summary, limit: dict[str, Any], grade: str) -> str:
    return ", and the limit lies within the uncertainty" if _is_near(found, limit, grade) else ""


def _is_near(found: Summary, limit: dict[str, Any], grade: str) -> bool:
    gap = abs(found.value - limit["grades"][grade])
    return found.uncertainty is not None and gap < SURE * found.uncertainty


def _said(found: Summary, limit: dict[str, Any]) -> str:
    number = f"{found.value:.4g} {limit['unit']}".strip()
    least = "at least " if found.at_least else ""
    sites = f" of {found.count} values" if found.count > 1 else ""
    condition = f" ({limit['condition']})" if "condition" in limit else ""
    return f"{limit['statistic']}{sites}: {least}{number}{condition}"
