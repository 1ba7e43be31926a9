"""Fitness in words: why a use has its word, and the sentence over all of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

from scanqa.catalogue import CATALOGUE, FAMILIES, SECOND_LOOKS, Definition
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
    neighbours = [each for each in verdicts if each.between]
    if not judged and not neighbours:
        sentence = "Too little was measured to judge any use; see what is missing below."
        return replace(outcome, sentence=sentence, uses=verdicts)
    sentence = _sentence(verdicts, diagnoses)
    unknown = [each.use for each in verdicts if each.fitness == "not judged" and not each.between]
    if unknown:
        sentence += f" Not judged: {', '.join(unknown)}."
    return replace(outcome, sentence=sentence, uses=verdicts)


def use_word(verdict: UseVerdict) -> str:
    """``fit``, or the words that are left: ``fit or limited``."""
    return " or ".join(verdict.between) or verdict.fitness


def bounded(found: Judged | Criterion, text: Callable[[float], str]) -> str:
    """A number with what its status says of it: ``at least 5.12``, ``between 5 and 6``."""
    if found.value is None:
        return ""
    if found.low is not None and found.high is not None:
        return f"between {text(found.low)} and {text(found.high)}"
    return {"at-least": "at least ", "at-most": "at most "}.get(found.bound, "") + text(found.value)


def _sentence(verdicts: Sequence[UseVerdict], diagnoses: Sequence[Diagnosis]) -> str:
    parts = []
    for word in dict.fromkeys(("fit", "limited", "unfit", *map(use_word, verdicts))):
        uses = [each.use for each in verdicts if use_word(each) == word]
        if uses and word != "not judged":
            parts.append(f"{word.capitalize()} for {', '.join(uses)}.")
    faults = [each.title for each in diagnoses if each.severity == "fault"]
    if faults:
        more = f" and {len(faults) - 1} more" if len(faults) > 1 else ""
        parts.append(f"Gravest sign: {faults[0]}{more}.")
    return " ".join(parts)


def _reason(verdict: UseVerdict) -> str:
    """The numbers that decide, and what is missing or would settle it."""
    open_ones = [each for each in verdict.conditions if each.fitness == "not judged"]
    if verdict.fitness == "not judged":
        return f"{verdict.sentence}: {_left_open(verdict, open_ones)}."
    missing = ", ".join(_gap(each) for each in open_ones)
    gaps = f" (not measured: {missing})" if missing else ""
    deciding = [each for each in verdict.conditions if each.fitness == verdict.fitness]
    numbers = ", ".join(f"{each.words} {_number(each)}".strip() for each in deciding)
    return f"{verdict.sentence}: {numbers}{gaps}."


def _left_open(verdict: UseVerdict, open_ones: Sequence[Judged]) -> str:
    """What is not known, which word is excluded, and the scan that settles most."""
    needed = [each for each in open_ones if each.required] or open_ones
    if all(each.value is None for each in verdict.conditions) and not any(
        each.required for each in needed
    ):
        return "nothing of it is known"
    first = next((each for each in needed if each.measure == verdict.settles), needed[0])
    gap = f"{first.words} was not measured" if first.value is None else _gap(first)
    words = [gap]
    if verdict.between:
        excluded = next(w for w in ("fit", "unfit") if w not in verdict.between)
        words.append(f"{excluded} is excluded")
    if verdict.settles:
        words.append(f"what settles most: {_settling(first)}")
    return "; ".join(words)


def _settling(condition: Judged) -> str:
    """The scan that would tell more of a condition."""
    row = _rows(condition)[0]
    if condition.value is None:
        return FAMILIES[row.family].needs
    return SECOND_LOOKS[row.second_look] or FAMILIES[row.family].needs


def _gap(condition: Judged) -> str:
    if condition.value is None:
        return condition.words
    error = condition.uncertainty
    if condition.bound == "ok" and error:
        return f"{condition.words} {_number(condition)} is uncertain by twice {error:.2g}"
    return f"{condition.words} is known as {_number(condition)} only"


def _number(condition: Judged) -> str:
    row = _rows(condition)[0]
    return f"{bounded(condition, f'{{:.{row.digits}f}}'.format)} {row.unit}".strip()


def _rows(condition: Judged) -> list[Definition]:
    """The rows that a measure or a family stands for."""
    name = condition.measure
    return [d for key, d in CATALOGUE.items() if key == name or key.startswith(name + "_")]
