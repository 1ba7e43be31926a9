"""Two scanners, or two settings of one, side by side: size, interval and a plain sentence.

Each side is one qualification or several repeats. The same measure is compared at the same places:
sites of the two sheets are paired by place, and the differences of the pairs are what scatters
(paired t interval); with two or more repeats on both sides the repeats are the unit instead (Welch
interval of the repeats' means); a value without sites is compared by the stated uncertainties. Over
all measures the family-wise error is held by Holm's step-down procedure (Holm, Scandinavian Journal
of Statistics 6(2), 1979). A difference counts only if it is shown *and* large enough to matter
(``matters.toml``).
"""

from __future__ import annotations

import math
import statistics
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any, Literal

from scanqa.catalogue import CATALOGUE
from scanqa.numeric.trend import student_tail, student_width

FAMILY_ERROR = 0.05
SAME_PLACE_MM = 12.0  # sites this near are one place: less than half the pitch of the tags
PER_PIXEL = ("colour.registration", "sharpness.sampling_efficiency", "noise", "streaks")

Verdict = Literal[
    "first is better",
    "second is better",
    "different",
    "too small to matter",
    "no difference shown",
    "not compared",
]


@dataclass(frozen=True, slots=True)
class Difference:
    """One measure on both sides.

    Attributes
    ----------
    first, second : float or None
        Medians.
    difference : float or None
        Second minus first.
    low, high : float or None
        Its 95 % interval (for this measure alone).
    p_value : float or None
        Two-sided, before Holm's correction.
    unit_of : str
        What scatters: ``pairs of places``, ``repeats``, ``stated uncertainties``.
    """

    key: tuple[str, str, str, str]
    unit: str
    first: float | None
    second: float | None
    difference: float | None
    low: float | None
    high: float | None
    p_value: float | None
    unit_of: str
    count: int
    verdict: Verdict
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Comparison:
    """All differences, shown ones first, and a sentence."""

    first: str
    second: str
    rows: tuple[Difference, ...]
    sentence: str
    notes: tuple[str, ...] = ()


Sites = list[Mapping[str, Any]]
Key = tuple[str, str, str, str]


def compare(
    first: Sequence[Mapping[str, Any]],
    second: Sequence[Mapping[str, Any]],
    *,
    names: tuple[str, str] | None = None,
    family_error: float = FAMILY_ERROR,
) -> Comparison:
    """Compare two sides, each one document or repeats of one (``scanqa.qualification/1``).

    Parameters
    ----------
    names : (first, second)
        What to call the sides; the scanners' names if not given.
    family_error : float
        Chance that identical sides are said to differ in anything at all.

    Raises
    ------
    ValueError
        If a side is empty.
    """
    if not first or not second:
        raise ValueError("both sides need a qualification")
    called = names or (first[0]["scanner"], second[0]["scanner"])
    a, b = [_sites(d) for d in first], [_sites(d) for d in second]
    keys = list(dict.fromkeys(key for side in (*a, *b) for key in side))
    dpis = _dpis(first), _dpis(second)
    rows = [_row(key, a, b, dpis) for key in keys]
    rows = _verdicts(rows, family_error)
    order: dict[Verdict, int] = {
        "first is better": 0, "second is better": 0, "different": 1, "too small to matter": 2,
        "no difference shown": 3, "not compared": 4,
    }  # fmt: skip
    rows.sort(key=lambda row: order[row.verdict])
    notes = _notes(first, second, dpis)
    return Comparison(called[0], called[1], tuple(rows), _sentence(called, rows), notes)


def _sites(document: Mapping[str, Any]) -> dict[Key, Sites]:
    groups: dict[Key, Sites] = {}
    for m in document["measures"]:
        if m["value"] is not None and m["name"] in CATALOGUE:
            key = (m["name"], m["direction"] or "", m["channel"] or "", m["edge_kind"] or "")
            groups.setdefault(key, []).append(m)
    return groups


def _dpis(documents: Sequence[Mapping[str, Any]]) -> set[int]:
    return {round(v) for d in documents for scan in d["scans"] for v in scan["dpi"]}


def _row(
    key: Key,
    a: Sequence[dict[Key, Sites]],
    b: Sequence[dict[Key, Sites]],
    dpis: tuple[set[int], set[int]],
) -> Difference:
    unit = CATALOGUE[key[0]].unit
    mine = [side[key] for side in a if key in side]
    theirs = [side[key] for side in b if key in side]
    empty = Difference(
        key, unit, _median(mine), _median(theirs), None, None, None, None, "", 0, "not compared"
    )
    if not mine or not theirs:
        return replace(empty, reason="measured on one side only")
    if key[0].startswith(PER_PIXEL) and dpis[0] != dpis[1]:
        said = " and ".join("/".join(map(str, sorted(d))) for d in dpis)
        return replace(empty, reason=f"a value per pixel, and the sides differ in dpi ({said})")
    if any(m["status"] == "lower-bound" for group in (*mine, *theirs) for m in group):
        return replace(empty, reason="a lower bound on one side or both")
    if len(mine) > 1 and len(theirs) > 1:
        return _by_repeats(empty, mine, theirs)
    pairs = _pairs(mine[0], theirs[0])
    if len(pairs) > 2:
        return _by_pairs(empty, pairs)
    return _by_uncertainty(empty, mine, theirs)


def _median(groups: Sequence[Sites]) -> float | None:
    numbers = [float(m["value"]) for group in groups for m in group]
    return statistics.median(numbers) if numbers else None


def _pairs(mine: Sites, theirs: Sites) -> list[tuple[float, float]]:
    """Values at the same places; each site is used once, the nearest pairs first."""
    candidates = sorted(
        (math.dist(m["at_mm"], t["at_mm"]), i, j)
        for i, m in enumerate(mine)
        for j, t in enumerate(theirs)
        if m["at_mm"] is not None and t["at_mm"] is not None
    )
    used_i: set[int] = set()
    used_j: set[int] = set()
    pairs = []
    for distance, i, j in candidates:
        if distance > SAME_PLACE_MM:
            break
        if i not in used_i and j not in used_j:
            used_i.add(i)
            used_j.add(j)
            pairs.append((float(mine[i]["value"]), float(theirs[j]["value"])))
    return pairs


def _by_pairs(row: Difference, pairs: list[tuple[float, float]]) -> Difference:
    differences = [b - a for a, b in pairs]
    n = len(differences)
    error = statistics.stdev(differences) / math.sqrt(n)
    return _filled(row, statistics.mean(differences), error, n - 1, "pairs of places", n)


def _by_repeats(row: Difference, mine: Sequence[Sites], theirs: Sequence[Sites]) -> Difference:
    """Welch's interval of the repeats' medians."""
    means = [[statistics.median(float(m["value"]) for m in g) for g in s] for s in (mine, theirs)]
    shares = [statistics.variance(side) / len(side) for side in means]
    total = sum(shares)
    degrees = (
        total**2 / sum(v**2 / (len(s) - 1) for v, s in zip(shares, means, strict=True) if v > 0)
        if total > 0
        else sum(map(len, means)) - 2
    )
    difference = statistics.mean(means[1]) - statistics.mean(means[0])
    count = sum(map(len, means))
    return _filled(row, difference, math.sqrt(total), degrees, "repeats", count)


def _by_uncertainty(row: Difference, mine: Sequence[Sites], theirs: Sequence[Sites]) -> Difference:
    errors = []
    for side in (mine, theirs):
        numbers = [m["uncertainty"] for group in side for m in group]
        if any(u is None for u in numbers):
            return replace(row, reason="no uncertainty is stated on one side")
        errors.append(statistics.mean(float(u) for u in numbers))
    assert row.first is not None
    assert row.second is not None
    error = math.hypot(*errors)
    return _filled(row, row.second - row.first, error, math.inf, "stated uncertainties", 2)


def _filled(
    row: Difference, difference: float, error: float, degrees: float, unit_of: str, count: int
) -> Difference:
    if error == 0:
        p_value = 1.0 if difference == 0 else 0.0
        half = 0.0
    else:
        p_value = 2 * student_tail(-abs(difference / error), degrees)
        half = student_width(0.95, degrees) * error
    return replace(
        row, difference=difference, low=difference - half, high=difference + half, p_value=p_value,
        unit_of=unit_of, count=count, verdict="no difference shown",
    )  # fmt: skip


def _verdicts(rows: list[Difference], family_error: float) -> list[Difference]:
    """Holm: the smallest p against α/m, the next against α/(m − 1), until one fails."""
    tested = sorted(
        (row for row in rows if row.p_value is not None), key=lambda row: row.p_value or 0.0
    )
    shown: set[Key] = set()
    for rank, row in enumerate(tested):
        if row.p_value is None or row.p_value > family_error / (len(tested) - rank):
            break
        shown.add(row.key)
    return [replace(row, verdict=_verdict(row)) if row.key in shown else row for row in rows]


def _verdict(row: Difference) -> Verdict:
    assert row.difference is not None
    if abs(row.difference) < _matters(row):
        return "too small to matter"
    better = CATALOGUE[row.key[0]].better
    if better not in ("higher", "lower"):
        return "different"
    return "second is better" if (row.difference > 0) == (better == "higher") else "first is better"


@cache
def _limits() -> dict[str, dict[str, float]]:
    return tomllib.loads((resources.files("scanqa.records") / "matters.toml").read_text("utf-8"))


def _matters(row: Difference) -> float:
    name = row.key[0]
    best = max((known for known in _limits() if name.startswith(known)), key=len, default=None)
    if best is None:
        return 0.0
    limit = _limits()[best]
    if "share" in limit:
        return limit["share"] * max(abs(row.first or 0.0), abs(row.second or 0.0))
    return limit["size"]


def _sentence(called: tuple[str, str], rows: Sequence[Difference]) -> str:
    for_first = _names(rows, "first is better")
    for_second = _names(rows, "second is better")
    parts = []
    if for_first:
        parts.append(f"{called[0]} is better in {for_first}.")
    if for_second:
        parts.append(f"{called[1]} is better in {for_second}.")
    different = _names(rows, "different")
    if different:
        parts.append(f"They differ in {different}.")
    if not parts:
        if all(row.verdict == "not compared" for row in rows):
            return "Nothing could be compared."
        return "No difference shown that would matter to the work."
    return " ".join(parts)


def _names(rows: Sequence[Difference], verdict: Verdict) -> str:
    return ", ".join(dict.fromkeys(row.key[0] for row in rows if row.verdict == verdict))


def _notes(
    first: Sequence[Mapping[str, Any]],
    second: Sequence[Mapping[str, Any]],
    dpis: tuple[set[int], set[int]],
) -> tuple[str, ...]:
    notes = []
    if len(first) == 1 or len(second) == 1:
        notes.append(
            "One qualification on a side: how a scanner scatters from day to day is not in the "
            "intervals. Qualify each twice, the sheet laid anew, to have it in."
        )
    if dpis[0] != dpis[1]:
        notes.append("The sides were scanned at different dpi; values per pixel are not compared.")
    return tuple(notes)
