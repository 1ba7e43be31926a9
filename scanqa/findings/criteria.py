"""Published limits against what was measured.

Limits are rows of ``criteria/*.toml``, each with document, edition and table; the code only
compares. A quantity that this set-up cannot know is *not judged*, never passed.
"""

from __future__ import annotations

import operator
import tomllib
from collections.abc import Callable, Iterator
from importlib import resources
from typing import Any

from scanqa.findings.statistic import Summary, summarise
from scanqa.model import Finding, Results

OPERATORS: dict[str, Callable[[float, float], bool]] = {
    ">=": operator.ge,
    ">": operator.gt,
    "<=": operator.le,
    "<": operator.lt,
}
_WORDS = {">=": "at least", ">": "over", "<=": "at most", "<": "under"}


def documents() -> Iterator[dict[str, Any]]:
    """Every document with its limits, as read from the package."""
    folder = resources.files("scanqa.findings") / "criteria"
    for entry in sorted(folder.iterdir(), key=lambda e: e.name):
        if entry.name.endswith(".toml"):
            yield tomllib.loads(entry.read_text("utf-8"))


def judge_criteria(results: Results) -> tuple[Finding, ...]:
    """One finding for each quantity of each document."""
    return tuple(
        _judge(document, limit, results) for document in documents() for limit in document["limit"]
    )


def _judge(document: dict[str, Any], limit: dict[str, Any], results: Results) -> Finding:
    title = f"{document['document']}, {document['category']}: {limit['quantity']}"
    source = f"{document['document']}, {document['category']}, {limit.get('table', 'quoted')}"
    if not limit["measure"]:
        return Finding("criterion", title, "note", "not judged", limit["why_not"], source=source)
    found = summarise(results, limit["measure"], limit["statistic"])
    if found is None:
        why = "nothing in this set of scans measures it"
        return Finding(
            "criterion", title, "note", "not judged", why, (limit["measure"],), source=source
        )
    holds = OPERATORS[limit["operator"]]
    met = [grade for grade, value in limit["grades"].items() if holds(found.value, value)]
    said = _said(found, limit)
    if met:
        best = met[0]
        bound = f"{_WORDS[limit['operator']]} {limit['grades'][best]:g} {limit['unit']}".strip()
        reason = f"{said}; meets {best} ({bound})"
        return Finding(
            "criterion", title, "good", "met", reason, (limit["measure"],), source=source
        )
    mildest, value = list(limit["grades"].items())[-1]
    bound = f"{_WORDS[limit['operator']]} {value:g} {limit['unit']}".strip()
    if found.at_least or "upper_bound" in limit:
        why = limit.get("upper_bound", "the print of the target limits the measurement")
        reason = f"{said}; {mildest} asks for {bound}, but {why}"
        return Finding(
            "criterion", title, "note", "not judged", reason, (limit["measure"],), source=source
        )
    reason = f"{said}; even {mildest} asks for {bound}"
    return Finding(
        "criterion", title, "warning", "not met", reason, (limit["measure"],), source=source
    )


def _said(found: Summary, limit: dict[str, Any]) -> str:
    number = f"{found.value:.3g} {limit['unit']}".strip()
    least = "at least " if found.at_least else ""
    sites = f" of {found.count} values" if found.count > 1 else ""
    return f"{limit['statistic']}{sites}: {least}{number}"
