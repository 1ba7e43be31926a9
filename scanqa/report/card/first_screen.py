"""A record as its card: every value arrives measured, every word from `scanqa.words`."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.catalogue import FAMILIES, rows_of
from scanqa.model import Action, Judged, Record, UseVerdict
from scanqa.report.card.places import glass_of, listed
from scanqa.report.view import Act, Bar, Card, UseRow
from scanqa.words.numbers import inside, joined, with_unit
from scanqa.words.of_decision import acts
from scanqa.words.of_identity import unit_words
from scanqa.words.of_uses import (
    NOTHING_OPEN,
    next_scan,
    nothing_found,
    nothing_to_do,
    use_word,
    value_told,
)

MOST_ACTS = 3
MOST_GAPS = 6
LONGEST_ACT = 150  # characters
SIGMAS = 2.0  # as for the words of uses
AT_LEAST = {">=": True, ">": True, "<=": False, "<": False}
SHOWN_ON_GLASS = {
    "lines": "streaks.strongest_visible",
    "marks on the glass": "glass.marks",
    "evenness of light": "shading.nonuniformity",
}
NO_GAPS = frozenset({"pace", "processing", "claim", "driver"})  # nobody misses these


def card(record: Record) -> Card:
    """The first screen of a record."""
    found, more = listed(record)
    together = acts(record.actions, record.decision)
    shown = together[:MOST_ACTS]
    return Card(
        decision=record.decision.title or "Not decided",
        rule=record.decision.decision or "open",
        why=record.decision.sentence,
        unit=_unit(record),
        uses=tuple(map(_use, record.outcome.uses)),
        glass=glass_of(record),
        found=found,
        nothing_found=nothing_found(_unseen(record)),
        more=f"and {more} more below" if more else "",
        acts=tuple(Act(_first_sentence(each.text), _numbers(each, record)) for each in shown),
        more_acts=len(together) - len(shown),
        nothing_to_do=nothing_to_do(record.outcome),
        caution=_caution(shown),
        open=" ".join(filter(None, (_gaps(record), _next(record)))) or NOTHING_OPEN,
    )


def _numbers(act: Action, record: Record) -> str:
    """The findings that an act is for, by their numbers; what comes first is the gravest."""
    because = act.because.split("; ")
    marks = [
        str(at)
        for at, each in enumerate(record.diagnoses, 1)
        if each.title in because or each.cause == act.cause
    ]
    return joined(marks)


def _first_sentence(words: str) -> str:
    """The first sentence or two: what else there is to say stands with the finding."""
    parts = words.split(". ")
    kept = parts[0]
    for part in parts[1:]:
        if len(kept) + len(part) > LONGEST_ACT:
            break
        kept = f"{kept}. {part}"
    return kept if kept.endswith(".") else f"{kept}."


def _unseen(record: Record) -> tuple[str, ...]:
    """What the picture of the glass would show, had it been measured."""
    return tuple(words for words, name in SHOWN_ON_GLASS.items() if not record.named(name))


def _unit(record: Record) -> str:
    unit = record.identity
    words = unit_words(unit) if unit else ""
    if unit and (unit.made or unit.serial):
        return words
    gap = f"Make, model, serial not noted: scanqa scanners add {record.scanner}"
    return f"{gap}; {words}" if words else gap


def _next(record: Record) -> str:
    words = next_scan(record.outcome)
    minutes = record.decision.minutes
    same = record.decision.scan == record.outcome.next_scan
    return f"{words} About {minutes} minutes." if words and minutes and same else words


def _caution(shown: Sequence[Action]) -> str:
    """All that the actions ask to beware of, each sentence once."""
    said: dict[str, None] = {}
    for action in shown:
        for sentence in action.caution.replace("; ", ";\u00a0").split(". "):
            if sentence:
                said.setdefault(sentence.rstrip(".").replace(";\u00a0", "; ") + ".")
    return " ".join(said)


def _gaps(record: Record) -> str:
    """Families of which there is no value, in one line."""
    present = {m.name.partition(".")[0] for m in record.measures if m.value is not None}
    present |= {"streaks"} if record.streaks else set()
    present |= {"glass"} if record.glass_marks else set()
    missing = [
        inside(family.title)
        for family in FAMILIES.values()
        if family.name not in present and family.name not in NO_GAPS
    ]
    if not missing:
        return ""
    more = [f"{len(missing) - MOST_GAPS} more"] if len(missing) > MOST_GAPS else []
    return f"Not measured: {joined([*missing[:MOST_GAPS], *more])}."


# ---------------------------------------------------------------------------------- uses


def _use(verdict: UseVerdict) -> UseRow:
    condition = deciding(verdict)
    tone = verdict.fitness.replace(" ", "-")
    if condition is None or condition.value is None:
        return UseRow(verdict.use, use_word(verdict), tone, "", "", _sureness(verdict), None)
    return UseRow(
        verdict.use,
        use_word(verdict),
        tone,
        f"{condition.words} {value_words(condition)}",
        _limit(condition),
        _sureness(verdict),
        _bar(condition, tone),
    )


def deciding(verdict: UseVerdict) -> Judged | None:
    """The condition nearest to breaking (or furthest beyond) its limit among those that decide."""
    if verdict.fitness == "not judged":
        named = [each for each in verdict.conditions if each.measure == verdict.settles]
        return named[0] if named else None
    mine = [
        each
        for each in verdict.conditions
        if each.fitness == verdict.fitness and each.value is not None
    ]
    return max(mine, key=_nearness, default=None)


def _nearness(condition: Judged) -> float:
    """Value over limit, or limit over value: 1 where the limit is met."""
    value, limit = abs(condition.value or 0.0), abs(condition.fit)
    small, large = (limit, value) if not AT_LEAST[condition.operator] else (value, limit)
    return large / small if small > 0 else 0.0


def _sureness(verdict: UseVerdict) -> str:
    """How sure the word is, in few words."""
    unknown = [each.words for each in verdict.conditions if each.value is None]
    if verdict.fitness != "not judged":
        return f"sure, but not measured: {', '.join(unknown)}" if unknown else "sure"
    named = [each for each in verdict.conditions if each.measure == verdict.settles]
    if not named:
        return "not measured"
    if named[0].value is None:
        return f"not measured: {named[0].words}"
    return "its doubt reaches the limit" if _doubt_decides(named[0]) else "only a bound is known"


def _doubt_decides(condition: Judged) -> bool:
    """Whether the limit lies within the doubt of the number, be it one or a bound."""
    reach = SIGMAS * (condition.uncertainty or 0.0)
    return condition.bound == "ok" or abs((condition.value or 0.0) - condition.fit) <= reach


def value_words(condition: Judged) -> str:
    """The value of a condition with its doubt, or what bounds it."""
    # a bound stands without the doubt of its number, unless that decides
    shown = condition.bound == "ok" or _doubt_decides(condition)
    text = value_told(condition, condition.uncertainty if shown else None)
    return with_unit(text, rows_of(condition.measure)[0].unit)


def _limit(condition: Judged) -> str:
    return with_unit(f"{condition.fit:g}", rows_of(condition.measure)[0].unit)


def _bar(condition: Judged, tone: str) -> Bar:
    value = condition.value or 0.0
    reach = SIGMAS * (condition.uncertainty or 0.0)
    low: float | None = condition.low if condition.low is not None else value - reach
    high: float | None = condition.high if condition.high is not None else value + reach
    if condition.bound == "at-least":
        high = None
    if condition.bound == "at-most":
        low = None
    ends = [abs(end) if end is not None else None for end in (low, high)]
    return Bar(abs(value), ends[0], ends[1], condition.fit, AT_LEAST[condition.operator], tone)
