"""A scanner's history to what the page shows of it: words, small multiples, a table."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from scanqa.catalogue import CATALOGUE
from scanqa.model import Bounds
from scanqa.model.history import Effect, Health, Past, Series, Shift, StreakLife
from scanqa.report.history.answer import (
    STATES,
    answer,
    direction,
    moved_ones,
    one_of_each,
    tone,
    word,
)
from scanqa.report.history.traces import Trace
from scanqa.report.view import Cell, Table
from scanqa.words.numbers import (
    MINUS,
    inside,
    interval,
    joined,
    label,
    number,
    plain_value,
    sentence_case,
    signed,
    with_unit,
)
from scanqa.words.of_comparison import together_words
from scanqa.words.of_history import (
    count_words,
    key_title,
    lamp_sign_words,
    lamp_words,
    news_sentence,
    series_sentence,
    streak_words,
)

MOST_ON_REPORT = 3  # small multiples on a scanner's report; its history page shows up to MOST
MOST = 36
FEWEST = 3  # checks that make a curve
MOST_STREAKS = 20  # in the table of lines by place
# Shown when nothing has moved, in this order: what ages or gets dirty.
FIRST = (
    "noise.light_index", "noise.snr", "streaks.strongest_visible", "streaks.column_pattern",
    "glass.marks", "shading.nonuniformity", "sharpness.sheet_sfr10", "edges.shadow",
    "colour.neutrality", "drift.settle_time", "pace.seconds_per_scan",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class EventView:
    """Something that was done, and what it changed."""

    mark: str
    date: str
    words: str
    sentence: str
    table: Table | None


@dataclass(frozen=True, slots=True)
class LampView:
    """The lamp in words; `quiet` if nothing is the matter with it."""

    verdict: str
    sentence: str
    signs: tuple[tuple[str, str], ...]
    action: str
    caution: str
    quiet: bool


@dataclass(frozen=True, slots=True, eq=False)
class PastView:
    """What a page shows of a scanner's history, in reading order.

    Attributes
    ----------
    word, tone : str
        The verdict, and the colour class it goes in (``fit``, ``limited``, ``open``).
    news : str
        What is new since the check before; empty where that was not asked.
    answer : str
        What the history says, in one line.
    traces, steady : tuple of Trace
        The small multiples: those that moved; the others, which are folded.
    more : int
        Measures that are not drawn.
    """

    scanner: str
    span: str
    answer: str
    word: str
    tone: str
    sentence: str
    news: str
    lamp: LampView | None
    events: tuple[EventView, ...]
    streaks: Table | None
    traces: tuple[Trace, ...]
    steady: tuple[Trace, ...]
    more: int
    table: Table
    notes: tuple[str, ...]


def past_view(past: Past, *, most: int = MOST_ON_REPORT) -> PastView:
    """Everything a page shows of a history; `most` small multiples at most."""
    health = past.health
    drawable = [s for s in _ranked(health.series) if len(s.values) >= FEWEST]
    chosen = drawable[:most]
    moved = one_of_each(moved_ones(drawable))[:most]
    marks = {event.at + event.words: _mark(i) for i, event in enumerate(health.events)}
    lamp = _lamp(health)
    return PastView(
        scanner=health.scanner,
        span=_span(health),
        answer=answer(health, lamp_quiet=lamp is None or lamp.quiet),
        word=word(health),
        tone=tone(health),
        sentence=_sentence(health, lamp),
        news=on_page(news_sentence(past.news)) if past.news else "",
        lamp=lamp,
        events=tuple(_event(effect, marks) for effect in reversed(health.effects)),
        streaks=_streak_table(health.streaks),
        traces=tuple(_trace(s, health, marks) for s in moved),
        steady=tuple(_trace(s, health, marks) for s in chosen if s not in moved_ones(drawable)),
        more=len(health.series) - len(chosen),
        table=_table(health.series),
        notes=tuple(_notes(health)),
    )


def day_words(moment: str) -> str:
    """``25 November 2026`` of an ISO date."""
    at = datetime.fromisoformat(moment)
    return f"{at.day} {at:%B %Y}"


def on_page(words: str) -> str:
    """Words of the records as the page prints them: dates in words, true minus signs."""
    words = re.sub(r"\d{4}-\d\d-\d\d", lambda found: day_words(found[0]), words)
    return re.sub(r"(?<![\w.])-(?=\d)", MINUS, words)


def _ranked(series: Sequence[Series]) -> list[Series]:
    """What moved first, then what ages or gets dirty, then the rest."""

    def rank(s: Series) -> tuple[int, int]:
        known = [i for i, name in enumerate(FIRST) if s.key.name.startswith(name)]
        moved = s.state in ("changed", "drifting")
        return (0 if moved else 1 if known else 2), min(known, default=len(FIRST))

    return sorted(series, key=rank)


def _lamp(health: Health) -> LampView | None:
    """The lamp as the page shows it; None where no check looked at its light."""
    if health.lamp is None or not any(s.key.name == "noise.light_index" for s in health.series):
        return None
    rule = lamp_words(health.lamp)
    verdict = rule.verdict if "lamp" in rule.verdict else f"lamp: {rule.verdict}"
    return LampView(
        sentence_case(verdict),
        rule.sentence,
        tuple((what, on_page(words)) for what, words in map(lamp_sign_words, health.lamp.signs)),
        rule.action,
        rule.caution,
        health.lamp.rule in ("no-sign", "not-known"),
    )


def _sentence(health: Health, lamp: LampView | None) -> str:
    moved = moved_ones(health.series)
    if not moved:
        if all(s.state == "too few checks" for s in health.series):
            return "It takes four checks alike before a history can be told."
        return "No change and no trend is shown since the first check or the last event."
    parts = [] if lamp is None or lamp.quiet else [f"{lamp.verdict}."]
    for way, head in (("worse", "Worse"), ("different", "Different"), ("better", "Better")):
        names = dict.fromkeys(inside(label(s.key.name)) for s in moved if direction(s) == way)
        if names:
            listed = [*names][:5]
            if len(names) > 5:
                listed.append(f"{len(names) - 5} more")
            parts.append(f"{head} than it was: {joined(listed)}.")
    return " ".join(parts)


def _span(health: Health) -> str:
    if not health.checks:
        return "no check on record"
    first, last = (day_words(moment) for moment in health.span)
    if health.checks == 1:
        return f"1 check, {first}"
    return f"{health.checks} checks, {first} to {last}"


# ------------------------------------------------------------------------------------ events


def _mark(i: int) -> str:
    return chr(ord("A") + i) if i < 26 else str(i + 1)


def _event(effect: Effect, marks: dict[str, str]) -> EventView:
    event = effect.event
    lines = [f"The {streak_words(streak)} is gone." for streak in effect.went]
    lines += [f"A {streak_words(streak)} is new." for streak in effect.came]
    if not effect.compared:
        said = "There are no checks on both sides yet to compare."
    elif not effect.shifts:
        said = f"No change beyond scatter that matters, in {count_words(effect.compared)}."
    else:
        rest = effect.compared - len(effect.shifts)
        said = f"No change beyond scatter that matters in {count_words(rest)}."
    rows = tuple(_shift(shift) for shift in effect.shifts)
    head = ("Measure", "Before", "After", "Difference")
    mark = marks[event.at + event.words]
    together = f"intervals that {together_words(effect.together)}"
    table = Table(f"What {mark} changed, with {together}", head, rows) if rows else None
    said = " ".join([*lines, said])
    return EventView(mark, day_words(event.at), sentence_case(event.words), said, table)


def _streak_table(streaks: Sequence[StreakLife]) -> Table | None:
    """Lines by their place: what is there now first, then what is gone, the latest first."""
    if not streaks:
        return None
    there = [s for s in streaks if not s.gone]
    gone = sorted((s for s in streaks if s.gone), key=lambda s: s.gone, reverse=True)
    rows = tuple(
        (
            Cell(sentence_case(streak_words(s)), ("visible" if s.visible else "too faint to see",)),
            Cell(with_unit(number(s.contrast_percent, 2), "%")),
            Cell("from the first check" if s.since_start else day_words(s.first)),
            Cell(f"gone {day_words(s.gone)}" if s.gone else "still there"),
        )
        for s in [*there, *gone][:MOST_STREAKS]
    )
    head = ("Line", "At its strongest", "Seen", "Now")
    return Table("Lines by their place", head, rows)


def _shift(shift: Shift) -> tuple[Cell, ...]:
    digits, unit = CATALOGUE[shift.key.name].digits, shift.unit
    ends, decimals = interval(shift.low, shift.high, digits)
    return (
        Cell(key_title(shift.key), (shift.verdict,)),
        Cell(with_unit(number(shift.before, digits), unit)),
        Cell(with_unit(number(shift.after, digits), unit)),
        Cell(with_unit(signed(shift.difference, decimals), unit), (ends,)),
    )


# ---------------------------------------------------------------------- small multiples, table


def _trace(s: Series, health: Health, marks: dict[str, str]) -> Trace:
    unit = f", {s.unit}" if s.unit else ""
    dpi = f" at {s.key.dpi} dpi" if s.key.dpi else ""
    now = _value(s, -1)
    shown = [e for e in health.events if s.dates[0] <= e.at <= health.span[1]]
    done = "; ".join(f"{marks[e.at + e.words]}: {e.words}" for e in shown)
    alt = (
        f"{key_title(s.key)}: {len(s.values)} checks, {day_words(s.dates[0])} to "
        f"{day_words(s.dates[-1])}, "
        f"last {now}. {on_page(series_sentence(s))}" + (f" Events: {done}." if done else "")
    )
    return Trace(
        title=f"{key_title(s.key)}{unit}",
        caption=_caption(s, now, dpi),
        alt=alt,
        state=s.state,
        dates=s.dates,
        values=s.values,
        uncertainties=s.uncertainties,
        normal=s.normal,
        events=tuple((e.at, marks[e.at + e.words]) for e in shown),
        changed=_changed_from(s),
        trend=None
        if s.drift is None
        else (
            (s.dates[s.days.index(s.drift.days[0])], s.drift.values[0]),
            (s.dates[-1], s.drift.values[1]),
        ),
        limit=s.limit,
        span=health.span,
    )


def _value(s: Series, at: int) -> str:
    """A value of a series, or its bound."""
    of = s.bounds[at] if s.bounds else Bounds()
    return with_unit(plain_value(s.values[at], of, CATALOGUE[s.key.name].digits), s.unit)


def _changed_from(s: Series) -> tuple[int, ...]:
    """Checks off the normal of their stretch: from each change to the next event or change back."""
    found: set[int] = set()
    for start, stop in zip(s.starts, [*s.starts[1:], len(s.values)], strict=True):
        begin = next((c.began for c in s.changes if start <= c.began < stop), None)
        if begin is not None:
            found |= set(range(begin, stop))
    return tuple(sorted(found))


def _caption(s: Series, now: str, dpi: str) -> str:
    plain = s.state == "steady" and s.limit is None and s.method is None
    said = "Steady." if plain else on_page(series_sentence(s))
    return f"Last{dpi}: {now}. {said}"


def _table(series: Sequence[Series]) -> Table:
    rows = []
    for s in _ranked(series):
        dpi = (f"at {s.key.dpi} dpi",) if s.key.dpi else ()
        left = (f"{s.left_out} left out: other dpi or method",) if s.left_out else ()
        rows.append(
            (
                Cell(key_title(s.key), dpi),
                Cell(_value(s, 0), (day_words(s.dates[0]),)),
                Cell(_value(s, -1), (day_words(s.dates[-1]),)),
                Cell(str(len(s.values)), left),
                Cell(STATES[s.state], (on_page(series_sentence(s)),)),
            )
        )
    head = ("Measure", "First", "Last", "Checks", "What the charts say")
    return Table("Every measure over time", head, tuple(rows), folded=True)


def _notes(health: Health) -> Iterator[str]:
    if health.checks < health.on_record:
        yield f"The newest {health.checks} of {health.on_record} checks on record are shown."
    if any(s.left_out for s in health.series):
        yield (
            "Checks at another dpi, or by an older method of measuring, are left out of a measure "
            "that depends on it; scanqa batch --again measures old scans anew."
        )
