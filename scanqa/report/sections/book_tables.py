"""Tables for books: what fits on the bed, the page by distance, what lies behind it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from scanqa.catalogue import CATALOGUE, GUTTER_DISTANCES_MM, RAMP_HEIGHTS_MM
from scanqa.catalogue.sizes import FORMATS_MM, SAME_BACKING_L
from scanqa.model import Measurement, Point
from scanqa.report.sections.groups import middle_text, notes
from scanqa.report.view import Cell, Table
from scanqa.summary import Summary
from scanqa.words.numbers import number, sentence_case, value_text, with_unit

LOST = "edges.lost_"
SUM_MM = 0.1  # by which the two losses of a format may miss their sum, rounded as they are


def fit_table(
    lost: Sequence[Measurement], marks: dict[str, str], usable: Sequence[Measurement] = ()
) -> Iterator[Table]:
    """How much of each format is lost, and whether a second scan recovers it.

    Parameters
    ----------
    usable : sequence of Measurement
        Width and height of the evenly lit part of the bed: they tell the two losses apart.
    """
    known = [m for m in lost if m.value is not None]
    if not known:
        return
    several = len({m.scan for m in known}) > 1
    rows = []
    for m in known:
        words, width, height = FORMATS_MM[m.name.removeprefix(LOST)]
        size = with_unit(f"{number(width, 0)} × {number(height, 0)}", "mm")
        scan = (f"scan {marks[m.scan]}",) if several and m.scan in marks else ()
        gone = "nothing lost" if not m.value else _lost_words(m, (width, height), usable)
        rows.append(
            (Cell(sentence_case(words), (size, *scan)), Cell(gone, (sentence_case(m.reason),)))
        )
    note = (
        "On the evenly lit part of the bed, laid clear of shadows. Pushed against the frame, a "
        "sheet loses the dead margin and the shadow of that side as well."
    )
    yield Table("What still fits on the bed", ("Format", "In one scan"), tuple(rows), (note,))


def _lost_words(m: Measurement, size_mm: Point, usable: Sequence[Measurement]) -> str:
    """What is lost of width and of height where both are and their sum is the value."""
    sides = []
    for of, whole in zip(("width", "height"), size_mm, strict=True):
        found = [u.value for u in usable if u.name == f"edges.usable_{of}" and u.value is not None]
        if len(found) == 1 and found[0] < whole:
            sides.append((of, whole - found[0]))
    if len(sides) == 2 and abs(sum(gone for _, gone in sides) - (m.value or 0.0)) < SUM_MM:
        parts = [f"{with_unit(number(gone, 1), 'mm')} of the {of}" for of, gone in sides]
        return f"{' and '.join(parts)} lost"
    return f"{value_text(m)} lost"


def gutter_tables(found: Sequence[Summary], marks: dict[str, str]) -> Iterator[Table]:
    """Darkening, lift and detail by distance from the spine; light and detail by height."""
    by_name: dict[str, list[Summary]] = {}
    for group in found:
        by_name.setdefault(group.key.name, []).append(group)
    columns = (
        ("Darker by", "delta_L_at"),
        ("Height of the page", "lift_at"),
        ("Fine detail left", "focus_at"),
    )
    shown = [
        (head, {d: f for d in GUTTER_DISTANCES_MM if (f := by_name.get(f"gutter.{stem}_{d}mm"))})
        for head, stem in columns
    ]
    shown = [(head, cells) for head, cells in shown if cells]
    if shown:
        rows = tuple(
            (
                Cell(with_unit(str(distance), "mm")),
                *(_cells(cells.get(distance, ()), marks) for _, cells in shown),
            )
            for distance in GUTTER_DISTANCES_MM
            if any(distance in cells for _, cells in shown)
        )
        head = ("From the spine", *(head for head, _ in shown))
        yield Table("The open page by its distance from the spine", head, rows, _in_focus(by_name))
    above = {
        h: [by_name.get(f"gutter.{what}_at_{h}mm_height", ()) for what in ("light", "focus")]
        for h in RAMP_HEIGHTS_MM
    }
    above = {h: cells for h, cells in above.items() if any(cells)}
    if above:
        rows = tuple(
            (Cell(with_unit(str(h), "mm")), *(_cells(g, marks) for g in cells))
            for h, cells in above.items()
        )
        head = ("Height", "Light left", "Fine detail left")
        note = "On the slope of the gutter ramp, against paper and edges (SFR50) on the glass."
        yield Table("Light and detail by height above the glass", head, rows, (note,))


def _cells(found: Sequence[Summary], marks: dict[str, str]) -> Cell:
    if not found:
        return Cell("–")
    group = found[0]
    return Cell(middle_text(group), notes(group, marks))


def _in_focus(by_name: dict[str, list[Summary]]) -> tuple[str, ...]:
    """Whether the page at the spine is still sharp: its height against the depth of field."""
    known = [
        group.known[0].value
        for name in ("gutter.lift_at_0mm", "gutter.depth_of_field")
        for group in by_name.get(name, ())
        if len(group.known) == 1
    ]
    if len(known) != 2 or known[0] is None or known[1] is None:
        return ()
    lift, depth = (with_unit(number(v or 0.0, 1), "mm") for v in known)
    if known[0] < known[1]:
        return (
            f"At the spine the page is {lift} up, within the {depth} of depth of field: fine print "
            "there is darker, not yet blurred to half its detail.",
        )
    return (
        f"At the spine the page is {lift} up, beyond the {depth} of depth of field: fine print "
        "there is blurred, not only dark.",
    )


def backing_table(found: Sequence[Measurement], marks: dict[str, str]) -> Iterator[Table]:
    """One row for each scan of the back-print sheet, and what the darker backing changes."""
    scans: dict[str, dict[str, Measurement]] = {}
    for m in found:
        if m.value is not None:
            scans.setdefault(m.scan, {})[m.name] = m
    if not scans:
        return
    rows = []
    for scan, both in sorted(scans.items(), key=lambda row: -_value(row[1], "backing.paper")):
        words = next((m.reason for m in both.values() if m.reason), "")
        rows.append(
            (
                Cell(sentence_case(words.removeprefix("on the ")) or "Backing", _scan(scan, marks)),
                *(
                    Cell(value_text(both[name]) if name in both else "not measured")
                    for name in ("backing.show_through", "backing.paper")
                ),
            )
        )
    notes = [CATALOGUE["backing.show_through"].sentence]
    ends = _two_backings(list(scans.values()))
    if ends is not None:
        light, dark = ends
        before, after = (number(_value(each, "backing.show_through"), 1) for each in (light, dark))
        darker = _value(light, "backing.paper") - _value(dark, "backing.paper")
        lowers = with_unit(f"The darker backing lowers show-through from {before} to {after}", "%")
        darkens = with_unit(f" and makes the paper darker by {number(darker, 1)}", "L*.")
        advice = ""
        if _clearly_less(dark["backing.show_through"], light["backing.show_through"]):
            advice = (
                " Lay black card behind pages that are printed on both sides; for those printed on "
                "one side the lighter backing keeps the paper lighter."
            )
        notes.append(lowers + darkens + advice)
    head = ("Behind the page", "Show-through", "Paper")
    yield Table("Show-through by what lies behind the page", head, tuple(rows), tuple(notes))


def _two_backings(
    scans: Sequence[dict[str, Measurement]],
) -> tuple[dict[str, Measurement], dict[str, Measurement]] | None:
    """The scans on the lighter and on the darker backing; None if there is but one backing."""
    whole = [both for both in scans if len(both) == 2]
    if not whole:
        return None
    light = max(whole, key=lambda both: _value(both, "backing.paper"))
    dark = min(whole, key=lambda both: _value(both, "backing.paper"))
    apart = _value(light, "backing.paper") - _value(dark, "backing.paper")
    return (light, dark) if apart > SAME_BACKING_L else None


def _clearly_less(low: Measurement, high: Measurement) -> bool:
    """Whether one value is under another by more than twice their joint uncertainty."""
    if low.value is None or high.value is None:
        return False
    return high.value - low.value > 2 * math.hypot(low.uncertainty or 0, high.uncertainty or 0)


def _value(both: dict[str, Measurement], name: str) -> float:
    m = both.get(name)
    return 0.0 if m is None or m.value is None else m.value


def _scan(scan: str, marks: dict[str, str]) -> tuple[str, ...]:
    return (f"scan {marks[scan]}",) if scan in marks else ()
