"""Lines and marks in words: each from its own record, lines of one cause together."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.model import Mark, Results, Seen, Streak

MOST_PLACES = 4  # lines named one by one in a title
THAN = {"dark": "darker", "bright": "brighter"}


def line_words(streak: Streak) -> tuple[str, str]:
    """A single line, and the numbers behind it."""
    seen = "visible" if streak.visible else "too faint to be seen"
    than = f"{THAN[streak.polarity]} than its surroundings"
    size = f"{streak.contrast_percent:.2f}"
    if streak.since:
        than = f"{THAN[streak.polarity]} than at the check of {streak.since}"
        size += f" ± {streak.contrast_percent / streak.significance:.2f}"
    return (
        f"{streak.polarity} line at {streak.at_mm:.1f} mm",
        f"at {streak.at_mm:.1f} mm {size} % {than} "
        f"({streak.delta_L:.2f} L*), {streak.width_um:.0f} µm wide, {seen}",
    )


def lines_words(lines: Sequence[Seen], results: Results) -> str:
    """Lines of one cause, the strongest first, as the beginning of a title."""
    shown = without_faint_lines(lines, results)
    faint = len(lines) - len(shown)
    streaks = [results.streaks[seen.streak] for seen in shown if seen.streak is not None]
    polarities = {streak.polarity for streak in streaks}
    kind = f"{polarities.pop()} " if len(polarities) == 1 else ""
    which = "too faint to be seen " if not any(streak.visible for streak in streaks) else ""
    if len(streaks) == 1:
        words = f"{kind}line {which}at {streaks[0].at_mm:.1f} mm"
    elif len(streaks) <= MOST_PLACES:
        places = [f"{streak.at_mm:.1f}" for streak in sorted(streaks, key=lambda s: s.at_mm)]
        words = f"{kind}lines {which}at {', '.join(places[:-1])} and {places[-1]} mm"
    else:
        words = f"{len(streaks)} {kind}lines {which}(the strongest at {streaks[0].at_mm:.1f} mm)"
    if streaks and all(streak.since for streak in streaks):
        words += f", new since the check of {streaks[0].since}"
    return words + (f" and {faint} too faint to be seen" if faint else "")


def marks_words(seen: Seen, strongest: Mark) -> tuple[str, str]:
    """Marks of one kind, and the strongest of them."""
    word = {"specks": "speck", "long-marks": "long mark"}[seen.sign]
    count = round(seen.numbers["count"])
    x, y = strongest.at_mm
    return (
        f"{count} {word if count == 1 else f'{word}s'} on the glass",
        f"the strongest {word} at x {x:.0f}, y {y:.0f} mm is {strongest.contrast_percent:.0f} % "
        f"{THAN[strongest.polarity]} and {max(strongest.size_mm):.1f} mm long; what stays while "
        "the paper moves is not paper",
    )


def without_faint_lines(signs: Sequence[Seen], results: Results) -> list[Seen]:
    """Lines that cannot be seen are counted, not described, beside ones that can."""

    def visible(seen: Seen) -> bool:
        return seen.streak is not None and results.streaks[seen.streak].visible

    if not any(visible(seen) for seen in signs):
        return list(signs)
    return [seen for seen in signs if seen.streak is None or visible(seen)]
