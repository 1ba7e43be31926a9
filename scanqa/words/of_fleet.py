"""A fleet in words: which scanner needs a hand, why, since when, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.catalogue import CATALOGUE
from scanqa.model.fleet import (
    Apart,
    Budget,
    Call,
    Due,
    Fleet,
    Helped,
    LampEnd,
    ModelKnown,
    Moved,
    News,
    Repair,
    UnitState,
    Way,
)
from scanqa.model.history import StreakLife
from scanqa.words.numbers import (
    inside,
    joined,
    label,
    number,
    printed,
    sentence_case,
    significant,
)
from scanqa.words.of_decision import decided_word
from scanqa.words.of_history import count_words, key_title, streak_words
from scanqa.words.of_identity import day_words

MOST_MOVED = 3  # measures that a call names; more are counted
MOST_UNREADABLE = 8
STATES: dict[UnitState, str] = {
    "called": "needs a hand",
    "seen once": "seen once, the next check decides",
    "steady": "steady",
    "too few checks": "too few checks to follow",
    "no check": "never checked",
}
WAYS: dict[Way, str] = {"worse": "worse", "better": "better", "different": "different"}
HELPED: dict[Helped, str] = {
    "helped": "It helped",
    "not shown": "No help is shown",
    "worse": "Worse than before",
    "mixed": "Some better, some worse",
    "not yet": "Not known yet: no check since",
}
WHAT_TO_DO = (
    "Scan the full set of a scanner that is named here and read its report: it names the cause, "
    "what to do and what to beware of. Note what was done with scanqa event, so that the next "
    "check tells whether it helped."
)
CAUTION = (
    "Unplug a scanner before it is opened; opened mains or high-voltage parts are work for "
    "qualified people, under local rules."
)


def fleet_title(fleet: Fleet) -> str:
    """Which scanner needs a hand today, in one line."""
    called, all_ = len(fleet.calls), len(fleet.units)
    if not all_:
        return "No scanner is in use"
    if not called:
        return f"None of {all_} scanners needs a hand today" if all_ > 1 else (
            f"{fleet.units[0].identity.scanner} needs no hand today"
        )  # fmt: skip
    first = fleet.calls[0].scanner
    verb = "needs" if called == 1 else "need"
    return (
        f"{called} of {all_} scanners {verb} a hand today: {first}{' first' if called > 1 else ''}"
    )


def fleet_sentence(fleet: Fleet) -> str:
    """What else is to be known at once: late checks, what was seen once, what cannot be read."""
    late = sum(due.late > 0 for due in fleet.due)
    parts = []
    if late:
        parts.append(f"{late} {'check is' if late == 1 else 'checks are'} late.")
    if fleet.seen_once:
        names = list(fleet.seen_once[:MOST_MOVED])
        rest = len(fleet.seen_once) - len(names)
        shown = joined([*names, f"{rest} more"] if rest else names)
        parts.append(f"Seen once, so that the next check decides: {shown}.")
    return " ".join(parts) or "No check is late, and nothing waits for a second look."


def trouble_lines(fleet: Fleet) -> list[str]:
    """What keeps a part of the fleet from being seen, a line each."""
    lines = [
        f"{joined(list(names))} go by one serial number: one unit, or a slip of the pen"
        for names in fleet.same_serial
    ]
    lines += [
        f"record {at} of {scanner} cannot be read and is left out: measure its scans again"
        for scanner, at in fleet.unreadable[:MOST_UNREADABLE]
    ]
    more = len(fleet.unreadable) - MOST_UNREADABLE
    return [*lines, f"{more} more records cannot be read"] if more > 0 else lines


# ----------------------------------------------------------------------------------- calls


def call_heading(call: Call) -> str:
    """What is the matter, in few words."""
    parts = []
    if call.decision is not None:
        title = call.decision.title or decided_word(call.decision.decision)
        parts.append(title)
    if call.lines:
        parts.append(_lines_words(call.lines))
    if call.moved:
        more = len(_by_measure(call.moved)) - 1
        and_more = f" and {more} more" if more else ""
        parts.append(f"{label(call.moved[0].key.name)}{and_more} moved")
    return "; ".join([parts[0], *map(inside, parts[1:])])


def _lines_words(lines: Sequence[StreakLife]) -> str:
    if len(lines) == 1:
        return f"New {streak_words(lines[0])}"
    return f"{len(lines)} new lines"


def call_sentences(call: Call) -> list[str]:
    """Why, with numbers; the costliest first."""
    said = []
    if call.decision is not None and call.decision.sentence:
        said.append(call.decision.sentence)
    said += [
        f"{sentence_case(streak_words(line))} of {number(line.contrast_percent, 1)} % since "
        f"{day_words(line.first[:10])}."
        for line in call.lines[:MOST_MOVED]
    ]
    measures = _by_measure(call.moved)
    said += [moved_words(some) for some in measures[:MOST_MOVED]]
    if len(measures) > MOST_MOVED:
        said.append(f"{sentence_case(count_words(len(measures) - MOST_MOVED))} more moved with it.")
    return said


def _by_measure(moved: Sequence[Moved]) -> list[list[Moved]]:
    """Colours and directions of one measure together, the costliest first."""
    together: dict[str, list[Moved]] = {}
    for each in moved:
        together.setdefault(each.key.name, []).append(each)
    return list(together.values())


def moved_words(moved: Sequence[Moved]) -> str:
    """A change of a measure with its day; of several colours or directions the costliest."""
    first = moved[0]
    was, now = (_number(first.key.name, v) for v in (first.before, first.now))
    more = len(moved) - 1
    also = f" ({'one' if more == 1 else more} more like it)" if more else ""
    since = day_words(min(m.since for m in moved)[:10])
    return f"{key_title(first.key)}: {was} before, {now} now{also}, since {since}."


def _number(name: str, value: float) -> str:
    return printed(value, None, name)


def cost_words(call: Call) -> str:
    """What it costs the work."""
    if call.days_left is not None:
        left = f"{call.days_left} {'day' if call.days_left == 1 else 'days'} left to return it"
        return f"{left}; unfit for {joined(list(call.unfit))}" if call.unfit else left
    if call.unfit:
        return f"unfit for {joined(list(call.unfit))}"
    if call.cost >= 1:
        return f"{significant(call.cost, 2)} times what matters to the work"
    if call.cost > 0:
        return "early: less than matters to the work yet"
    return "decided by its last checks"


def since_words(call: Call) -> str:
    """Since when."""
    return f"since {day_words(call.since[:10])}, called {day_words(call.called[:10])}"


# ----------------------------------------------------------------------------------- lists


def due_words(due: Due) -> str:
    """How late a check is."""
    if not due.last:
        return "never checked"
    if due.late > 0:
        return f"{due.late} {'day' if due.late == 1 else 'days'} late"
    return "today" if due.late == 0 else f"in {-due.late} {'day' if due.late == -1 else 'days'}"


def news_said(news: News) -> str:
    """One thing that is new since a month ago."""
    if news.kind == "call":
        return "called: needs a hand"
    if news.kind == "event":
        return f"done: {news.after}"
    if news.kind == "first":
        return f"first check: {inside(decided_word(news.after))}"
    return (
        f"decided: {inside(decided_word(news.after))} (before: {inside(decided_word(news.before))})"
    )


def apart_words(apart: Apart) -> str:
    """How a scanner differs from the others of its model."""
    own, usual = (_number(apart.key.name, v) for v in (apart.value, apart.usual))
    return (
        f"{key_title(apart.key)}: {own}, the other {apart.count - 1} have {usual} on average; "
        f"{WAYS[apart.way]}"
    )


def model_words(known: ModelKnown, fewest: int) -> str:
    """Whether the scanners of a model are enough to compare."""
    said = "compared with each other" if known.compared else f"too few to compare, {fewest} needed"
    return f"{known.count} known; {said}"


def lamp_end_words(lamp: LampEnd) -> tuple[str, str]:
    """How much light is left, and when half of it will be."""
    left = f"{number(100 * lamp.left, 0)} % of its first light"
    months = lamp.half_in_months
    if lamp.left <= 0.5:
        return left, "half of it is gone"
    if months is None or months.latest is None:
        return left, "not within five years at this pace"
    low, high = max(round(months.earliest), 0), max(round(months.latest), 1)
    return left, f"half in {low} to {high} months" if low < high else f"half in {high} months"


def repair_words(repair: Repair) -> str:
    """What the checks on both sides of an event show."""
    effect = repair.effect
    parts = [f"{streak_words(line)} gone" for line in effect.went]
    parts += [f"{streak_words(line)} new" for line in effect.came]
    parts += [
        f"{inside(key_title(s.key))} {s.verdict}, {_number(s.key.name, s.before)} before and "
        f"{_number(s.key.name, s.after)} after"
        for s in effect.shifts[:MOST_MOVED]
    ]
    more = len(effect.shifts) - MOST_MOVED
    parts += [f"{more} more"] if more > 0 else []
    if not parts:
        return f"Nothing beyond scatter that matters, in {count_words(effect.compared)}."
    return f"{sentence_case('; '.join(parts))}."


def budget_lines(budget: Budget) -> list[str]:
    """How false calls are held, and what the fleet itself shows of its scatter."""
    lines = [
        f"At most {significant(budget.a_quarter)} false call in three months is to be expected of "
        "the whole fleet, however many scanners it has: the charts of each are set by all "
        f"{budget.series} measures that are followed and some {budget.checks_a_quarter:.0f} checks "
        "in three months. The larger the fleet, the larger must a change of one scanner be, or the "
        "longer must it last, to be called.",
        "A call needs two checks: one that alarms, and those after it that stay at least half of "
        "the step away. What decisions of single checks say is not part of this; they are called "
        "when two checks in a row say it, or while the unit can be returned.",
        "Outliers within a model and fading lamps are lists, not calls: of those that they name "
        "one in twenty is expected to be there by chance.",
    ]
    wide = sorted(budget.widened.items(), key=lambda item: -item[1])
    wide = [(name, wider) for name, wider in wide if wider >= LEAST_WIDE]
    if wide:
        named = joined([f"{inside(CATALOGUE[n].label)} × {number(w, 1)}" for n, w in wide[:5]])
        lines.append(
            "Over the whole fleet these measures scatter more from check to check than steady ones "
            f"do (season, paper lots, a drift that all share), and their limits are wider: {named}"
            f"{f' and {len(wide) - 5} more' if len(wide) > 5 else ''}."
        )
    return lines


LEAST_WIDE = 1.1  # limits wider by less are not worth a word
