"""What a history says, in one line: the lamp first if it fades, else what moved, else nothing."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.catalogue import CATALOGUE
from scanqa.model.history import Health, Series
from scanqa.words.numbers import inside, joined, label
from scanqa.words.of_history import half_light_words
from scanqa.words.of_identity import day_words

MOST_MOVED = 4  # charts of what moved; one of each measure
STATES = {
    "steady": "Steady",
    "changed": "Changed",
    "drifting": "Drifting",
    "too few checks": "Too early to say",
}


def one_of_each(series: Sequence[Series]) -> list[Series]:
    """The first of each measure: its channels and directions move together; the table has all."""
    first: dict[str, Series] = {}
    for s in series:
        first.setdefault(s.key.name, s)
    return [*first.values()][:MOST_MOVED]


def answer(health: Health, *, lamp_quiet: bool) -> str:
    """The lamp first if it fades, else what moved, else that nothing did."""
    sign = next((s for s in health.lamp.signs if s.name == "light"), None) if health.lamp else None
    if not lamp_quiet and sign is not None and sign.now and sign.now < 1:
        lost = f"{100 * (1 - sign.now):.0f} % of the light is gone since {day_words(sign.since)}"
        half = half_light_words(health.lamp) if health.lamp else ""
        return f"{lost}; {half}" if half else lost
    moved = moved_ones(health.series)
    worse = [*dict.fromkeys(label(s.key.name) for s in moved if direction(s) == "worse")]
    if worse:
        more = f" and {len(worse) - 2} more" if len(worse) > 2 else ""
        return f"Worse than it was: {joined([worse[0], *map(inside, worse[1:2])])}{more}"
    return "Moved, but not for the worse" if moved else word(health)


def word(health: Health) -> str:
    """One word for all series."""
    states = {s.state for s in health.series}
    for state in ("drifting", "changed", "steady", "too few checks"):
        if state in states:
            return STATES[state]
    return STATES["too few checks"]


def tone(health: Health) -> str:
    """The colour class of that word."""
    said = word(health)
    return {"Steady": "fit", "Too early to say": "open"}.get(said, "limited")


def direction(s: Series) -> str:
    """Whether a series moved for the better, for the worse, or neither."""
    better = CATALOGUE[s.key.name].better
    begin = s.starts[-1]
    change = next((c for c in s.changes if c.began >= begin), None)
    was = change.before if change else s.values[begin]
    now = s.drift.values[1] if s.drift else s.changes[-1].after if change else s.values[-1]
    if better not in ("higher", "lower") or was == now:
        return "different"
    return "better" if (now > was) == (better == "higher") else "worse"


def moved_ones(series: Sequence[Series]) -> list[Series]:
    """Series that changed or drift."""
    return [s for s in series if s.state in ("changed", "drifting")]
