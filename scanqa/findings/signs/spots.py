"""Lines in blank scans and marks on the glass."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.findings.signs.sign import Seen, Sign
from scanqa.model import Mark, Results, Severity

VISIBLE_FAULT_DELTA_L = 0.5  # a line of this size is seen at a glance, not only when looked for
MARKS = 5.0  # % of light: fainter specks are hard to see


def lines(results: Results) -> Seen:
    """Lines in blank scans, each with the causes that its measure ranked."""
    found = []
    for streak in sorted(results.streaks, key=lambda s: -s.delta_L):
        severity: Severity = "note"
        if streak.visible:
            severity = "fault" if streak.delta_L >= VISIBLE_FAULT_DELTA_L else "warning"
        than = {"dark": "darker", "bright": "brighter"}[streak.polarity]
        seen = "visible" if streak.visible else "too faint to be seen"
        reason = (
            f"at {streak.at_mm:.1f} mm {streak.contrast_percent:.2f} % {than} than its "
            f"surroundings ({streak.delta_L:.2f} L*), {streak.width_um:.0f} µm wide, {seen}"
        )
        words = f"{streak.polarity} line at {streak.at_mm:.1f} mm"
        found.append(Sign(words, reason, severity, ("streaks",), streak))
    if found or results.named("streaks.strongest_visible"):
        yield "line", tuple(found)


def marks(results: Results) -> Seen:
    """Specks and long marks on the glass."""
    if not results.marks and not results.named("glass.marks"):
        return
    for name, kind, word in (("specks", "spot", "speck"), ("long-marks", "scratch", "long mark")):
        marks = [mark for mark in results.marks if mark.kind == kind]
        yield name, (_of_marks(marks, word),) if marks else ()


def _of_marks(marks: Sequence[Mark], word: str) -> Sign:
    strongest = max(marks, key=lambda mark: mark.contrast_percent)
    x, y = strongest.at_mm
    reason = (
        f"the strongest {word} at x {x:.0f}, y {y:.0f} mm is {strongest.contrast_percent:.0f} % "
        f"{'darker' if strongest.polarity == 'dark' else 'brighter'} and "
        f"{max(strongest.size_mm):.1f} mm long; what stays while the paper moves is not paper"
    )
    severity: Severity = "warning" if strongest.contrast_percent >= MARKS else "note"
    plural = word if len(marks) == 1 else f"{word}s"
    return Sign(f"{len(marks)} {plural} on the glass", reason, severity, ("glass.marks",))
