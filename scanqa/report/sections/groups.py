"""Summaries as rows: the number, of how many, how far apart, where the worst is, and why."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from statistics import median

from scanqa.catalogue import CATALOGUE
from scanqa.model import Measurement, ScanFacts
from scanqa.summary import Summary, summarise, value_of
from scanqa.words.glossary import DIRECTION_WORDS
from scanqa.words.numbers import (
    label,
    number,
    place,
    printed,
    told,
    value_text,
    with_unit,
)

CHANNELS = ("", "luma", "red", "green", "blue")  # in the order of the rows


def rows_of(measures: Iterable[Measurement], scans: Sequence[ScanFacts]) -> list[Summary]:
    """Summaries in the order of the catalogue, luma first."""
    order = {name: at for at, name in enumerate(CATALOGUE)}
    return sorted(
        summarise(measures, scans),
        key=lambda s: (
            order[s.key.name],
            CHANNELS.index(s.key.channel),
            s.key.direction,
            s.key.edge_kind,
            s.key.dpi,
        ),
    )


def title(row: Summary, *, with_dpi: bool = False, with_kind: bool = True) -> str:
    """What a row is, in words."""
    key = row.key
    words = label(key.name)
    if key.direction and not words.endswith(DIRECTION_WORDS[key.direction]):
        words += f" {DIRECTION_WORDS[key.direction]}"
    if key.channel not in ("", "luma"):
        words += f", {key.channel}"
    if key.edge_kind and with_kind:
        words += f", {key.edge_kind} edges"
    if with_dpi and key.dpi:
        words += f", at {key.dpi} dpi"
    return words


def middle_text(row: Summary) -> str:
    """The value, or the median of several, with its bound."""
    known = row.known
    if row.value is None:
        return "not measurable"
    if len(known) == 1:
        return value_text(known[0])
    ends = (row.low, row.high)
    text = told(row.status, row.value, row.uncertainty, ends, row.definition.digits)
    return with_unit(text, row.unit)


def notes(row: Summary, marks: dict[str, str]) -> tuple[str, ...]:
    """Lines below the value of `middle_text`: of how many, how far apart, the worst, the reason."""
    known, missing = row.known, len(row.members) - row.count
    lines = []
    if len(known) > 1:
        what = "places" if all(m.at_mm for m in known) else "values"
        span = span_text(row)
        lines.append(f"median of {len(known)} {what}, {span}")
        sigmas = [m.uncertainty for m in known if m.uncertainty]
        if sigmas:
            lines[0] += f", each\u00a0{_plus_minus(row.key.name, median(sigmas))}"
        if not all_alike(row) and (found := worst_text(row, marks)):
            lines.append(found)
    if known and missing:
        lines.append(f"{missing} more not measurable")
    if reason := reason_text(row):
        lines.append(reason)
    elif len(known) == 1 and known[0].reason:  # words on a good value: how it was come by
        lines.append(known[0].reason)
    return tuple(lines)


def all_alike(row: Summary) -> bool:
    """Whether all values read the same."""
    digits = row.definition.digits
    return len({number(value_of(m), digits) for m in row.known}) == 1


def span_text(row: Summary) -> str:
    """From the lowest to the highest, or that they are all the same."""
    assert row.span is not None  # rows without a value have no span to tell
    low, high = (number(v, row.definition.digits) for v in row.span)
    return with_unit(f"all {low}" if all_alike(row) else f"{low} to {high}", row.unit)


def worst_text(row: Summary, marks: dict[str, str]) -> str:
    """Where the worst of several is."""
    found = row.worst
    if found is None:
        return ""
    if found.at_mm:
        return f"worst at {place(found.at_mm)}"
    return f"worst in scan {marks[found.scan]}" if found.scan in marks else ""


def reason_text(row: Summary) -> str:
    """The commonest reason of a row; of a sound number, at how many places there is but a bound."""
    reasons = Counter(m.reason for m in row.members if m.status != "ok" and m.reason)
    if not reasons:
        return ""
    reason = reasons.most_common(1)[0][0]
    bounds = sum(m.status != "ok" for m in row.known)
    if row.status == "ok" and bounds and row.count > 1:
        return f"a bound only at {bounds} of {row.count} places: {reason}"
    return reason


def _plus_minus(name: str, uncertainty: float) -> str:
    text = printed(0.0, uncertainty, name)
    return text[text.index("±") :]
