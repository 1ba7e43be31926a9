"""The decision in words: what to do with the unit, and one sentence why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from scanqa.model import Action, Decided, Decision, Diagnosis, Outcome, UseVerdict
from scanqa.words.numbers import inside, joined
from scanqa.words.of_uses import scan_words, use_word

TITLES: dict[Decided, str] = {
    "": "Not decided",
    "keep": "Keep it",
    "clean": "Clean it, then scan two blanks again",
    "repair": "Repair it, or have it repaired",
    "ask-seller": "Ask the seller",
    "return": "Return it",
    "open": "Nothing found against it, still open",
    "too-little": "Too little measured",
}
# By rule: {seen} is the finding that decides, {uses} are those that decide or are open.
SENTENCES: dict[str, str] = {
    "": "These scans were measured before decisions were kept.",
    "still-there-in-time": "It was cleaned, and it is still there: {seen}.",
    "still-there": "It was cleaned, and it is still there: {seen}. What stays lies inside.",
    "mended-in-vain": "It was repaired, and it is still there: {seen}.",
    "flaw-in-time": "{seen}: this does not come off and is not mended at home.",
    "flaw": "{seen}: this does not come off and is not mended at home.",
    "false-claim": "{seen}: it does not do what its dpi say.",
    "dirt": "{seen}: this may come off.",
    "mend-in-time": "{seen}: a part of it needs repair; ask for that, or for its return.",
    "mend": "{seen}: a part of it needs repair.",
    "worn": "{seen}, and work suffers from it.",
    "hidden-by-settings": "{seen}: that hides what the scanner itself does.",
    "unfit-in-time": "It is not fit for {uses}, and nothing found says that this can be mended.",
    "unfit": "It is not fit for {uses}, and nothing found says that this can be mended.",
    "one-look": "{seen}: one look does not settle where this comes from.",
    "unsettled": "{seen}: one look does not settle where this comes from, and no use can be judged "
    "for sure.",
    "nothing-known": "No use can be judged by what was scanned.",
    "still-open": "What was measured asks for nothing to be done.",
    "nothing-against": "Nothing was found against it.",
}
ASKED: dict[Decided, str] = {  # of a seller
    "": "Please say what you know of this, and what you propose: a repair, a part of the price, or "
    "its return.",
    "return": "I ask to send it back. Please say how, and by when.",
    "clean": "I will clean what can be cleaned, and scan again. Please say whether this was known, "
    "and whether it was cleaned or opened before.",
    "keep": "I keep it. Please say whether this was known.",
}
MOST_SEEN = 3  # findings that the sentence names
TOGETHER: dict[str, str] = {  # where several actions of one kind are one
    "clean": "Clean the glass, on top and, where it can be reached, underneath above the white "
    "calibration strip. Then scan two blanks again, the paper moved between.",
    "setting": "Switch off what the driver does by itself, then scan again.",
}
MARKS = "marks on the glass"
SHORT_SCANS: dict[str, str] = {  # what to lay on the glass, in few words
    "sharpness": "the bed sheet",
    "geometry": "the bed sheet",
    "colour": "the bed sheet",
    "veil": "the bed sheet",
    "gutter": "a book",
    "edges": "the edge strips",
    "shading": "plain paper",
    "noise": "two blanks",
    "streaks": "two blanks",
    "glass": "two blanks",
    "paper-moved": "another blank, its paper moved",
    "another-edge": "an edge card",
}


def worded_decision(
    decision: Decision, diagnoses: Sequence[Diagnosis], outcome: Outcome
) -> Decision:
    """A decision with its words.

    Parameters
    ----------
    diagnoses : sequence of Diagnosis
        With their words.
    outcome : Outcome
        With its words.
    """
    return replace(
        decision, title=_title(decision, outcome), sentence=_sentence(decision, diagnoses, outcome)
    )


def decided_word(decision: str) -> str:
    """A decision by its id, as a list of records has it."""
    return next((title for each, title in TITLES.items() if each == decision), decision)


def decision_line(scanner: str, decision: Decision) -> str:
    """The decision as one line of a terminal."""
    return f"{scanner}: {decision.title}. {decision.sentence}"


def acts(actions: Sequence[Action], decision: Decision | None = None) -> tuple[Action, ...]:
    """Actions put together by what is done: one for each act, and for each other look.

    What the decision rests on comes first.
    """
    deciding = decision.causes if decision else ()
    actions = sorted(actions, key=lambda action: action.cause not in deciding)
    together: dict[str, list[Action]] = {}
    for action in actions:
        one = action.act if action.act in TOGETHER else None
        together.setdefault(one or action.look or action.text, []).append(action)
    return tuple(_one_act(some) for some in together.values())


def _one_act(some: Sequence[Action]) -> Action:
    """Several actions of one kind as one."""
    first = some[0]
    if len(some) == 1:
        return first
    texts = list(dict.fromkeys(action.text for action in some))
    cautions = dict.fromkeys(action.caution for action in some if action.caution)
    return replace(
        first,
        text=TOGETHER.get(first.act or "", " ".join(texts)),
        because="; ".join(dict.fromkeys(action.because for action in some)),
        caution=" ".join(cautions),
    )


def _title(decision: Decision, outcome: Outcome) -> str:
    title = TITLES[decision.decision]
    unfit = joined(list(decision.unfit))
    if decision.decision == "keep" and unfit:
        return f"{title}, but not for {unfit}"
    if decision.decision == "open" and decision.noted:
        title = "Still open"
    if decision.decision == "open" and unfit:
        rest = "still open" if decision.noted else "nothing else found against it, still open"
        title = f"Unfit for {unfit}; {rest}"
    if decision.decision == "too-little" and decision.scan:
        return f"{title}: scan {_short_scan(decision.scan)}"
    if decision.decision != "open":
        return title
    gaps = open_words(decision, outcome)
    if not decision.scan:
        return f"{title}: {joined(gaps)}" if gaps else title
    how = f"(scan {_short_scan(decision.scan)}: {decision.minutes} minutes)"
    settled = [words for words in gaps if words in _settled(decision, outcome)]
    others = [words for words in gaps if words not in settled]
    if settled and others:  # the scan stands beside what it settles, and nothing else
        return f"{title}: {joined(settled)} {how}; {joined(others)}"
    return f"{title}: {joined(gaps)} {how}" if gaps else f"{title} {how}"


def _short_scan(scan: str) -> str:
    """What to scan, in few words, to stand after "scan"."""
    return SHORT_SCANS.get(scan) or scan_words(scan).removeprefix("a scan of ")


def open_words(decision: Decision, outcome: Outcome) -> list[str]:
    """What is open, as the uses call it: each measure once."""
    mine = [each for each in outcome.uses if each.use in decision.uses]
    gaps = [words for each in mine if (words := _gap(each))]
    if outcome.one_look:
        gaps.append(MARKS)
    return list(dict.fromkeys(gaps))


def _settled(decision: Decision, outcome: Outcome) -> list[str]:
    """What the scan that is named would settle, as the uses call it."""
    mine = [each for each in outcome.uses if each.settled_by == decision.scan]
    gaps = [words for each in mine if (words := _gap(each))]
    return [*gaps, MARKS] if decision.scan == "paper-moved" else gaps


def _gap(verdict: UseVerdict) -> str:
    """The condition that leaves most open, as the file of uses calls it."""
    named = [each.words for each in verdict.conditions if each.measure == verdict.settles]
    return named[0] if named else ""


def _sentence(decision: Decision, diagnoses: Sequence[Diagnosis], outcome: Outcome) -> str:
    by_cause = {each.cause: each.heading or each.title for each in diagnoses}
    seen = [by_cause[cause] for cause in decision.causes if cause in by_cause]
    more = [f"{len(seen) - MOST_SEEN} more"] if len(seen) > MOST_SEEN else []
    words = SENTENCES[decision.rule].format(
        seen=joined([*seen[:1], *map(inside, seen[1:MOST_SEEN]), *more]),
        uses=joined(list(decision.uses)),
    )
    if decision.decision in ("open", "keep") and decision.noted:
        once = {each.cause for each in diagnoses if not each.confirmed and each.look}
        named = [
            inside(by_cause[cause]) + (" (seen once)" if cause in once else "")
            for cause in decision.noted
            if cause in by_cause
        ]
        words = f"Found, and decides nothing yet: {joined(named[:MOST_SEEN])}."
        if decision.decision == "keep":
            words = f"What was found harms no use that counts: {joined(named[:MOST_SEEN])}."
    said = (words, _of_uses(decision, outcome), _of_need(decision), _of_window(decision))
    return " ".join(filter(None, said))


def _of_need(decision: Decision) -> str:
    """What an unfit use means where the unit is not to go back anyhow."""
    left = decision.days_left
    if not decision.unfit or decision.decision not in ("keep", "open") or (left or 0) < 0:
        return ""
    need = "that use is" if len(decision.unfit) == 1 else "those uses are"
    return f"If {need} what you need it for, it is to go back."


def _of_uses(decision: Decision, outcome: Outcome) -> str:
    """Which uses it is fit for, where it is kept."""
    if decision.decision != "keep":
        return ""
    parts = []
    for word in dict.fromkeys(("fit", *map(use_word, outcome.uses))):
        uses = [each.use for each in outcome.uses if use_word(each) == word]
        if uses and word != "not judged":
            parts.append(f"{word} for {joined(uses)}")
    said = "; ".join(parts)
    return f"{said[:1].upper()}{said[1:]}." if said else ""


def _of_window(decision: Decision) -> str:
    left = decision.days_left
    if left is None or (decision.decision == "keep" and not decision.unfit):
        return ""
    if left < 0:
        return "The time to return it is over."
    if left == 0:
        return "Today is the last day to return it."
    return f"{left} {'day is' if left == 1 else 'days are'} left to return it."
