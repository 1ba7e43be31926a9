"""Fit, limited or unfit, for each kind of work, with the measures that decide.

Limits are data: ``uses.toml``, or a file of the user's own in the same form (`read_uses` of
`scanqa.findings.uses_file`). The worst condition decides. Where a required measure is missing, or
only a bound of it is known that cannot tell, the use is *not judged*; where an optional one is,
the word stands and the gap is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from scanqa.findings.statistic import Figure, figure, holds
from scanqa.model import Fitness, Judged, UseVerdict
from scanqa.summary import Summary

_RANK: dict[Fitness, int] = {"fit": 0, "limited": 1, "unfit": 2}


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
    """One word per use."""
    return tuple(_judge(use, measured) for use in uses)


def overall(verdicts: Sequence[UseVerdict]) -> Fitness:
    """One word for all uses that were judged: fit, or unfit, only if it is so for each."""
    words = {verdict.fitness for verdict in verdicts} - {"not judged"}
    if not words:
        return "not judged"
    return next(iter(words)) if len(words) == 1 else "limited"


def _judge(use: Use, measured: Sequence[Summary]) -> UseVerdict:
    judged = tuple(_judged(condition, measured) for condition in use.conditions)
    known = [each for each in judged if each.fitness != "not judged"]
    fitness: Fitness = "not judged"
    if known and not any(each.required and each.fitness == "not judged" for each in judged):
        fitness = max((each.fitness for each in known), key=_RANK.__getitem__)
    return UseVerdict(
        use.name,
        fitness,
        use.sentence,
        deciding=tuple(each.measure for each in known if each.fitness == fitness),
        conditions=judged,
    )


def _judged(condition: Condition, measured: Sequence[Summary]) -> Judged:
    found = figure(measured, condition.measure, condition.statistic)
    asked = Judged(
        condition.measure, condition.statistic, condition.operator, condition.fit,
        condition.limited, "not judged", required=condition.required, words=condition.words,
    )  # fmt: skip
    if found is None:
        return asked
    low, high = found.range or (None, None)
    return replace(
        asked, fitness=_fitness(found, condition), value=found.value,
        uncertainty=found.uncertainty, bound=found.bound, low=low, high=high,
    )  # fmt: skip


def _fitness(found: Figure, condition: Condition) -> Fitness:
    """The word that is sure; not judged where a bound cannot tell."""
    fit = holds(found, condition.operator, condition.fit)
    limited = holds(found, condition.operator, condition.limited)
    if fit:
        return "fit"
    if limited:
        return "limited"  # at least; a lower bound may hide that it is fit
    return "not judged" if limited is None else "unfit"
