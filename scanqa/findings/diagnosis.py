"""From signs to likely causes and what to do.

Each sign that asks for an explanation (`scanqa.findings.signs`) is given the causes that can make
it, ranked by Bayes' rule: prior × chance of every sign that was looked for, found or not. The
surest explanation is taken first; from then on its cause is taken as given, so that it explains
other signs without a prior of its own and another cause need not explain them: faults that come
together are told apart, and one fault is not named twice. A sign shows with the highest chance
that any cause at hand gives it. Signs that lead to the same first cause are one finding.

Causes, chances, words, actions and cautions are data (``causes.toml``). Lines bring their own
ranking from where they are measured.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from functools import cache
from importlib import resources
from typing import Any

from scanqa.findings.signs import Sign, Signs, measures_of, names_of, observe
from scanqa.model import Finding, Results, ScanFacts, Severity

ORDER: dict[Severity, int] = {"fault": 0, "warning": 1, "note": 2, "good": 3}
LEAST_SHARE = 0.05  # causes that are less likely are not named
ALIKE = 0.4  # of the share of the first, from which on a second cause is said to look alike
MOST_PLACES = 4  # lines named one by one in a title
NO_SOURCE = "common practice, no source"

Ranking = tuple[tuple[str, float], ...]  # causes and their shares, the likeliest first


@cache
def rules() -> dict[str, Any]:
    """What ``causes.toml`` holds."""
    text = (resources.files("scanqa.findings") / "causes.toml").read_text("utf-8")
    return tomllib.loads(text)


def diagnose(
    results: Results, scans: tuple[ScanFacts, ...], *, earlier: Results | None = None
) -> tuple[Finding, ...]:
    """Findings of kind ``diagnosis``, the gravest first.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner.
    scans : tuple of ScanFacts
        The scans that it was measured on.
    earlier : Results or None
        What the same scanner gave at an earlier check: shows a lamp that has faded since.
    """
    signs = observe(results, scans, earlier)
    explained: dict[str, list[tuple[Sign, Ranking]]] = {}
    for sign in signs.get("line", ()):
        ranking = _of_line(sign, compressed=bool(signs.get("compressed")))
        explained.setdefault(ranking[0][0], []).append((sign, ranking))
    open_signs = [name for name in names_of(signs) if name != "line"]
    given: list[str] = []
    while open_signs:
        rankings = {name: rank(name, signs, given) for name in open_signs}
        surest = max(open_signs, key=lambda name: rankings[name][0][1])
        ranking = rankings[surest]
        members = [(sign, ranking) for sign in signs[surest] if sign.severity is not None]
        explained.setdefault(ranking[0][0], []).extend(members)
        given.append(ranking[0][0])
        open_signs.remove(surest)
    findings = [_finding(cause, members) for cause, members in explained.items()]
    return tuple(sorted(findings, key=lambda finding: ORDER[finding.severity]))


def rank(name: str, signs: Signs, given: Sequence[str] = ()) -> Ranking:
    """Causes of one sign and their shares, by Bayes' rule over all signs that were looked for.

    Parameters
    ----------
    name : str
        The sign to be explained: only causes that make it are considered.
    signs : Signs
        From `scanqa.findings.signs.observe`.
    given : sequence of str
        Causes that other signs have shown already.

    Raises
    ------
    KeyError
        If no cause makes the sign.
    """
    weights = {}
    for cause, row in rules()["cause"].items():
        if name in row["shows"]:
            weight = 1.0 if cause in given else row["prior"]
            for sign, found in signs.items():
                chance = _chance(sign, (cause, *given))
                weight *= chance if found else 1 - chance
            weights[cause] = weight
    if not weights:
        raise KeyError(f"no cause in causes.toml makes the sign {name}")
    return _shares(weights)


def _chance(sign: str, causes: Sequence[str]) -> float:
    """Chance that a sign shows if all of these causes are there."""
    rows = rules()["cause"]
    named = [rows[cause]["shows"][sign] for cause in causes if sign in rows[cause]["shows"]]
    return float(max(named, default=rules()["by-accident"][sign]))


def _shares(weights: Mapping[str, float]) -> Ranking:
    total = sum(weights.values())
    ranked = sorted(weights.items(), key=lambda item: -item[1])
    return tuple((cause, weight / total) for cause, weight in ranked)


def _of_line(sign: Sign, *, compressed: bool) -> Ranking:
    """The ranking that a line brings, in the names of ``causes.toml``.

    Lossy compression draws faint lines along its blocks, by the dozen.
    """
    assert sign.streak is not None
    if compressed and not sign.streak.visible:
        return (("compression", 1.0),)
    shares: dict[str, float] = {}
    for words, share in sign.streak.causes or ((sign.streak.likely_cause, 1.0),):
        cause = _line_cause(words)
        shares[cause] = shares.get(cause, 0.0) + share
    return _shares(shares)


def _line_cause(words: str) -> str:
    for row in rules()["lines"]:
        if row["words"] in words:
            return str(row["cause"])
    raise KeyError(f"no row of causes.toml knows the line's cause {words!r}")


# ------------------------------------------------------------------------------------ findings


def _finding(cause: str, members: Sequence[tuple[Sign, Ranking]]) -> Finding:
    """One finding for all signs that lead to a cause; the gravest sign brings its ranking."""
    members = sorted(members, key=lambda member: ORDER[member[0].severity or "note"])
    signs = [sign for sign, _ in members]
    gravest, ranking = members[0]
    named = tuple(item for item in ranking if item[1] >= LEAST_SHARE)
    severity: Severity = "note" if cause == "paper" else gravest.severity or "note"
    row = rules()["cause"][cause]
    reasons = [sign.reason for sign in _without_faint_lines(signs) if sign.reason]
    alike = _alike(named)
    return Finding(
        "diagnosis",
        f"{_sentence(_titles(signs))}: {row['name']}",
        severity,
        reason=_sentence("; ".join(dict.fromkeys(reasons))) + (f". {alike}" if alike else ""),
        rests_on=measures_of(signs),
        causes=tuple(rules()["cause"][each]["name"] for each, _ in named),
        shares=tuple(round(share, 3) for _, share in named),
        check_next=row["check"],
        action=row["action"],
        caution=" ".join(rules()["cautions"][name] for name in row["caution"].split("+") if name),
        stop=row["stop"],
        source=row.get("source", NO_SOURCE),
    )


def _alike(named: Ranking) -> str:
    """A sentence on the second cause if it may as well be that, and on what would tell."""
    if len(named) < 2 or named[1][1] < ALIKE * named[0][1]:
        return ""
    pair = {named[0][0], named[1][0]}
    other = rules()["cause"][named[1][0]]["name"]
    for row in rules()["alike"]:
        if set(row["causes"]) == pair:
            return f"These scans hardly tell it from {other}; what would: {row['tells']}"
    return f"These scans hardly tell it from {other}"


def _titles(signs: Sequence[Sign]) -> str:
    """Short words of all signs; lines together."""
    lines = [sign for sign in signs if sign.streak is not None]
    parts = [sign.words for sign in signs if sign.streak is None]
    return ", ".join(dict.fromkeys(([_of_lines(lines)] if lines else []) + parts))


def _of_lines(lines: Sequence[Sign]) -> str:
    seen = _without_faint_lines(lines)
    faint = len(lines) - len(seen)
    streaks = [line.streak for line in seen if line.streak is not None]
    polarities = {streak.polarity for streak in streaks}
    kind = f"{polarities.pop()} " if len(polarities) == 1 else ""
    which = "too faint to be seen " if not any(streak.visible for streak in streaks) else ""
    if len(streaks) == 1:
        words = f"{kind}line {which}at {streaks[0].at_mm:.1f} mm"
    elif len(streaks) <= MOST_PLACES:
        places = [f"{streak.at_mm:.1f}" for streak in sorted(streaks, key=lambda s: s.at_mm)]
        words = f"{kind}lines {which}at {', '.join(places[:-1])} and {places[-1]} mm"
    else:
        words = f"{len(streaks)} {kind}lines {which}(the strongest at {streaks[0].at_mm:.1f} mm)"
    return words + (f" and {faint} too faint to be seen" if faint else "")


def _without_faint_lines(signs: Sequence[Sign]) -> list[Sign]:
    """Lines that cannot be seen are counted, not described, beside ones that can."""
    if not any(sign.streak is not None and sign.streak.visible for sign in signs):
        return list(signs)
    return [sign for sign in signs if sign.streak is None or sign.streak.visible]


def _sentence(words: str) -> str:
    return words[:1].upper() + words[1:]
