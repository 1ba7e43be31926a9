"""Streaks followed over the checks by their place: when each came, and when it went.

A chart needs a baseline to know a new streak by its contrast; by its place it is known at once, in
the first check that shows it. False ones are as rare as false streaks in a scan of clean paper.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence

from scanqa.model.history import StreakLife
from scanqa.records.store import Check, Line

SAME_STREAK_MM = 0.5  # and the wider one's own width
SURE_SIGNIFICANCE = 8.0  # the search begins at some 5.5: what is at 8 is missed once in 200 checks
LOOKED = "streaks."  # a check with any measure of this family has looked for streaks


def streak_lives(checks: Sequence[Check]) -> tuple[tuple[StreakLife, ...], tuple[str, ...]]:
    """Streaks that were sure in some check, in order of coming; and the times that looked.

    Parameters
    ----------
    checks : sequence of Check
        Oldest first.
    """
    looked = [c for c in checks if any(v.name.startswith(LOOKED) for v in c.values)]
    times = tuple(check.taken for check in looked)
    return lives_of([check.lines for check in looked], times), times


def lives_of(lines: Sequence[Sequence[Line]], times: Sequence[str]) -> tuple[StreakLife, ...]:
    """Streaks that were sure in some check, by the lines of each check that looked for them."""
    found: list[list[tuple[int, Line]]] = []
    for i, seen in enumerate(lines):
        for line in seen:
            known = next((life for life in found if same_place(life[-1][1], line)), None)
            if known is None:
                found.append([(i, line)])
            else:
                known.append((i, line))
    lives = [_life(life, times) for life in found if any(is_sure(line) for _, line in life)]
    return tuple(sorted(lives, key=lambda life: (life.first, life.at_mm)))


def _life(seen: Sequence[tuple[int, Line]], times: Sequence[str]) -> StreakLife:
    first, last = seen[0][0], seen[-1][0]
    lines = [line for _, line in seen]
    again = next((i for i, _ in seen if i > first), None)
    return StreakLife(
        lines[0].axis,
        lines[0].polarity,
        statistics.median(line.at_mm for line in lines),
        max(line.contrast_percent for line in lines),
        any(line.visible for line in lines),
        times[first],
        times[last],
        first == 0,
        times[last + 1] if last + 1 < len(times) else "",
        "" if again is None else times[again],
    )


def is_sure(line: Line) -> bool:
    """Whether a streak is strong enough that a check would not miss it."""
    return line.visible or line.significance >= SURE_SIGNIFICANCE


def same_place(one: Line, other: Line) -> bool:
    """Whether two checks show the same streak."""
    near = max(SAME_STREAK_MM, one.width_um / 1000, other.width_um / 1000)
    alike = (one.axis, one.polarity) == (other.axis, other.polarity)
    return alike and abs(one.at_mm - other.at_mm) <= near
