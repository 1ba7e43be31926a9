"""Tables of one family: its values, its four sides, every single value, streaks and marks."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

from scanqa.catalogue import SIDES
from scanqa.model import Mark, Measurement, ScanFacts, Streak
from scanqa.report.sections.book_tables import LOST, backing_table, fit_table, gutter_tables
from scanqa.report.sections.groups import (
    middle_text,
    notes,
    reason_text,
    rows_of,
    title,
)
from scanqa.report.view import Cell, Table
from scanqa.summary import Summary
from scanqa.words.glossary import DIRECTION_WORDS
from scanqa.words.numbers import capital, label, number, place, sentence_case, value_text, with_unit

MOST_REPEATS = 2  # a reason that more rows of a table share is said once, below it
DEPTH = "gutter.depth_of_field"
MOST_ROWS = 400  # of a table of single values; the JSON document has them all
_AXIS_WORDS = {"travel": "down", "across": "across"}


def scan_marks(scans: Sequence[ScanFacts]) -> dict[str, str]:
    """Short marks for scans, for tables that would burst with file names."""
    return {facts.file: str(at) for at, facts in enumerate(scans, 1)}


def family_tables(
    family: str,
    title_: str,
    measurements: Sequence[Measurement],
    scans: Sequence[ScanFacts],
    *,
    whole: bool = False,
) -> tuple[Table, ...]:
    """Tables of the measures of one family, the summary first; `whole` adds every single value."""
    marks = scan_marks(scans)
    fits = [m for m in measurements if m.name.startswith(LOST)]
    backings = measurements if family == "backing" else []
    told_apart = {id(m) for m in (*fits, *backings) if m.value is not None}
    measurements = [m for m in measurements if id(m) not in told_apart]
    found = rows_of(measurements, scans)
    with_dpi = len({row.key.dpi for row in found if row.key.dpi}) > 1
    gutter = [row for row in found if row.known and _by_distance(row)]
    plain = [row for row in found if "side" not in row.definition.at and row not in gutter]
    luma = {row.key[:2] for row in plain if row.key.channel == "luma"}
    coloured = [row for row in plain if row.key.channel not in ("", "luma") and row.key[:2] in luma]
    main = [g for g in plain if g not in coloured]
    tables = []
    if main:
        tables.append(_summary(f"{title_}: values", main, marks, with_dpi=with_dpi))
    tables += _sides(title_, measurements, marks)
    tables += [*fit_table(fits, marks, measurements), *backing_table(backings, marks)]
    tables += gutter_tables([*gutter, *(row for row in found if row.key.name == DEPTH)], marks)
    if coloured:
        tables.append(
            _summary(
                f"{title_}: by colour channel", coloured, marks, with_dpi=with_dpi, folded=True
            )
        )
    if whole and any(len(group.members) > 1 for group in plain):
        several = {group.key.name for group in plain if len(group.members) > 1}
        tables += _singles(title_, [m for m in measurements if m.name in several], marks)
    return tuple(tables)


def _by_distance(row: Summary) -> bool:
    """Whether the gutter's tables show it: a value at a distance or a height."""
    at = row.definition.at
    return row.definition.family == "gutter" and ("distance" in at or "height" in at)


def _summary(
    caption: str,
    rows: Sequence[Summary],
    marks: dict[str, str],
    *,
    with_dpi: bool,
    folded: bool = False,
) -> Table:
    kinds = {group.key.edge_kind for group in rows}
    if len(kinds) == 1 and rows[0].key.edge_kind:
        caption += f", {rows[0].key.edge_kind} edges"
    reasons = Counter(reason_text(group) for group in rows)
    often = {reason for reason, count in reasons.items() if reason and count > MOST_REPEATS}
    said: set[str] = set()
    cells = []
    for group in rows:
        if not group.known and reason_text(group) in often:
            continue
        sentence = () if group.key.name in said else (group.definition.sentence,)
        said.add(group.key.name)
        words = title(group, with_dpi=with_dpi, with_kind=len(kinds) > 1)
        lines = tuple(line for line in notes(group, marks) if line not in often)
        cells.append((Cell(words, sentence), Cell(middle_text(group), lines)))
    below = tuple(_below(reason, rows) for reason in reasons if reason in often)
    return Table(caption, ("Measure", "Value"), tuple(cells), below, folded)


def _below(reason: str, rows: Sequence[Summary]) -> str:
    """A line for a reason that many rows share; rows without any value are named in it."""
    mine = [group for group in rows if reason_text(group) == reason]
    lost = dict.fromkeys(label(group.key.name) for group in mine if not group.known)
    if lost:
        return f"Not measurable ({', '.join(lost)}): {reason}."
    statuses = {group.status for group in mine}
    if statuses == {"ok"}:
        return f"{sentence_case(reason)}."
    heads = {"at-least": "At least", "at-most": "At most", "not-measurable": "Not measurable"}
    head = heads[statuses.pop()] if len(statuses) == 1 and statuses <= heads.keys() else "A bound"
    return f"{head}: {reason}."


def _sides(
    title_: str, measurements: Sequence[Measurement], marks: dict[str, str]
) -> Iterator[Table]:
    """Measures that exist for each of the four sides: one row for each side."""
    columns: dict[tuple[str, str], dict[str, Summary]] = {}  # by stem and distance, then by side
    for row in rows_of(measurements, ()):
        at = row.definition.at
        if "side" in at:
            channel = row.key.channel
            colour = f", {channel}" if channel not in ("", "luma") else ""
            stem = _any_side_label(row) + colour
            columns.setdefault((stem, str(at.get("distance", ""))), {})[at["side"]] = row
    plain = {stem: found for (stem, distance), found in columns.items() if not distance}
    if plain:
        said = dict.fromkeys(_any_side(row) for found in plain.values() for row in found.values())
        yield _side_table(f"{title_}: the four sides of the image", plain, marks, tuple(said))
    for stem in dict.fromkeys(stem for stem, distance in columns if distance):
        far = {
            with_unit(distance, "mm from the side"): found
            for (other, distance), found in columns.items()
            if other == stem and distance
        }
        caption = f"{title_}: {stem.lower()} beside the four sides"
        yield _side_table(caption, far, marks, ())


def _any_side_label(row: Summary) -> str:
    """The name of a measure without its side and distance: ``Dead margin``."""
    words = row.definition.pattern.partition(".")[2].partition("_{")[0].replace("_", " ")
    return capital(words)


def _side_table(
    caption: str,
    columns: dict[str, dict[str, Summary]],
    marks: dict[str, str],
    said: tuple[str, ...],
) -> Table:
    rows = tuple(
        (
            Cell(side.capitalize()),
            *(_side_cell(found.get(side), marks) for found in columns.values()),
        )
        for side in SIDES
    )
    return Table(caption, ("Side", *columns), rows, said)


def _any_side(row: Summary) -> str:
    """The sentence of one side's measure, said of all four."""
    side = row.definition.at["side"]
    return row.definition.sentence.replace(f"the {side} edge", "each edge")


def _side_cell(group: Summary | None, marks: dict[str, str]) -> Cell:
    if group is None:
        return Cell("not measured")
    return Cell(middle_text(group), notes(group, marks))


def _singles(
    title_: str, measurements: Sequence[Measurement], marks: dict[str, str]
) -> list[Table]:
    """Every single value: a row for each scan, place, direction, channel and edge."""
    names = list(dict.fromkeys(m.name for m in measurements))
    rows: dict[tuple[str, ...], dict[str, list[str]]] = {}
    for m in measurements:
        kind = [DIRECTION_WORDS.get(m.direction or "", ""), m.channel or "", m.edge_kind or ""]
        key = (marks.get(m.scan, ""), place(m.at_mm), ", ".join(word for word in kind if word))
        rows.setdefault(key, {}).setdefault(m.name, []).append(value_text(m))
    cells = tuple(
        (
            Cell(where or "whole bed", (kind,) if kind else ()),
            Cell(mark, link=f"scan-{mark}" if mark else ""),
            *(Cell("; ".join(found.get(name, []))) for name in names),
        )
        for (mark, where, kind), found in rows.items()
    )
    cut = _cut(len(cells))
    head = ("Place", "Scan", *(label(name) for name in names))
    return [Table(f"{title_}: every value", head, cells[:MOST_ROWS], cut, folded=True)]


# ------------------------------------------------------------------------ streaks and marks


def ranked(streaks: Iterable[Streak]) -> list[Streak]:
    """Visible streaks first, then by contrast; their place in this list is their number."""
    return sorted(streaks, key=lambda s: (not s.visible, -s.contrast_percent, s.at_px))


def streak_table(streaks: Sequence[Streak], marks: dict[str, str]) -> Table:
    """Streaks in the order of `ranked`."""
    rows = tuple(
        (
            Cell(str(at), (f"{s.polarity},", "visible" if s.visible else "too faint to see")),
            Cell(
                with_unit(f"{'x' if s.axis == 'travel' else 'y'} {number(s.at_mm, 2)}", "mm"),
                (
                    f"pixel {number(s.at_px, 1)}",
                    f"{_AXIS_WORDS[s.axis]} from "
                    + with_unit(" to ".join(number(v, 0) for v in s.extent_mm), "mm"),
                ),
            ),
            Cell(
                with_unit(number(s.contrast_percent, 2), "%"),
                (
                    with_unit(number(s.delta_L, 2), "L*"),
                    f"{number(s.significance, 0)} times its uncertainty",
                ),
            ),
            Cell(with_unit(number(s.width_um, 0), "µm"), _channels(s.channels)),
            Cell(s.likely_cause, (f"scan {marks[s.scan]}",) if s.scan in marks else ()),
        )
        for at, s in enumerate(streaks[:MOST_ROWS], 1)
    )
    head = ("Line", "Where", "Contrast", "Width", "Likely cause")
    return Table("Lines, the most visible first", head, rows, _cut(len(streaks)))


def mark_table(found: Sequence[Mark], marks: dict[str, str]) -> Table:
    """Spots and scratches in the order given."""
    rows = tuple(
        (
            Cell(str(at), (f"{mark.polarity} {mark.kind}",)),
            Cell(_place_1(mark), (f"scan {marks[mark.scan]}",) if mark.scan in marks else ()),
            Cell(with_unit(" × ".join(number(v, 2) for v in mark.size_mm), "mm")),
            Cell(with_unit(number(mark.contrast_percent, 1), "%")),
        )
        for at, mark in enumerate(found[:MOST_ROWS], 1)
    )
    head = ("Mark", "Where", "Size", "Contrast")
    return Table("Marks on the glass, the strongest first", head, rows, _cut(len(found)))


def _cut(count: int) -> tuple[str, ...]:
    if count <= MOST_ROWS:
        return ()
    return (f"The first {MOST_ROWS} of {count}; the JSON document has them all.",)


def _place_1(mark: Mark) -> str:
    x, y = (number(v, 1) for v in mark.at_mm)
    return f"x {x}, " + with_unit(f"y {y}", "mm")


def _channels(channels: Sequence[str]) -> tuple[str, ...]:
    if {"red", "green", "blue"} <= set(channels):
        return ("all colours",)
    named = [channel for channel in channels if channel != "luma"]
    return (", ".join(named),) if named else ()
