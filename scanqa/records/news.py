"""What is new since the check before: streaks and marks by place, measures by their charts.

A streak or a mark is known again by its place, axis and polarity; one that the earlier check may
simply have missed (close to what can be detected) is no news. Paper moves between checks, the
device does not, so places compare as long as the bed is scanned whole.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Literal

from scanqa.model import Mark, Record
from scanqa.model.history import Health, News, NewsItem
from scanqa.records.store import Line, lines_of
from scanqa.records.streak_lives import is_sure, same_place

SAME_MARK_MM = 1.5
SURE_MARK_PERCENT = 5.0
MOST_NAMED = 4  # of one kind; more are counted
NAMED_BY_PLACE = ("streaks.strongest_visible", "glass.marks")


def news(record: Record, earlier: Record, health: Health) -> News:
    """What a check shows that the one before did not.

    Parameters
    ----------
    record, earlier : Record
        Two qualifications of one scanner.
    health : Health
        The history that ends with `record`.
    """
    since = (earlier.conditions.get("date") or earlier.created)[:10]
    items: list[NewsItem] = []
    if _saw_paper(record) and _saw_paper(earlier):
        now, then = lines_of(record.streaks), lines_of(earlier.streaks)
        items += _streaks("new", [s for s in now if is_sure(s) and not _known(s, then)])
        items += _streaks("gone", [s for s in then if is_sure(s) and not _known(s, now)])
        marks, old = record.glass_marks, earlier.glass_marks
        items += _marks("new", [m for m in marks if _plain(m) and not _seen(m, old)])
        items += _marks("gone", [m for m in old if _plain(m) and not _seen(m, marks)])
    items += _moved(health)
    was, now_is = earlier.outcome.fitness, record.outcome.fitness
    if was != now_is and not {was, now_is} & {"not judged", "partly judged"}:
        items.append(NewsItem("outcome", terms={"before": was, "after": now_is}))
    return News(since, tuple(items))


def _saw_paper(record: Record) -> bool:
    return any(scan.role == "blank" for scan in record.scans)


def _known(line: Line, others: Sequence[Line]) -> bool:
    return any(same_place(line, other) for other in others)


def _streaks(what: Literal["new", "gone"], lines: Sequence[Line]) -> Iterator[NewsItem]:
    """Streaks, the strongest first."""
    ranked = sorted(lines, key=lambda s: -s.contrast_percent)
    for s in ranked[:MOST_NAMED]:
        yield NewsItem(
            "new-streak" if what == "new" else "streak-gone",
            {"at_mm": s.at_mm, "contrast_percent": s.contrast_percent},
            {"polarity": s.polarity, "axis": s.axis},
        )
    if len(ranked) > MOST_NAMED:
        kind: Literal["more-streaks-new", "more-streaks-gone"] = (
            "more-streaks-new" if what == "new" else "more-streaks-gone"
        )
        yield NewsItem(kind, {"count": len(ranked) - MOST_NAMED})


def _plain(mark: Mark) -> bool:
    return mark.contrast_percent >= SURE_MARK_PERCENT


def _seen(mark: Mark, others: Sequence[Mark]) -> bool:
    return any(
        all(abs(a - b) <= SAME_MARK_MM for a, b in zip(mark.at_mm, o.at_mm, strict=True))
        for o in others
    )


def _marks(what: Literal["new", "gone"], marks: Sequence[Mark]) -> Iterator[NewsItem]:
    """Marks, the strongest first."""
    ranked = sorted(marks, key=lambda m: -m.contrast_percent)
    for m in ranked[:MOST_NAMED]:
        yield NewsItem(
            "new-mark" if what == "new" else "mark-gone",
            {"x_mm": m.at_mm[0], "y_mm": m.at_mm[1]},
            {"polarity": m.polarity, "kind": m.kind},
        )
    if len(ranked) > MOST_NAMED:
        kind: Literal["more-marks-new", "more-marks-gone"] = (
            "more-marks-new" if what == "new" else "more-marks-gone"
        )
        yield NewsItem(kind, {"count": len(ranked) - MOST_NAMED})


def _moved(health: Health) -> Iterator[NewsItem]:
    """Measures whose charts alarmed with this very check; streaks and marks are named above."""
    for s in health.series:
        if s.key.name in NAMED_BY_PLACE or not s.changes:
            continue
        change = s.changes[-1]
        if s.state == "drifting" and len([c for c in s.changes if c.began >= s.starts[-1]]) > 1:
            continue  # a drift that goes on is no news
        if s.dates[-1] == health.span[1] and change.alarm == len(s.values) - 1:
            yield NewsItem("measure", {"before": change.before, "after": change.after}, key=s.key)
