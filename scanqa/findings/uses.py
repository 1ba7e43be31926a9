"""Fit, limited or unfit, for each kind of work, with the measures that decide.

Limits are data: ``uses.toml``, or a file of the user's own in the same form (`read_uses` of
`scanqa.findings.uses_file`). The worst condition decides. A word is given where both ends of what
is possible give it: bounds, twice the uncertainty, and of a required measure that is missing,
everything. Else the use is *not judged*; where a third word is excluded, the two neighbours are
named, and the measure that would settle most. Where an optional measure is missing, the word stands
and the gap is named. Only scans whose role is sure count.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from scanqa.findings.statistic import OPERATORS, Figure, figure
from scanqa.model import Fitness, Judged, Measurement, Outcome, ScanFacts, UseVerdict
from scanqa.summary import Summary

WORDS: tuple[Fitness, ...] = ("fit", "limited", "unfit")
Span = tuple[int, int]  # ranks in WORDS of the best and of the worst word that is possible
WHOLE: Span = (0, 2)
SIGMAS = 2.0  # of its uncertainty, by which a value may lie elsewhere
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


def judge_uses(measured: Sequence[Summary], uses: Sequence[Use]) -> tuple[UseVerdict, ...]:
    """One word per use, or what is left open.

    Parameters
    ----------
    measured : sequence of Summary
        Of scans whose role is sure (`of_sure_roles`).
    uses : sequence of Use
        Kinds of work and their limits.
    """
    return tuple(_judge(use, measured) for use in uses)


def of_sure_roles(
    measurements: Sequence[Measurement], scans: Sequence[ScanFacts]
) -> tuple[Measurement, ...]:
    """Without those of scans of which it is not known what they show: these judge no use."""
    unsure = {scan.file for scan in scans if scan.role in UNSURE_ROLES}
    return tuple(m for m in measurements if m.scan not in unsure)


def outcome(verdicts: Sequence[UseVerdict]) -> Outcome:
    """The overall word: partly judged where some use has none."""
    judged = overall(verdicts)
    whole = judged == "not judged" or all(each.fitness != "not judged" for each in verdicts)
    return Outcome(judged if whole else "partly judged", uses=tuple(verdicts), judged=judged)


def overall(verdicts: Sequence[UseVerdict]) -> Fitness:
    """One word for all uses that were judged: fit, or unfit, only if it is so for each."""
    words = {verdict.fitness for verdict in verdicts} - {"not judged"}
    if not words:
        return "not judged"
    return next(iter(words)) if len(words) == 1 else "limited"


def _judge(use: Use, measured: Sequence[Summary]) -> UseVerdict:
    """The worst condition decides, so that one which is unfit for sure needs no other."""
    found = [_judged(condition, measured) for condition in use.conditions]
    judged = tuple(each for each, _ in found)
    counted = [span for each, span in found if span is not None and (each.required or _known(each))]
    if not any(_known(each) for each in judged):
        counted = []
    best, worst = (max(span[end] for span in counted) if counted else WHOLE[end] for end in (0, 1))
    fitness = WORDS[best] if best == worst else "not judged"
    between = WORDS[best : worst + 1] if worst - best == 1 else ()
    return UseVerdict(
        use.name,
        fitness,
        use.sentence,
        deciding=tuple(each.measure for each in judged if each.fitness == fitness and _known(each)),
        conditions=judged,
        between=between,
        settles="" if best == worst else _settles(found),
    )


def _known(condition: Judged) -> bool:
    return condition.value is not None


def _settles(found: Sequence[tuple[Judged, Span | None]]) -> str:
    """The measure of the condition that leaves most open; needed ones first."""
    open_ones = [
        (span[1] - span[0], each.required, each.measure)
        for each, span in found
        if span is not None and span[1] > span[0]
    ]
    return max(open_ones, key=lambda each: (each[1], each[0]))[2] if open_ones else ""


def _judged(condition: Condition, measured: Sequence[Summary]) -> tuple[Judged, Span | None]:
    """A condition with its word, and the ranks of the words that are possible."""
    found = figure(measured, condition.measure, condition.statistic)
    asked = Judged(
        condition.measure, condition.statistic, condition.operator, condition.fit,
        condition.limited, "not judged", required=condition.required, words=condition.words,
    )  # fmt: skip
    if found is None:
        return asked, WHOLE if condition.required else None
    low, high = found.range or (None, None)
    best, worst = _span(found, condition)
    judged = replace(
        asked, fitness=WORDS[best] if best == worst else "not judged", value=found.value,
        uncertainty=found.uncertainty, bound=found.bound, low=low, high=high,
        between=WORDS[best : worst + 1] if worst - best == 1 else (),
    )  # fmt: skip
    return judged, (best, worst)


def _span(found: Figure, condition: Condition) -> Span:
    """Ranks of the best and of the worst word that a number may have, both ends looked at."""
    reach = SIGMAS * (found.uncertainty or 0.0)
    ends = (found.least - reach, found.most + reach)
    ranks = sorted(_rank(end, condition) for end in ends)
    return ranks[0], ranks[1]


def _rank(value: float, condition: Condition) -> int:
    kept = OPERATORS[condition.operator]
    return 0 if kept(value, condition.fit) else 1 if kept(value, condition.limited) else 2
