"""Two scanners, or two settings of one, side by side: size, interval and verdict.

Each side is one qualification or several repeats. The same measure is compared at the same places:
sites of the two sheets are paired by place, and the differences of the pairs are what scatters
(paired t interval); with two or more repeats on both sides the repeats are the unit instead (Welch
interval of the repeats' means); a value without sites is compared by the stated uncertainties.
Parts of the doubt that both sides share drop out. Bounds compare where what they leave possible
lies apart, by their nearest ends: the difference is at least so large. The scan of a sheet says of
two scanners what print and paper leave of it: on one named print its sign is sure and its size at
least what is found; contrast at one frequency, in decibels, is free of the print (`on_one_print` in
the catalogue). What is the paper's, the print's or the laying's is no matter of
scanners (`of` in the catalogue). All intervals of a comparison hold together: a difference is
shown where its interval leaves nought out, and counts only if it is large enough to matter as well.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from dataclasses import replace

from scanqa.catalogue import CATALOGUE
from scanqa.model import Bounds, Key, Measurement, Record
from scanqa.model.compared import Comparison, Cost, Difference, Gap, Verdict
from scanqa.records.side_facts import profiles, side_facts
from scanqa.records.trend import student_tail
from scanqa.records.weigh import (
    FAMILY_ERROR,
    apart,
    each_alone,
    improves,
    interval,
    matters,
    scatter_floor,
)
from scanqa.summary import Summary, ends, summarise, value_of

SAME_PLACE_MM = 12.0  # sites this near are one place: less than half the pitch of the tags
ORDER: dict[Verdict, int] = {
    "first is better": 0, "second is better": 0, "different": 1, "too small to matter": 2,
    "no difference shown": 3, "not compared": 4,
}  # fmt: skip

Side = Sequence[dict[Key, Summary]]  # one for each repeat


def compare(
    first: Sequence[Record],
    second: Sequence[Record],
    *,
    names: tuple[str, str] | None = None,
    family_error: float = FAMILY_ERROR,
    costs: tuple[Cost, Cost] | None = None,
) -> Comparison:
    """Compare two sides, each one record or repeats of one.

    Parameters
    ----------
    first, second : sequence of Record
        Repeats are scans of the same kind made anew, best on another day.
    names : (first, second)
        What to call the sides; the scanners' names if not given.
    family_error : float
        Chance that identical sides are said to differ in anything at all.
    costs : (Cost, Cost)
        For a table of what the price or the hours buy.

    Returns
    -------
    Comparison
        A row for each measure, direction, channel and kind of edge, in the units of the catalogue;
        intervals are of second minus first, and hold together.

    Raises
    ------
    ValueError
        If a side is empty.

    Notes
    -----
    Paired and Welch's t intervals, each at 1 − α/m for m values (`weigh.each_alone`):
    one level for what is drawn and for what is said of it.
    """
    if not first or not second:
        raise ValueError("both sides need a qualification")
    called = names or (first[0].scanner, second[0].scanner)
    a, b = [_summaries(r) for r in first], [_summaries(r) for r in second]
    keys = dict.fromkeys(key._replace(dpi=0) for side in (*a, *b) for key in side)
    one_unit = first[0].scanner == second[0].scanner
    prints = {record.options.get("print", "") for record in (*first, *second)}
    one_print = len(prints) == 1 and prints != {""}
    rows = [_row(key, a, b, one_print=one_print, one_unit=one_unit) for key in keys]
    tried = sum(row.error is not None or row.gap == "bound" for row in rows)
    alone = each_alone(tried, family_error)
    rows = sorted((_with_interval(row, alone) for row in rows), key=lambda row: ORDER[row.verdict])
    return Comparison(
        called[0], called[1], tuple(rows), (side_facts(first), side_facts(second)),
        1 - family_error, alone, tried, profiles=profiles(a, b), costs=costs,
    )  # fmt: skip


def _summaries(record: Record) -> dict[Key, Summary]:
    """What compares of a record: not what the sheet, the paper or the laying decide."""
    wanted = [m for m in record.measures if CATALOGUE[m.name].compared and m.value is not None]
    found = summarise(wanted, record.scans)
    return {summary.key: summary for summary in found if summary.value is not None}


def _row(key: Key, a: Side, b: Side, *, one_print: bool, one_unit: bool) -> Difference:
    """One measure, direction, channel and edge kind on both sides."""
    dpis = [sorted({k.dpi for side in group for k in side if k[:4] == key[:4]}) for group in (a, b)]
    common = [dpi for dpi in dpis[0] if dpi in dpis[1]]
    chosen = [common[-1] if common else each[-1] if each else 0 for each in dpis]
    mine, theirs = (
        [found for side in group if (found := side.get(key._replace(dpi=dpi)))]
        for group, dpi in zip((a, b), chosen, strict=True)
    )
    ones, others = _median(mine), _median(theirs)
    large = matters(key.name, ones or 0.0, others or 0.0)
    needs_one_print = CATALOGUE[key.name].on_one_print
    gap = _gap(mine, theirs, alike=chosen[0] == chosen[1])
    if not gap and needs_one_print and not one_print:
        gap = "other-print"
    row = Difference(
        key._replace(dpi=chosen[0] if chosen[0] == chosen[1] else 0),
        CATALOGUE[key.name].unit, ones, others, None, None, None, None, None, None, large, "", 0,
        "not compared", gap, needs_one_print == "least", _bounds(mine), _bounds(theirs),
    )  # fmt: skip
    if not (mine and theirs):
        return row
    shared = apart(mine[0].shared, theirs[0].shared, one_unit=one_unit)
    if row.gap == "bound":
        return _by_bounds(row, mine, theirs, shared)
    if row.gap:
        return row
    if len(mine) > 1 and len(theirs) > 1:
        return _by_repeats(row, mine, theirs, shared)
    pairs = _pairs(mine[0].known, theirs[0].known)
    if len(pairs) > 2:
        return _by_pairs(row, pairs, shared)
    return _by_uncertainty(row, mine, theirs, shared)


def _gap(mine: Sequence[Summary], theirs: Sequence[Summary], *, alike: bool) -> Gap:
    """Why a measure is not compared, or nothing."""
    if not mine or not theirs:
        return "one-side"
    if mine[0].definition.per == "pixel" and not alike:
        return "per-pixel"
    if any(summary.status != "ok" for summary in (*mine, *theirs)):
        return "bound"
    return ""


def _bounds(side: Sequence[Summary]) -> Bounds:
    """What the last of the repeats that is but a bound says of its side."""
    found = next((s for s in reversed(side) if s.status != "ok"), None)
    return Bounds() if found is None else Bounds(found.status, found.low, found.high)


def _median(side: Sequence[Summary]) -> float | None:
    numbers = [value_of(m) for summary in side for m in summary.known]
    return statistics.median(numbers) if numbers else None


def _pairs(mine: Sequence[Measurement], theirs: Sequence[Measurement]) -> list[tuple[float, float]]:
    """Values at the same places; each site is used once, the nearest pairs first."""
    candidates = sorted(
        (math.dist(m.at_mm, t.at_mm), i, j)
        for i, m in enumerate(mine)
        for j, t in enumerate(theirs)
        if m.at_mm is not None and t.at_mm is not None
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
            pairs.append((value_of(mine[i]), value_of(theirs[j])))
    return pairs


def _by_pairs(row: Difference, pairs: list[tuple[float, float]], shared: float) -> Difference:
    differences = [b - a for a, b in pairs]
    n = len(differences)
    error = math.hypot(statistics.stdev(differences) / math.sqrt(n), shared)
    return _filled(row, statistics.mean(differences), error, n - 1, "pairs of places", n)


def _by_repeats(
    row: Difference, mine: Sequence[Summary], theirs: Sequence[Summary], shared: float
) -> Difference:
    """Welch's interval of the repeats' medians."""
    means = [[value_of(summary) for summary in side] for side in (mine, theirs)]
    shares = [statistics.variance(side) / len(side) for side in means]
    total = sum(shares)
    degrees = (
        total**2 / sum(v**2 / (len(s) - 1) for v, s in zip(shares, means, strict=True) if v > 0)
        if total > 0
        else sum(map(len, means)) - 2
    )
    difference = statistics.mean(means[1]) - statistics.mean(means[0])
    error = math.hypot(math.sqrt(total), shared)
    return _filled(row, difference, error, degrees, "repeats", sum(map(len, means)))


def _by_uncertainty(
    row: Difference, mine: Sequence[Summary], theirs: Sequence[Summary], shared: float
) -> Difference:
    """From what each side states; never finer than a tenth of what matters, or than print."""
    errors = []
    for side in (mine, theirs):
        known = [_stated(summary) for summary in side]
        if any(u is None for u in known):
            return replace(row, gap="no-uncertainty")
        errors.append(statistics.mean(u for u in known if u is not None))
    assert row.first is not None
    assert row.second is not None
    floors = [scatter_floor(row.key.name, [v], []) for v in (row.first, row.second)]
    own = [max(pair) for pair in zip(errors, floors, strict=True)]
    error = math.hypot(*own, shared)
    return _filled(row, row.second - row.first, error, math.inf, "stated uncertainties", 2)


def _by_bounds(
    row: Difference, mine: Sequence[Summary], theirs: Sequence[Summary], shared: float
) -> Difference:
    """From the nearest ends of what is possible on each side, if those lie apart."""
    (low, high), (other_low, other_high) = (
        tuple(statistics.median(ends(summary)[at] for summary in side) for at in (0, 1))
        for side in (mine, theirs)
    )
    difference = other_low - high if other_low > high else other_high - low
    if not (other_low > high or other_high < low):
        return row
    own = [
        max(
            statistics.mean(summary.random or 0.0 for summary in side),
            scatter_floor(row.key.name, [value_of(side[0])], []),
        )
        for side in (mine, theirs)
    ]
    error = math.hypot(*own, shared)
    found = _filled(row, difference, error, math.inf, "stated uncertainties", 2)
    return replace(found, gap="", least=True)


def _stated(summary: Summary) -> float | None:
    """The stated uncertainty; 0 is believed of counts and of nothing found, else it is unknown."""
    exact = not summary.unit or summary.value == 0
    return None if summary.random is None or (summary.random == 0 and not exact) else summary.random


def _filled(
    row: Difference, difference: float, error: float, degrees: float, unit_of: str, count: int
) -> Difference:
    if error == 0:
        p_value = 1.0 if difference == 0 else 0.0
    else:
        p_value = 2 * student_tail(-abs(difference / error), degrees)
    return replace(
        row, difference=difference, error=error, degrees=degrees, p_value=p_value,
        unit_of=unit_of, count=count,
    )  # fmt: skip


def _with_interval(row: Difference, confidence: float) -> Difference:
    """A row with its interval, and the verdict that follows from it."""
    if row.difference is None or row.error is None or row.degrees is None:
        return row
    low, high = interval(row.key.name, row.difference, row.error, row.degrees, confidence)
    verdict = "no difference shown" if low <= 0 <= high else _verdict(row, row.difference)
    return replace(row, low=low, high=high, verdict=verdict)


def _verdict(row: Difference, difference: float) -> Verdict:
    if abs(difference) < row.matters and not row.least:
        return "too small to matter"
    better = improves(row.key.name, difference)
    if better is None:
        return "different"
    return "second is better" if better else "first is better"
