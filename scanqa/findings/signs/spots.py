"""Lines in blank scans and marks on the glass."""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.findings.signs.sign import Looked, Signs
from scanqa.findings.statistic import known, members
from scanqa.model import Direction, Results, Seen, Severity, Streak
from scanqa.summary import Summary, value_of

VISIBLE_FAULT_DELTA_L = 0.5  # a line of this size is seen at a glance, not only when looked for
MARKS = 5.0  # % of light: fainter specks are hard to see
SAME_COLUMN_MM = 0.5  # of two scans of one sitting (common practice, no source)
LINES: dict[Direction, str] = {"travel": "line-along", "across": "line-across"}


def lines(results: Results, measured: Sequence[Summary]) -> Looked:
    """Lines in blank scans, the strongest first."""
    order = sorted(range(len(results.streaks)), key=lambda at: -results.streaks[at].delta_L)
    seen = [_line(results.streaks[at], at) for at in order]
    if seen or known(measured, "streaks.strongest_visible"):
        for name in LINES.values():
            yield name, tuple(line for line in seen if line.sign == name)


def _line(streak: Streak, at: int) -> Seen:
    severity: Severity = "note"
    # What is in one of several scans only was not seen again: most often it is the paper's.
    if streak.visible and not streak.of_the_paper:
        severity = "fault" if streak.delta_L >= VISIBLE_FAULT_DELTA_L else "warning"
    return Seen(
        LINES[streak.axis], severity, rests_on=("streaks",), direction=streak.axis,
        scan=streak.scan, streak=at,
    )  # fmt: skip


def of_line(streak: Streak, measured: Sequence[Summary] = ()) -> Signs:
    """Signs of a single line, for and against its causes.

    Whether it stays while the paper moves is known as a ratio of likelihoods: a line that is
    certain to stay counts as one that stays, one that is even as unknown.
    """
    signs = streak.signs
    return _on_strip(streak, measured) | {
        "line-stays": signs.stays / (1 + signs.stays),
        "line-full": signs.full,
        "line-dark": streak.polarity == "dark",
        "line-one-colour": signs.one_colour,
        "line-one-sample": 0.5 if signs.one_sample is None else signs.one_sample,
        "line-regular": signs.regular,
        "line-visible": streak.visible,
    }


def _on_strip(streak: Streak, measured: Sequence[Summary]) -> Signs:
    """Whether the white strip itself, where it was scanned, is dirty in the column of a line.

    The line that its correction draws is at most the dirt's mean over the rows used. Of a quarter
    of the strip the dirt takes no less, or half as much where the driver uses a part of a quarter:
    no mark of that size means none there, unless the dirt crosses all of the strip.
    """
    looked = members(known(measured, "driver.strip_mark"))
    if not looked or streak.axis != "travel":
        return {}
    here = [m for m in looked if m.at_mm and abs(m.at_mm[0] - streak.at_mm) <= SAME_COLUMN_MM]
    if here:
        return {"line-on-strip": True}
    seen = all(value_of(m) < streak.contrast_percent / 2 for m in looked)
    return {"line-on-strip": False} if seen else {}


def marks(results: Results, measured: Sequence[Summary]) -> Looked:
    """Specks and long marks on the glass."""
    if not results.marks and not known(measured, "glass.marks"):
        return
    for name, kind in (("specks", "spot"), ("long-marks", "scratch")):
        of_kind = [at for at, mark in enumerate(results.marks) if mark.kind == kind]
        yield name, (_strongest(name, results, of_kind),) if of_kind else ()


def _strongest(name: str, results: Results, of_kind: Sequence[int]) -> Seen:
    at = max(of_kind, key=lambda at: results.marks[at].contrast_percent)
    mark = results.marks[at]
    return Seen(
        name,
        "warning" if mark.contrast_percent >= MARKS else "note",
        numbers={"count": len(of_kind)},
        rests_on=("glass.marks",),
        at_mm=mark.at_mm,
        scan=mark.scan,
        mark=at,
    )
