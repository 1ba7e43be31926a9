"""Published limits in words: what was measured, the grade that it meets, and why not."""

from __future__ import annotations

from typing import Any

from scanqa.findings.criteria import documents, operator_of
from scanqa.model import Criterion, changed
from scanqa.words.numbers import bounded

_WORDS = {">=": "at least", ">": "over", "<=": "at most", "<": "under"}
_NOTHING = "nothing in this set of scans measures it"
_PRINT = "the print of the target or the set-up limits the measurement"
_NEAR = ", and the limit lies within the uncertainty"


def worded_criterion(criterion: Criterion) -> Criterion:
    """A criterion with title, reason and source.

    Raises
    ------
    StopIteration
        If its document has no such quantity.
    """
    document = documents()[criterion.document]
    limit = next(row for row in document["limit"] if row["quantity"] == criterion.quantity)
    return changed(
        criterion,
        title=f"{document['document']}, {document['category']}: {criterion.quantity}",
        heading=f"{document['document']}, {document['category']}",
        reason=_reason(criterion, limit),
        source=f"{document['document']}, {limit['table']}, {document['sure']}",
    )


def _reason(criterion: Criterion, limit: dict[str, Any]) -> str:
    if criterion.value is None:
        gaps = {"no-measure": "why_not", "not-measured": "missing"}
        return str(limit.get(gaps[criterion.gap], _NOTHING))
    said, grade = _number_words(criterion, limit), criterion.grade
    near = _NEAR if criterion.near else ""
    if criterion.verdict == "met":
        reason = f"{said}; meets {grade} ({_bound(limit, grade)}){near}"
        if criterion.next_grade:
            stricter = criterion.next_grade
            reason += f"; {stricter} ({_bound(limit, stricter)}) lies within the uncertainty"
        return reason
    asks = f"{_asks(grade)} for {_bound(limit, grade)}"
    if criterion.verdict == "not met":
        only = "even " if len(limit["grades"]) > 1 else ""
        return f"{said}; {only}{asks}{near}"
    why = limit.get("upper_bound") or limit.get("lower_bound") or _PRINT
    return f"{said}; {asks}, but {why}"


def _bound(limit: dict[str, Any], grade: str) -> str:
    value = f"{limit['grades'][grade]:g} {limit['unit']}".strip()
    return f"{_WORDS[operator_of(limit, grade)]} {value}"


def _asks(grade: str) -> str:
    several = grade.startswith("all ") or " and " in grade
    return f"{grade} ask" if several else f"{grade} asks"


def _number_words(criterion: Criterion, limit: dict[str, Any]) -> str:
    value, ends = criterion.value or 0.0, (criterion.low, criterion.high)
    text = bounded(criterion.bound, value, ends, tuple(limit["grades"].values())) or f"{value:.4g}"
    number = f"{text} {limit['unit']}".strip()
    sites = f" of {criterion.count} values" if criterion.count > 1 else ""
    condition = f" ({limit['condition']})" if "condition" in limit else ""
    return f"{limit['statistic']}{sites}: {number}{condition}"
