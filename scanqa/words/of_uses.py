"""Fitness in words: why a use has its word, and the sentence over all of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from scanqa.catalogue import CATALOGUE
from scanqa.model import Criterion, Diagnosis, Judged, Outcome, UseVerdict


def worded_outcome(outcome: Outcome, diagnoses: Sequence[Diagnosis]) -> Outcome:
    """An outcome with its sentence and the reasons of its uses.

    Parameters
    ----------
    diagnoses : sequence of Diagnosis
        With their words, the gravest first.
    """
    verdicts = tuple(replace(each, reason=_reason(each)) for each in outcome.uses)
    judged = [each for each in verdicts if each.fitness != "not judged"]
    if not judged:
        sentence = "Too little was measured to judge any use; see what is missing below."
    else:
        sentence = _sentence(judged, diagnoses)
        if left := [each.use for each in verdicts if each.fitness == "not judged"]:
            sentence += f" Not judged: {', '.join(left)}."
    return Outcome(outcome.fitness, sentence, verdicts)


def bounded(found: Judged | Criterion, text: Callable[[float], str]) -> str:
    """A number with what its status says of it: ``at least 5.12``, ``between 5 and 6``."""
    if found.value is None:
        return ""
    if found.low is not None and found.high is not None:
        return f"between {text(found.low)} and {text(found.high)}"
    return {"at-least": "at least ", "at-most": "at most "}.get(found.bound, "") + text(found.value)


def _sentence(judged: Sequence[UseVerdict], diagnoses: Sequence[Diagnosis]) -> str:
    parts = []
    for word in ("fit", "limited", "unfit"):
        uses = [each.use for each in judged if each.fitness == word]
        if uses:
            parts.append(f"{word.capitalize()} for {', '.join(uses)}.")
    faults = [each.title for each in diagnoses if each.severity == "fault"]
    if faults:
        more = f" and {len(faults) - 1} more" if len(faults) > 1 else ""
        parts.append(f"Gravest sign: {faults[0]}{more}.")
    return " ".join(parts)


def _reason(verdict: UseVerdict) -> str:
    """The numbers that decide, and what is missing."""
    open_ones = [each for each in verdict.conditions if each.fitness == "not judged"]
    for each in open_ones:
        if each.required:
            gap = f"{each.words} was not measured" if each.value is None else _gap(each)
            return f"{verdict.sentence}: {gap}."
    missing = ", ".join(_gap(each) for each in open_ones)
    gaps = f" (not measured: {missing})" if missing else ""
    deciding = [each for each in verdict.conditions if each.fitness == verdict.fitness]
    if verdict.fitness == "not judged":
        return f"{verdict.sentence}: nothing of it is known{gaps}."
    numbers = ", ".join(f"{each.words} {_number(each)}".strip() for each in deciding)
    return f"{verdict.sentence}: {numbers}{gaps}."


def _gap(condition: Judged) -> str:
    if condition.value is None:
        return condition.words
    return f"{condition.words} is known as {_number(condition)} only"


def _number(condition: Judged) -> str:
    measure = condition.measure
    rows = [d for name, d in CATALOGUE.items() if name == measure or name.startswith(measure + "_")]
    return f"{bounded(condition, f'{{:.{rows[0].digits}f}}'.format)} {rows[0].unit}".strip()
