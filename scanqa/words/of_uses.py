"""Fitness in words: why a use has its word, and the sentence over all of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from scanqa.catalogue import FAMILIES, SECOND_LOOKS, rows_of
from scanqa.model import Diagnosis, Judged, Outcome, UseVerdict
from scanqa.words.numbers import joined, told

ONE_LOOK = (
    "One blank does not tell what stays when the paper moves: marks on the glass are not judged."
)


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
    if outcome.one_look:
        sentence += f" {ONE_LOOK}"
    return replace(outcome, sentence=sentence, uses=verdicts)


NOTHING_OPEN = "Nothing: all was measured, and every use has its word."


def nothing_to_do(outcome: Outcome) -> str:
    """What to do where no finding asks for anything: not the same where much is open."""
    if outcome.fitness == "not judged":
        return "Too little is known to say what needs doing."
    if outcome.fitness == "partly judged":
        return "What was measured asks for nothing; what is open may."
    return "Nothing needs doing."


def nothing_found(unseen: Sequence[str]) -> str:
    """That nothing was found on the glass, and what nobody could have found.

    Parameters
    ----------
    unseen : sequence of str
        What was not looked at, in words.
    """
    if not unseen:
        return "Nothing was found on the glass or in the light."
    return f"Nothing was found, but not all was looked for: not measured were {joined(unseen)}."


def next_scan(outcome: Outcome) -> str:
    """The one scan that would settle most of what is open, and for which uses; or nothing."""
    if not outcome.next_scan:
        still = [each.use for each in outcome.uses if each.settles and not each.settled_by]
        words = f"No scan that is missing would settle what is open for {joined(still)}."
        return words if still else ""
    uses = [each.use for each in outcome.uses if each.settled_by == outcome.next_scan]
    settles = f" It settles most for {joined(uses)}." if uses else ""
    return f"Scan next: {scan_words(outcome.next_scan)}.{settles}"


def scan_words(scan: str) -> str:
    """A scan by the id of a second look or of the family that it is for."""
    return SECOND_LOOKS.get(scan) or FAMILIES[scan].needs


def use_word(verdict: UseVerdict) -> str:
    """``fit``, or the words that are left: ``fit or limited``."""
    return " or ".join(verdict.between) or verdict.fitness


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
    missing = ", ".join(each.words for each in open_ones if each.value is None)
    doubtful = [_gap(each) for each in open_ones if each.value is not None]
    said = [*([f"not measured: {missing}"] if missing else []), *doubtful]
    gaps = f" ({'; '.join(said)})" if said else ""
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
    if verdict.settled_by:
        words.append(f"what settles most: {scan_words(verdict.settled_by)}")
    elif first.value is not None:
        words.append("the scans that tell of it are in the set")
    return "; ".join(words)


def _gap(condition: Judged) -> str:
    if condition.value is None:
        return condition.words
    error = condition.uncertainty
    if condition.bound == "ok" and error:
        return f"{condition.words} {_number(condition)} is uncertain by twice {error:.2g}"
    return f"{condition.words} is known as {_number(condition)} only"


def _number(condition: Judged) -> str:
    if condition.value is None:
        return ""
    row = rows_of(condition.measure)[0]
    text = value_told(condition, None)
    if condition.bound == "between":
        text = f"between {text.replace(' to ', ' and ')}"
    return f"{text} {row.unit}".strip()


def value_told(condition: Judged, uncertainty: float | None) -> str:
    """The value of a condition, or its bound, which stays on its side of the limits."""
    digits = rows_of(condition.measure)[0].digits
    ends = (condition.low, condition.high)
    limits = (condition.fit, condition.limited)
    return told(condition.bound, condition.value or 0.0, uncertainty, ends, digits, limits)
