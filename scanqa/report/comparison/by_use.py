"""Two sides by use: a word for each, what decides it, and how far they differ in that."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from scanqa.catalogue import CATALOGUE, rows_of
from scanqa.model import Judged, Record, UseVerdict
from scanqa.model.compared import Comparison, Difference
from scanqa.report.card.first_screen import deciding, value_words
from scanqa.words.numbers import interval, joined, signed, with_unit
from scanqa.words.of_comparison import GAPS, use_note
from scanqa.words.of_uses import use_word

RANKS = {"fit": 0, "limited": 1, "unfit": 2}


@dataclass(frozen=True, slots=True)
class UseBeside:
    """One use on both sides; tones are for colour."""

    use: str
    first: str
    first_tone: str
    second: str
    second_tone: str
    decides: str
    difference: str


def use_rows(c: Comparison, sides: tuple[Record, Record]) -> tuple[UseBeside, ...]:
    """A row for each use that both sides were judged for."""
    second = {verdict.use: verdict for verdict in sides[1].outcome.uses}
    return tuple(
        _row(verdict, second[verdict.use], c)
        for verdict in sides[0].outcome.uses
        if verdict.use in second
    )


def better_for(sides: tuple[Record, Record]) -> tuple[list[str], list[str]]:
    """Uses for which the first side is better, and those for which the second is, for sure."""
    second = {verdict.use: verdict for verdict in sides[1].outcome.uses}
    found: tuple[list[str], list[str]] = ([], [])
    for verdict in sides[0].outcome.uses:
        other = second.get(verdict.use)
        if other is None:
            continue
        ours, theirs = _span(verdict), _span(other)
        if ours[1] < theirs[0]:
            found[0].append(verdict.use)
        elif theirs[1] < ours[0]:
            found[1].append(verdict.use)
    return found


def buyer_sentence(c: Comparison, sides: tuple[Record, Record]) -> str:
    """What the uses say to someone who has to choose."""
    first, second = better_for(sides)
    parts = [
        f"{name} is better for {joined(uses)}"
        for name, uses in ((c.first, first), (c.second, second))
        if uses
    ]
    if not parts:
        return "For no use is one of them shown to be better than the other."
    rest = [v.use for v in sides[0].outcome.uses if v.use not in (*first, *second)]
    same = f"; for {joined(rest)} no difference is shown" if rest else ""
    return f"{'; '.join(parts)}{same}."


def _span(verdict: UseVerdict) -> tuple[int, int]:
    """The best and the worst word that is possible."""
    words = verdict.between or ((verdict.fitness,) if verdict.fitness in RANKS else ())
    ranks = [RANKS[word] for word in words] or [0, 2]
    return min(ranks), max(ranks)


def _row(ours: UseVerdict, theirs: UseVerdict, c: Comparison) -> UseBeside:
    condition = _condition(ours, theirs)
    pair = [_same_condition(verdict, condition) for verdict in (ours, theirs)]
    words = condition.words if condition else "nothing known on either side"
    values = [
        value_words(each) if each and each.value is not None else "not known" for each in pair
    ]
    return UseBeside(
        ours.use,
        use_word(ours),
        ours.fitness.replace(" ", "-"),
        use_word(theirs),
        theirs.fitness.replace(" ", "-"),
        f"{words}: {values[0]} and {values[1]}" if condition else words,
        (_difference(condition, c) or _not_compared(pair)) if condition else "",
    )


def _condition(ours: UseVerdict, theirs: UseVerdict) -> Judged | None:
    """What decides the worse side, that of the other if nothing does."""
    order = sorted((ours, theirs), key=_span, reverse=True)
    return next((found for each in order if (found := deciding(each)) is not None), None)


def _same_condition(verdict: UseVerdict, condition: Judged | None) -> Judged | None:
    if condition is None:
        return None
    same = [c for c in verdict.conditions if c.measure == condition.measure]
    return same[0] if same else None


def _difference(condition: Judged, c: Comparison) -> str:
    """The difference with its interval; empty where the measure was not compared."""
    found = [row for row in c.rows if _same(row, condition) and row.difference is not None]
    if not found:
        return ""
    row = max(found, key=lambda each: abs(each.difference or 0.0))
    parts = (*row.key[1:3], f"{row.key.edge_kind} edges" if row.key.edge_kind else "")
    which = f", {', '.join(filter(None, parts))}" if len(found) > 1 else ""
    note = use_note(row, condition.statistic)
    ends, digits = interval(row.low or 0.0, row.high or 0.0, CATALOGUE[row.key.name].digits)
    said = f"{with_unit(signed(row.difference or 0.0, digits), row.unit)} ({ends}){which}"
    return f"{said}: {note}" if note else said


def _not_compared(pair: Sequence[Judged | None]) -> str:
    """That there is no difference to be told, and why."""
    known = [each for each in pair if each and each.value is not None]
    if not known:
        return "not measured"
    if len(known) < len(pair):
        return f"not compared: {GAPS['one-side']}"
    bound = any(each.bound != "ok" for each in known)
    return f"not compared: {GAPS['bound']}" if bound else "not compared"


def _same(row: Difference, condition: Judged) -> bool:
    return row.key.name in {each.name for each in rows_of(condition.measure)}
