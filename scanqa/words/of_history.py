"""Histories in words: series, events, lamp, streaks by place, and what is new."""

from __future__ import annotations

import math
from collections.abc import Sequence

from scanqa.catalogue import CATALOGUE, FAMILIES
from scanqa.catalogue.lamp_rules import LampRule, lamp_rules
from scanqa.model import Key
from scanqa.model.history import (
    DAYS_PER_MONTH,
    Change,
    Effect,
    Health,
    Lamp,
    LampSign,
    News,
    NewsItem,
    Series,
    Shift,
    StreakLife,
)
from scanqa.words.glossary import DIRECTION_WORDS
from scanqa.words.numbers import inside, interval, label

LAMP_SIGNS = {
    "light": "light index",
    "settle": "settling time",
    "balance": "channel balance",
    "tint": "neutrality",
    "haze": "stray light",
}


def key_words(key: Key) -> str:
    """A measure as it stands inside a sentence: ``SFR50 of this sheet's scan across``."""
    return inside(key_title(key))


def family_words(key: Key) -> str:
    """The measure of a key with its family: ``sharpness: SFR50 of this sheet's scan``."""
    family, words = inside(FAMILIES[key.name.partition(".")[0]].title), inside(label(key.name))
    return words if words == family else f"{family}: {words}"


def key_title(key: Key) -> str:
    """A measure in words, with direction, channel and kind of edge."""
    words = label(key.name)
    way = DIRECTION_WORDS.get(key.direction, key.direction)
    if way and not words.endswith(way):
        words += f" {way}"
    colour = key.channel if key.channel != "luma" else ""
    rest = [colour, f"{key.edge_kind} edges" if key.edge_kind else ""]
    return ", ".join([words, *(part for part in rest if part)])


def place_words(axis: str, at_mm: float) -> str:
    """Where a line crosses the other axis: ``x 71.3 mm``."""
    return f"{'x' if axis == 'travel' else 'y'} {at_mm:.1f} mm"


def streak_words(streak: StreakLife) -> str:
    """``dark line at x 71.3 mm``."""
    return f"{streak.polarity} line at {place_words(streak.axis, streak.at_mm)}"


def count_words(count: int) -> str:
    """``1 measure`` or ``5 measures``."""
    return "1 measure" if count == 1 else f"{count} measures"


# ---------------------------------------------------------------------------------- series


def health_sentence(health: Health) -> str:
    """How a scanner fares, in one sentence."""
    scanner, series = health.scanner, health.series
    if not health.checks:
        return f"No check of {scanner} is on record."
    moved = [s for s in series if s.state in ("changed", "drifting")]
    span = f"{health.span[0][:10]} to {health.span[1][:10]}, {health.checks} checks"
    if all(s.state == "too few checks" for s in series):
        return f"{scanner}: too few checks yet ({span}) to speak of a history."
    if not moved:
        return f"{scanner} is steady ({span}): no change and no trend shown."
    names = "; ".join(dict.fromkeys(family_words(s.key) for s in moved))
    return f"{scanner} has moved ({span}): {names}."


def series_sentence(s: Series) -> str:
    """What the charts say of one measure."""
    recent = [c for c in s.changes if c.began >= s.starts[-1]]
    if s.state == "too few checks":
        count = len(s.dates) - s.starts[-1]
        said = [f"Too few checks ({count}) since the start or the last event."]
    else:
        said = _moves(s, recent)
        if s.limit is not None:
            said.append(_limit_words(s, _number(s.key, s.limit)))
    moves = " ".join(said) or "Steady: no change and no trend shown."
    return f"{moves} {method_sentence(s)}".rstrip()


def method_sentence(s: Series) -> str:
    """What another method of measuring has changed; empty if none has."""
    if s.method is None:
        return ""
    row, found = CATALOGUE[s.key.name], s.method
    shift, least, most = (
        f"{v:+.{row.digits + 1}f}" for v in (found.shift, found.least, found.most)
    )
    of = "1 check" if found.checks == 1 else f"{found.checks} checks"
    between = "" if found.checks == 1 else f", {least} to {most}"
    return (
        f"Measured by another method than before (version {found.before}, now {found.now}): "
        f"{of} measured by both give {shift} {row.unit}".rstrip()
        + f"{between}. That is no change of the scanner."
    )


def _number(key: Key, value: float) -> str:
    row = CATALOGUE[key.name]
    return f"{value:.{row.digits}f} {row.unit}".strip()


def _moves(s: Series, recent: Sequence[Change]) -> list[str]:
    """Sentences on changes and drift; none where nothing is shown."""
    parts = [
        f"Changed about {s.dates[change.began][:10]} from {_number(s.key, change.before)} to "
        f"{_number(s.key, change.after)} (noticed {s.dates[change.alarm][:10]})."
        for change in recent
    ]
    if s.drift is not None:
        row, drift = CATALOGUE[s.key.name], s.drift
        # A drift raises one alarm after another: the first says when it began.
        rate, low, high = (
            f"{v:+.{row.digits + 1}f}" for v in (drift.per_month, drift.low, drift.high)
        )
        parts = [*parts[:1], f"Drifts by {f'{rate} {row.unit}'.strip()} a month ({low} to {high})."]
    return parts


def _limit_words(s: Series, limit: str) -> str:
    if s.beyond:
        return f"The limit {limit} is already crossed."
    meets = s.crossing
    if meets is None:
        return f"No trend shown, so no date for the limit {limit}."
    today = s.days[-1]
    if meets.likely < s.days[s.line_from]:
        return f"The trend leads away from the limit {limit}."
    soon = max(0.0, meets.earliest - today) / DAYS_PER_MONTH
    if meets.latest is None:
        return f"The limit {limit} will not be met within {math.floor(soon)} months."
    late = (meets.latest - today) / DAYS_PER_MONTH
    if late < 1:
        return f"The limit {limit} is met about now."
    span = f"{math.floor(soon)} to {math.ceil(late)} months"
    return f"The limit {limit} will be met in {span} if this goes on."


# ---------------------------------------------------------------------------------- events


def effect_sentence(effect: Effect) -> str:
    """What an event changed."""
    head = f"{effect.event.at[:10]}, {effect.event.words}: "
    if not effect.compared:
        return head + "no checks on both sides yet to compare."
    parts = [f"{streak_words(streak)} gone" for streak in effect.went]
    parts += [f"{streak_words(streak)} new" for streak in effect.came]
    parts += [_shift_words(shift) for shift in effect.shifts]
    if not parts:
        return head + f"no change beyond scatter that matters, in {count_words(effect.compared)}."
    rest = count_words(effect.compared - len(effect.shifts))
    return head + f"{'; '.join(parts)}. No change that matters in {rest}."


def _shift_words(shift: Shift) -> str:
    digits = CATALOGUE[shift.key.name].digits
    unit = f" {shift.unit}" if shift.unit else ""
    return (
        f"{key_words(shift.key)} {shift.verdict}, from {shift.before:.{digits}f} to "
        f"{shift.after:.{digits}f}{unit} (by {interval(shift.low, shift.high, digits)[0]})"
    )


# ------------------------------------------------------------------------------------ lamp


def lamp_words(lamp: Lamp) -> LampRule:
    """The rule that fits: verdict, sentence, action and caution."""
    return lamp_rules()[lamp.rule]


def half_light_words(lamp: Lamp) -> str:
    """When half of the light will be gone, as a range; empty where that is not shown."""
    months = lamp.half_in_months
    if months is None or months.latest is None:
        return ""
    low, high = (max(round(end), 0) for end in (months.earliest, months.latest))
    if high == 0:
        return "half of it is gone"
    return (
        f"at this pace half of it is gone in {low} to {high} months"
        if low < high
        else (f"at this pace half of it is gone in about {high} month{'s' if high > 1 else ''}")
    )


def lamp_sign_words(sign: LampSign) -> tuple[str, str]:
    """What a sign is called, and how it fares."""
    return LAMP_SIGNS[sign.name], _lamp_state(sign)


def _lamp_state(sign: LampSign) -> str:
    first, now = sign.first or 0.0, sign.now or 0.0
    if sign.name == "light":
        return _light_words(sign.state, now, sign.since)
    if sign.name == "balance":
        return _balance_words(sign, now)
    if sign.state == "unknown":
        return "not measured in enough checks"
    unit = CATALOGUE[{"settle": "drift.settle_time", "tint": "colour.neutrality"}.get(
        sign.name, "veil.stray_light"
    )].unit  # fmt: skip
    said = f"{first:.3g} to {now:.3g} {unit}".strip()
    if sign.state == "worse":
        return f"risen, {said}"
    return "as before" if sign.state == "same" else f"lower, {said}"


def _light_words(state: str, ratio: float, since: str) -> str:
    if state == "unknown":
        return "not known: too few checks with two blank scans"
    if state == "same":
        return f"as before ({100 * ratio:.0f} % of the first checks)"
    return f"{100 * ratio:.0f} % of the first checks, since about {since}"


def _balance_words(sign: LampSign, ratio: float) -> str:
    if sign.state == "unknown":
        why = "too few checks" if sign.channel else "takes colour scans of blank paper"
        return f"not known: {why}"
    if sign.state == "same":
        return "as before"
    return f"{sign.channel} against green moved by {100 * (ratio - 1):+.0f} %"


# ------------------------------------------------------------------------------------ news


def news_sentence(news: News) -> str:
    """What is new since the check before."""
    if not news.items:
        return f"Nothing new since {news.since}."
    return f"Since {news.since}: {'; '.join(map(news_words, news.items))}."


def news_words(item: NewsItem) -> str:
    """One piece of news."""
    numbers, terms = item.numbers, item.terms
    if item.kind in ("new-streak", "streak-gone"):
        words = (
            f"{terms['polarity']} line at {place_words(terms['axis'], numbers['at_mm'])} "
            f"({numbers['contrast_percent']:.1f} %)"
        )
        return f"new {words}" if item.kind == "new-streak" else f"{words} gone"
    if item.kind in ("new-mark", "mark-gone"):
        words = (
            f"{terms['polarity']} {terms['kind']} on the glass at x {numbers['x_mm']:.0f}, "
            f"y {numbers['y_mm']:.0f} mm"
        )
        return f"new {words}" if item.kind == "new-mark" else f"{words} gone"
    if item.kind == "measure" and item.key is not None:
        row = CATALOGUE[item.key.name]
        return (
            f"{key_words(item.key)} went from {numbers['before']:.{row.digits}f} to "
            f"{_number(item.key, numbers['after'])}"
        )
    if item.kind == "outcome":
        return f"the outcome went from {terms['before']} to {terms['after']}"
    things = "lines" if "streaks" in item.kind else "marks on the glass"
    said = f"{things}: {numbers['count']:.0f} more"
    return f"new {said}" if item.kind.endswith("new") else f"{said} gone"
