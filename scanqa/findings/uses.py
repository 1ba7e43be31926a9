"""Fit, limited or unfit, for each kind of work, with the measures that decide.

Limits are data: ``uses.toml``, or a file of the user's own in the same form (`read_uses` of
`scanqa.findings.uses_file`). The worst condition decides. A word is given where both ends of what
is possible give it: bounds, twice the uncertainty, and of a required measure that is missing,
everything. Else the use is *not judged*; where a third word is excluded, the two neighbours are
named, and the measure that would settle most. Where an optional measure is missing, the word stands
and the gap is named. Only scans whose role is sure count.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace

from scanqa.catalogue import LOOK_OF_REASON, SETTLING_NOTHING, rows_of
from scanqa.findings.statistic import OPERATORS, Figure, figure
from scanqa.model import (
    Fitness,
    Judged,
    Measurement,
    Outcome,
    ReasonKind,
    ScanFacts,
    UseVerdict,
)
from scanqa.summary import Summary

WORDS: tuple[Fitness, ...] = ("fit", "limited", "unfit")
Span = tuple[int, int]  # ranks in WORDS of the best and of the worst word that is possible
WHOLE: Span = (0, 2)
_Found = tuple[Judged, Span, str]  # with the scan that would tell more of it
SIGMAS = 2.0  # of its uncertainty, by which a value may lie elsewhere
ANOTHER_BLANK = "paper-moved"
MISSES_A_SCAN = ("no-scan", "too-few")  # reasons: its family's scan is missing, or one too few
# What such a scan shows is not known: a measure of it is there by accident.
UNSURE_ROLES = frozenset({"claim", "page", "picture"})


@dataclass(frozen=True, slots=True)
class Condition:
    """One limit of a use.

    Attributes
    ----------
    measure : str
        A measure of the catalogue, or a family (``edges.dead_margin``).
    statistic : str
        How many values become one: a key of `statistic.STATISTICS`.
    operator : str
        ``>=``, ``>``, ``<=`` or ``<``.
    fit, limited : float
        Kept: the work comes out well; kept: it is still usable.
    words : str
        What the measure is called in the reason.
    required : bool
        Whether there is no word without it.
    """

    measure: str
    statistic: str
    operator: str
    fit: float
    limited: float
    words: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class Use:
    """A kind of work and its limits."""

    name: str
    sentence: str
    conditions: tuple[Condition, ...]


def judge_uses(
    measured: Sequence[Summary], uses: Sequence[Use], had: frozenset[str] = frozenset()
) -> tuple[UseVerdict, ...]:
    """One word per use, or what is left open.

    Parameters
    ----------
    measured : sequence of Summary
        Of scans whose role is sure (`of_sure_roles`).
    uses : sequence of Use
        Kinds of work and their limits.
    had : frozenset of str
        Second looks and families whose scan is in the set (`looks.scans_had`): what is named to
        settle more is none of these.
    """
    return tuple(_judge(use, measured, had) for use in uses)


def of_sure_roles(
    measurements: Sequence[Measurement], scans: Sequence[ScanFacts]
) -> tuple[Measurement, ...]:
    """Without those of scans of which it is not known what they show: these judge no use.

    A clean edge is one wherever it lies, and a bound from below.
    """
    unsure = {scan.file for scan in scans if scan.role in UNSURE_ROLES}
    return tuple(m for m in measurements if m.scan not in unsure or m.edge_kind == "found")


def outcome(verdicts: Sequence[UseVerdict], *, one_look: bool = False) -> Outcome:
    """The overall word: partly judged where some use has none, or on one look.

    Parameters
    ----------
    verdicts : sequence of UseVerdict
        From `judge_uses`.
    one_look : bool
        Whether no blank was scanned again with its paper moved: marks on the glass are then not
        known, nor whose a line is.
    """
    judged = overall(verdicts)
    whole = all(each.fitness != "not judged" for each in verdicts) and not one_look
    return Outcome(
        judged if whole or judged == "not judged" else "partly judged",
        uses=tuple(verdicts),
        judged=judged,
        next_scan=_next_scan(verdicts) or (ANOTHER_BLANK if one_look else ""),
        one_look=one_look,
    )


def _next_scan(verdicts: Sequence[UseVerdict]) -> str:
    """The scan that would settle the most uses; of equals that of the first use."""
    wanted = Counter(each.settled_by for each in verdicts if each.settled_by)
    return max(wanted, key=lambda scan: wanted[scan], default="")


def overall(verdicts: Sequence[UseVerdict]) -> Fitness:
    """One word for all uses that were judged: fit, or unfit, only if it is so for each."""
    words = {verdict.fitness for verdict in verdicts} - {"not judged"}
    if not words:
        return "not judged"
    return next(iter(words)) if len(words) == 1 else "limited"


def _judge(use: Use, measured: Sequence[Summary], had: frozenset[str]) -> UseVerdict:
    """The worst condition decides, so that one which is unfit for sure needs no other."""
    found = [_judged(condition, measured, had) for condition in use.conditions]
    judged = tuple(each for each, _, _ in found)
    counted = [span for each, span, _ in found if each.required or _known(each)]
    if not any(_known(each) for each in judged):
        counted = []
    best, worst = (max(span[end] for span in counted) if counted else WHOLE[end] for end in (0, 1))
    fitness = WORDS[best] if best == worst else "not judged"
    between = WORDS[best : worst + 1] if worst - best == 1 else ()
    asked = [each for each in found if each[0].required or _known(each[0])]
    settles, settled_by = ("", "") if best == worst else _settles(asked or found)
    return UseVerdict(
        use.name,
        fitness,
        use.sentence,
        deciding=tuple(each.measure for each in judged if each.fitness == fitness and _known(each)),
        conditions=judged,
        between=between,
        settles=settles,
        settled_by=settled_by,
    )


def _known(condition: Judged) -> bool:
    return condition.value is not None


def _settles(found: Sequence[_Found]) -> tuple[str, str]:
    """The measure of the condition that leaves most open, needed ones first, and its scan.

    A measure that leaves open only words which another condition excludes would settle nothing.
    """
    least = max(span[0] for _, span, _ in found)
    open_ones = [
        (each.required, span[1] - max(span[0], least), each.measure, scan)
        for each, span, scan in found
        if span[1] > max(span[0], least)
    ]
    _, _, measure, scan = max(open_ones, key=lambda each: each[:2], default=(False, 0, "", ""))
    return measure, scan


def _judged(condition: Condition, measured: Sequence[Summary], had: frozenset[str]) -> _Found:
    """A condition with its word, the ranks of the words that are possible, and what tells more."""
    found = figure(measured, condition.measure, condition.statistic)
    asked = Judged(
        condition.measure, condition.statistic, condition.operator, condition.fit,
        condition.limited, "not judged", required=condition.required, words=condition.words,
    )  # fmt: skip
    why = _why_missing(condition, measured) if found is None else found.why
    scan = _scan_for(condition, why, had, missing=found is None)
    if found is None:
        return asked, WHOLE, scan
    low, high = found.range or (None, None)
    best, worst = _span(found, condition)
    judged = replace(
        asked, fitness=WORDS[best] if best == worst else "not judged", value=found.value,
        uncertainty=found.uncertainty, bound=found.bound, low=low, high=high,
        between=WORDS[best : worst + 1] if worst - best == 1 else (),
    )  # fmt: skip
    return judged, (best, worst), scan


def _why_missing(condition: Condition, measured: Sequence[Summary]) -> ReasonKind | None:
    """The commonest reason for which there is no value."""
    names = {row.name for row in rows_of(condition.measure)}
    members = [m for s in measured if s.key.name in names for m in s.members]
    kinds = Counter(m.reason_kind for m in members if m.reason_kind is not None)
    return kinds.most_common(1)[0][0] if kinds else None


def _scan_for(
    condition: Condition, why: ReasonKind | None, had: frozenset[str], *, missing: bool
) -> str:
    """The scan that would tell more, and is not in the set; empty if there is none.

    By why there is but a bound or no value; else of what is missing its family's, of what is
    uncertain its second look.
    """
    row = rows_of(condition.measure)[0]
    if why in MISSES_A_SCAN:
        had -= {row.family}
    usual = (row.family, row.second_look) if missing else (row.second_look, row.family)
    named = (LOOK_OF_REASON[why],) if why in LOOK_OF_REASON else ()
    tells = (each for each in (*named, *usual) if each not in had | SETTLING_NOTHING)
    return next(tells, "")


def _span(found: Figure, condition: Condition) -> Span:
    """Ranks of the best and of the worst word that a number may have, both ends looked at."""
    reach = SIGMAS * (found.uncertainty or 0.0)
    ends = (found.least - reach, found.most + reach)
    ranks = sorted(_rank(end, condition) for end in ends)
    return ranks[0], ranks[1]


def _rank(value: float, condition: Condition) -> int:
    kept = OPERATORS[condition.operator]
    return 0 if kept(value, condition.fit) else 1 if kept(value, condition.limited) else 2
