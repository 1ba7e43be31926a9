"""Two scanners, or two settings of one, side by side: size, interval and a plain sentence.

Each side is one qualification or several repeats. The same measure is compared at the same places:
sites of the two sheets are paired by place, and the differences of the pairs are what scatters
(paired t interval); with two or more repeats on both sides the repeats are the unit instead (Welch
interval of the repeats' means); a value without sites is compared by the stated uncertainties. Over
all measures the family-wise error is held, and a difference counts only if it is shown *and* large
enough to matter (`scanqa.records.weigh`).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from scanqa.catalogue import CATALOGUE, GUTTER_DISTANCES_MM, RAMP_HEIGHTS_MM
from scanqa.numeric.trend import student_tail, student_width
from scanqa.over_time import Comparison, Difference, Key, Profile, Verdict, key_words
from scanqa.records.series import PER_PIXEL
from scanqa.records.weigh import FAMILY_ERROR, holm, improves, matters, scatter_floor

SAME_PLACE_MM = 12.0  # sites this near are one place: less than half the pitch of the tags
# What the sheet, the paper and the way it was laid decide, and what follows from other values.
NOT_OF_THE_SCANNER = (
    "geometry.skew", "geometry.printer", "noise.paper", "backing.paper", "banding.phase_spread",
    "edges.lost",
    "gutter.lift",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Cost:
    """What a side costs: price in any currency, hours that the job would take."""

    price: float | None = None
    hours: float | None = None


Sites = list[Mapping[str, Any]]


def compare(
    first: Sequence[Mapping[str, Any]],
    second: Sequence[Mapping[str, Any]],
    *,
    names: tuple[str, str] | None = None,
    family_error: float = FAMILY_ERROR,
    costs: tuple[Cost, Cost] | None = None,
) -> Comparison:
    """Compare two sides, each one document or repeats of one (``scanqa.qualification/1``).

    Parameters
    ----------
    names : (first, second)
        What to call the sides; the scanners' names if not given.
    family_error : float
        Chance that identical sides are said to differ in anything at all.
    costs : (Cost, Cost)
        For a table of what the price or the hours buy.

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
    value, value_sentence = _value(called, rows, costs) if costs else ((), "")
    return Comparison(
        called[0], called[1], tuple(rows), _sentence(called, rows),
        notes=_notes(first, second, dpis),
        profiles=tuple(_profiles(a, b)),
        conditions=_conditions(first, second),
        value=value,
        value_sentence=value_sentence,
    )  # fmt: skip


def _sites(document: Mapping[str, Any]) -> dict[Key, Sites]:
    groups: dict[Key, Sites] = {}
    for m in document["measures"]:
        if m["value"] is None or m["name"].startswith(NOT_OF_THE_SCANNER):
            continue
        if m["name"] in CATALOGUE:
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
    ones, others = _median(mine), _median(theirs)
    large = matters(key[0], ones or 0.0, others or 0.0)
    empty = Difference(
        key, unit, ones, others, None, None, None, None, large, "", 0, "not compared"
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
    """From what each side states; never finer than a tenth of what matters, or than print."""
    errors = []
    for side in (mine, theirs):
        known = [_stated(m) for group in side for m in group]
        if any(u is None for u in known):
            return replace(row, reason="no uncertainty is stated on one side")
        errors.append(statistics.mean(u for u in known if u is not None))
    assert row.first is not None
    assert row.second is not None
    floors = [scatter_floor(row.key[0], [v], []) for v in (row.first, row.second)]
    error = math.hypot(*(max(pair) for pair in zip(errors, floors, strict=True)))
    return _filled(row, row.second - row.first, error, math.inf, "stated uncertainties", 2)


def _stated(m: Mapping[str, Any]) -> float | None:
    """The stated uncertainty; 0 is believed of counts and of nothing found, else it is unknown."""
    stated = m["uncertainty"]
    exact = not CATALOGUE[m["name"]].unit or m["value"] == 0
    return None if stated is None or (stated == 0 and not exact) else float(stated)


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
    tested = [row for row in rows if row.p_value is not None]
    falls = holm([row.p_value for row in tested if row.p_value is not None], family_error)
    shown = {row.key for row, fell in zip(tested, falls, strict=True) if fell}
    return [replace(row, verdict=_verdict(row)) if row.key in shown else row for row in rows]


def _verdict(row: Difference) -> Verdict:
    assert row.difference is not None
    if abs(row.difference) < row.matters:
        return "too small to matter"
    better = improves(row.key[0], row.difference)
    if better is None:
        return "different"
    return "second is better" if better else "first is better"


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
    """Measures of one verdict, by family: ``sharpness: sfr50, sfr10; noise: snr``."""
    families: dict[str, dict[str, None]] = {}
    for row in rows:
        if row.verdict == verdict:
            family, _, name = key_words((row.key[0], "", "", "")).partition(": ")
            families.setdefault(family, {})[name] = None
    return "; ".join(f"{family}: {', '.join(names)}" for family, names in families.items())


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
    roles = [
        {scan.get("role", "") for d in side for scan in d["scans"]} for side in (first, second)
    ]
    for mine, lacks, name in ((0, 1, second[0]["scanner"]), (1, 0, first[0]["scanner"])):
        if missing := sorted(roles[mine] - roles[lacks]):
            notes.append(
                f"{name} has no scan of this kind: {', '.join(missing)}; what rests on it is not "
                "compared."
            )
    if any(scan.get("lossy") for d in (*first, *second) for scan in d["scans"]):
        notes.append("A side was delivered with lossy compression, which hides noise and detail.")
    return tuple(notes)


# --------------------------------------------------------------------- curves, conditions, value


def _profiles(a: Sequence[dict[Key, Sites]], b: Sequence[dict[Key, Sites]]) -> list[Profile]:
    """Curves that both sides have, put together from the values at fixed places."""
    wanted = (
        ("Gutter", "Distance from the spine, mm", "Darker than the open page, L*",
         "gutter.delta_L_at_{}mm", GUTTER_DISTANCES_MM),
        ("Light on a page that rises", "Height over the glass, mm", "Light against the glass, %",
         "gutter.light_at_{}mm_height", RAMP_HEIGHTS_MM),
        ("Focus on a page that rises", "Height over the glass, mm", "SFR50 against the glass, %",
         "gutter.focus_at_{}mm_height", RAMP_HEIGHTS_MM),
    )  # fmt: skip
    found = []
    for title, x_label, y_label, name, places in wanted:
        points = tuple(
            tuple(
                (float(x), middle, _typical(groups))
                for x in places
                if (groups := _named(side, name.format(x)))
                and (middle := _median(groups)) is not None
            )
            for side in (a, b)
        )
        if all(len(side) > 1 for side in points):
            found.append(Profile(title, x_label, y_label, points))
    return found


def _named(side: Sequence[dict[Key, Sites]], name: str) -> list[Sites]:
    """The groups of one measure, luma where there are several channels."""
    return [
        group
        for groups in side
        for key, group in groups.items()
        if key[0] == name and key[2] in ("", "luma")
    ]


def _typical(groups: Sequence[Sites]) -> float | None:
    stated = [float(m["uncertainty"]) for g in groups for m in g if m["uncertainty"] is not None]
    return statistics.median(stated) if stated else None


def _conditions(
    first: Sequence[Mapping[str, Any]], second: Sequence[Mapping[str, Any]]
) -> tuple[tuple[str, str, str], ...]:
    """How both sides were measured, row by row."""

    def said(what: str, of: Any) -> tuple[str, str, str]:
        each = ["; ".join(dict.fromkeys(of(d) for d in side)) for side in (first, second)]
        return what, each[0] or "not stated", each[1] or "not stated"

    rows = [
        said("measured", lambda d: str(d.get("created", ""))[:10]),
        said("scans", lambda d: _counted([scan.get("role", "") for scan in d["scans"]])),
        said("dpi", lambda d: " and ".join(map(str, sorted(_dpis([d]))))),
        said("depth", lambda d: _each(d, "bits", "{} bit")),
        said("file format", lambda d: _each(d, "format", "{}")),
        said("light recovered by", lambda d: _each(d, "light", "{}")),
        said("scanqa", lambda d: str(d.get("tool_version", ""))),
    ]
    stated = dict.fromkeys(k for d in (*first, *second) for k in d.get("conditions", {}))
    for name in stated:
        rows.append(said(name, lambda d, name=name: str(d.get("conditions", {}).get(name, ""))))
    return tuple(row for row in rows if row[1:] != ("not stated", "not stated"))


def _counted(roles: Sequence[str]) -> str:
    return ", ".join(
        f"{roles.count(role)} × {role}" if roles.count(role) > 1 else role
        for role in dict.fromkeys(roles)
    )


def _each(document: Mapping[str, Any], field: str, form: str) -> str:
    found = dict.fromkeys(str(s[field]) for s in document["scans"] if s.get(field) is not None)
    return ", ".join(form.format(word) for word in found)


def _value(
    called: tuple[str, str], rows: Sequence[Difference], costs: tuple[Cost, Cost]
) -> tuple[tuple[tuple[str, str, str], ...], str]:
    """Price and hours beside what they buy, and what follows in a sentence."""
    better = [
        len({row.key[0] for row in rows if row.verdict == verdict})
        for verdict in ("first is better", "second is better")
    ]
    table = [("measures in which it is better", str(better[0]), str(better[1]))]
    said = []
    prices, hours = [c.price for c in costs], [c.hours for c in costs]
    if prices[0] is not None and prices[1] is not None:
        table.append(("price", f"{prices[0]:g}", f"{prices[1]:g}"))
        said.append(_of_price(called, (prices[0], prices[1]), better))
    if hours[0] is not None and hours[1] is not None:
        table.append(("hours for the job", f"{hours[0]:g}", f"{hours[1]:g}"))
        if hours[0] != hours[1]:
            quick = int(hours[1] < hours[0])
            said.append(f"{called[quick]} saves {abs(hours[0] - hours[1]):g} hours.")
            gap = (prices[quick] or 0.0) - (prices[1 - quick] or 0.0)
            if None not in prices and gap > 0:
                hour = gap / abs(hours[0] - hours[1])
                said.append(f"Each hour saved costs {hour:.3g} of the price.")
    return tuple(table), " ".join(said)


def _of_price(called: tuple[str, str], prices: tuple[float, float], better: Sequence[int]) -> str:
    if prices[0] == prices[1]:
        return "Both cost the same."
    dear = int(prices[1] > prices[0])
    gap = f"{abs(prices[0] - prices[1]):g} more"
    if not better[dear]:
        return f"{called[dear]} costs {gap} and is shown to be better in nothing that matters."
    what = "1 measure" if better[dear] == 1 else f"{better[dear]} measures"
    other = f"; the cheaper is better in {better[1 - dear]}" if better[1 - dear] else ""
    return f"{called[dear]} costs {gap} and is better in {what}{other}."
