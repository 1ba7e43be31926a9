"""What is new since the check before: streaks and marks by place, measures by their charts.

A streak or a mark is known again by its place, axis and polarity; one that the earlier check may
simply have missed (close to what can be detected) is no news. Paper moves between checks, the
device does not, so places compare as long as the bed is scanned whole.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from scanqa.over_time import Health, News, digits_of, key_words
from scanqa.records.store import Line, lines_of
from scanqa.records.streaks import is_sure, same_place

SAME_MARK_MM = 1.5
SURE_MARK_PERCENT = 5.0
MOST_NAMED = 4  # of one kind; more are counted


def news(document: Mapping[str, Any], earlier: Mapping[str, Any], health: Health) -> News:
    """What a check shows that the one before did not.

    Parameters
    ----------
    document, earlier : mapping
        Two qualifications of one scanner, schema ``scanqa.qualification/1``.
    health : Health
        The history that ends with `document`.
    """
    since = str(earlier.get("conditions", {}).get("date") or earlier["created"])[:10]
    items: list[str] = []
    if _saw_paper(document) and _saw_paper(earlier):
        now, then = lines_of(document), lines_of(earlier)
        items += _listed("new {}", [s for s in now if is_sure(s) and not _known(s, then)])
        items += _listed("{} gone", [s for s in then if is_sure(s) and not _known(s, now)])
        marks, old = document.get("glass_marks", []), earlier.get("glass_marks", [])
        items += _marks("new {}", [m for m in marks if _plain(m) and not _seen(m, old)])
        items += _marks("{} gone", [m for m in old if _plain(m) and not _seen(m, marks)])
    items += _moved(health)
    was, now_is = (d.get("outcome", {}).get("fitness") for d in (earlier, document))
    if was and now_is and was != now_is and "not judged" not in (was, now_is):
        items.append(f"the outcome went from {was} to {now_is}")
    if not items:
        return News(since, (), f"Nothing new since {since}.")
    return News(since, tuple(items), f"Since {since}: {'; '.join(items)}.")


def _saw_paper(document: Mapping[str, Any]) -> bool:
    return any(scan["role"] == "blank" for scan in document["scans"])


def _known(line: Line, others: Sequence[Line]) -> bool:
    return any(same_place(line, other) for other in others)


def _listed(what: str, lines: Sequence[Line]) -> list[str]:
    """Streaks in words, the strongest first."""
    ranked = sorted(lines, key=lambda s: -s.contrast_percent)
    words = [
        what.format(
            f"{s.polarity} streak at {'x' if s.axis == 'travel' else 'y'} {s.at_mm:.1f} mm "
            f"({s.contrast_percent:.1f} %)"
        )
        for s in ranked[:MOST_NAMED]
    ]
    if len(ranked) > MOST_NAMED:
        words.append(what.format(f"streaks: {len(ranked) - MOST_NAMED} more"))
    return words


def _plain(mark: Mapping[str, Any]) -> bool:
    return bool(mark["contrast_percent"] >= SURE_MARK_PERCENT)


def _seen(mark: Mapping[str, Any], others: Sequence[Mapping[str, Any]]) -> bool:
    return any(
        all(abs(a - b) <= SAME_MARK_MM for a, b in zip(mark["at_mm"], o["at_mm"], strict=True))
        for o in others
    )


def _marks(what: str, marks: Sequence[Mapping[str, Any]]) -> list[str]:
    ranked = sorted(marks, key=lambda m: -m["contrast_percent"])
    words = [
        what.format(
            f"{m['polarity']} {m['kind']} on the glass at x {m['at_mm'][0]:.0f}, "
            f"y {m['at_mm'][1]:.0f} mm"
        )
        for m in ranked[:MOST_NAMED]
    ]
    if len(ranked) > MOST_NAMED:
        words.append(what.format(f"marks on the glass: {len(ranked) - MOST_NAMED} more"))
    return words


def _moved(health: Health) -> list[str]:
    """Measures whose charts alarmed with this very check; streaks and marks are named above."""
    words = []
    for s in health.series:
        if s.key[0] in ("streaks.strongest_visible", "glass.marks") or not s.changes:
            continue
        change = s.changes[-1]
        if s.state == "drifting" and len([c for c in s.changes if c.began >= s.starts[-1]]) > 1:
            continue  # a drift that goes on is no news
        if s.dates[-1] == health.span[1] and change.alarm == len(s.values) - 1:
            digits = digits_of(s.key)
            words.append(
                f"{key_words(s.key)} went from {change.before:.{digits}f} to "
                f"{change.after:.{digits}f} {s.unit}".strip()
            )
    return words
