"""Diagnoses in words: what was seen, its likely cause, what to do, and what to beware of."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from scanqa.catalogue import EXCLUDED_BY, SECOND_LOOKS
from scanqa.catalogue.causes import CAUSES, CAUTIONS, TELLS_APART
from scanqa.findings.backing_advice import advices
from scanqa.model import Action, Diagnosis, Results, changed
from scanqa.words.numbers import capital
from scanqa.words.of_signs import sign_words, titles
from scanqa.words.of_spots import without_faint_lines

GRAVE = ("fault", "warning")
BACKING_SOURCE = "Kubelka and Munk; CIE 15; limits are common practice, no source"


def worded_diagnosis(diagnosis: Diagnosis, results: Results) -> Diagnosis:
    """A diagnosis with all its words.

    Raises
    ------
    KeyError
        If its cause, or one of its signs, has no words.
    """
    if diagnosis.cause in advices():
        return _backing(diagnosis)
    cause = CAUSES[diagnosis.cause]
    shown = without_faint_lines(diagnosis.signs, results)
    reasons = [sign_words(seen, results)[1] for seen in shown]
    heading = capital(titles(diagnosis.signs, results))
    measured = capital("; ".join(dict.fromkeys(filter(None, reasons))))
    unsure = _unsure(diagnosis)
    if asks_again(diagnosis):
        return _look_again(diagnosis, heading, measured, unsure)
    is_open = _is_open(diagnosis)
    name = cause.until_sure if is_open else cause.name
    return changed(
        diagnosis,
        title=f"{heading}: {name}",
        reason=". ".join(filter(None, (measured, unsure))),
        heading=heading,
        measured=measured,
        unsure=unsure,
        likely=tuple(
            CAUSES[each.cause].until_sure if is_open else CAUSES[each.cause].name
            for each in diagnosis.causes
        ),
        check_next=cause.check,
        action=f"{_settling(diagnosis.look)}." if is_open else cause.action,
        caution=" ".join(CAUTIONS[name] for name in cause.cautions),
        stop=cause.stop,
        source=cause.source,
    )


def _is_open(diagnosis: Diagnosis) -> bool:
    """Whether a second look may still show another cause: no reason to act, be it only a note."""
    if diagnosis.confirmed or not diagnosis.look:
        return False
    return diagnosis.cause not in EXCLUDED_BY[diagnosis.look]  # else that look was made


def _settling(look: str) -> str:
    return f"To be sure, scan {SECOND_LOOKS[look]}"


def asks_again(diagnosis: Diagnosis) -> bool:
    """Whether it would weigh, but rests on one look."""
    return not diagnosis.confirmed and bool(diagnosis.look) and diagnosis.severity in GRAVE


def _look_again(diagnosis: Diagnosis, heading: str, measured: str, unsure: str) -> Diagnosis:
    """What one look shows: the candidates, and the scan that settles it; nothing to mend yet."""
    cause = CAUSES[diagnosis.cause]
    candidates = [each.cause for each in diagnosis.causes]
    candidates += [name for name in EXCLUDED_BY[diagnosis.look] if name not in candidates]
    scan = _settling(diagnosis.look)
    return changed(
        diagnosis,
        title=f"Look again: {heading[:1].lower()}{heading[1:]}",
        reason=". ".join(filter(None, (measured, unsure, f"One look does not settle it. {scan}"))),
        heading=heading,
        measured=measured,
        unsure=unsure,
        likely=tuple(CAUSES[name].until_sure for name in candidates),
        check_next=f"{scan}.",
        action=f"{scan}: one look does not settle where this comes from.",
        source=cause.source,
    )


def worded_action(action: Action, diagnoses: Iterable[Diagnosis]) -> Action:
    """An action with the words of the diagnosis that asks for it."""
    asking = next(each for each in diagnoses if each.cause == action.cause)
    return replace(action, text=asking.action, because=asking.title, caution=asking.caution)


def _unsure(diagnosis: Diagnosis) -> str:
    """A sentence on the causes that it may as well be, and on what would tell."""
    if not diagnosis.alike:
        return ""
    others = [CAUSES[name] for name in diagnosis.alike]
    again = asks_again(diagnosis)
    names = [other.until_sure if again else other.name for other in others]
    words = f"These scans hardly tell it from {' or '.join(names)}"
    pairs = [frozenset((diagnosis.cause, name)) for name in diagnosis.alike]
    tells = "; ".join(TELLS_APART[pair] for pair in pairs if pair in TELLS_APART)
    return f"{words}; what would: {tells}" if tells else words


def _backing(diagnosis: Diagnosis) -> Diagnosis:
    """Which backing to use for pages that are printed on both sides."""
    advice, (seen,) = advices()[diagnosis.cause], diagnosis.signs
    n = {name: f"{value:.1f}" for name, value in seen.numbers.items()}
    measured = f"{n['lid']} % of the light, a step of {n['step']} L*"
    if seen.terms["backings"] == "two":
        measured += f", on the lighter backing; {n['card']} %, {n['left']} L*, on the darker one"
    remains = {"unseen": "which is not seen", "seen": f"still {n['left']} L*"}
    return changed(
        diagnosis,
        title=advice.title,
        reason=measured,
        heading=advice.title,
        measured=measured,
        action=advice.action.format(**n, remains=remains[seen.terms["remains"]]),
        source=BACKING_SOURCE,
    )
