"""Fit, limited or unfit, for each kind of work, with the measures that decide.

Limits are data: ``uses.toml``, or a file of the user's own in the same form (`read_uses` of
`scanqa.findings.profile`). The worst condition decides. Where a required measure is missing, or
only a bound of it is known that cannot tell, the use is *not judged*; where an optional one is,
the word stands and the gap is named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scanqa.catalogue import CATALOGUE
from scanqa.findings.statistic import Summary, holds, summarise
from scanqa.model import Fitness, Results, UseVerdict

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


def judge_uses(results: Results, uses: Sequence[Use]) -> tuple[UseVerdict, ...]:
    """One word per use."""
    return tuple(_judge(use, results) for use in uses)


def _judge(use: Use, results: Results) -> UseVerdict:
    words: list[tuple[Fitness, str, str]] = []
    missing: list[str] = []
    for condition in use.conditions:
        found = summarise(results, condition.measure, condition.statistic)
        fitness = _fitness(found, condition) if found else None
        if found is not None and fitness is not None:
            said = f"{condition.words} {_number(found, condition.measure)}"
            words.append((fitness, said.strip(), condition.measure))
            continue
        gap = condition.words
        if found is not None:
            gap += f" is known as {_number(found, condition.measure)} only"
        elif condition.required:
            gap += " was not measured"
        if condition.required:
            return UseVerdict(use.name, "not judged", f"{use.sentence}: {gap}.")
        missing.append(gap)
    gaps = f" (not measured: {', '.join(missing)})" if missing else ""
    if not words:
        return UseVerdict(use.name, "not judged", f"{use.sentence}: nothing of it is known{gaps}.")
    worst = max((w[0] for w in words), key=_RANK.__getitem__)
    deciding = [w for w in words if w[0] == worst]
    reason = f"{use.sentence}: {', '.join(w[1] for w in deciding)}{gaps}."
    return UseVerdict(use.name, worst, reason, tuple(w[2] for w in deciding))


def _fitness(found: Summary, condition: Condition) -> Fitness | None:
    """The word that is sure; None where a lower bound cannot tell."""
    fit = holds(found, condition.operator, condition.fit)
    limited = holds(found, condition.operator, condition.limited)
    if fit:
        return "fit"
    if limited:
        return "limited"  # at least; a lower bound may hide that it is fit
    return None if limited is None else "unfit"


def _number(found: Summary, measure: str) -> str:
    rows = [d for name, d in CATALOGUE.items() if name == measure or name.startswith(measure + "_")]
    least = "at least " if found.at_least else ""
    return f"{least}{found.value:.{rows[0].digits}f} {rows[0].unit}".strip()
