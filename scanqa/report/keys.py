"""The key numbers at the top of the page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import chain

from scanqa.catalogue import CATALOGUE, SIDES
from scanqa.model import Measurement, Record
from scanqa.report import tables
from scanqa.report.groups import (
    all_alike,
    middle_text,
    reason_text,
    rows_of,
    span_text,
    worst_text,
)
from scanqa.report.view import Key
from scanqa.summary import Summary, worst
from scanqa.words.glossary import DIRECTION_WORDS
from scanqa.words.numbers import joined, label, number, place, printed, value_text, with_unit

# What the row is called, its measure, its direction. Streaks, marks and sides have rows of their
# own making, between the two lists.
_FIRST: tuple[tuple[str, str, str | None], ...] = (
    ("Effective resolution across", "sharpness.effective_dpi", "across"),
    ("Effective resolution along travel", "sharpness.effective_dpi", "travel"),
    ("Largest colour shift", "colour.registration", None),
)
_LAST: tuple[tuple[str, str, str | None], ...] = (
    ("Darkening 5\u202fmm from the spine", "gutter.delta_L_at_5mm", None),
    ("Spine too dark up to", "gutter.reach_5", None),
    ("Noise", "noise.total", None),
    ("Signal to noise", "noise.snr", None),
    ("True dpi across", "geometry.dpi_across", None),
    ("True dpi along travel", "geometry.dpi_travel", None),
    ("Clipped pixels", "tone.clipped", None),
)


def key_numbers(record: Record) -> Iterator[Key]:
    """Rows in reading order; a measure without any result has no row."""
    measured = record.measures
    found = rows_of(measured, record.scans)
    marks = tables.scan_marks(record.scans)
    yield from chain.from_iterable(_key(*row, found, marks) for row in _FIRST)
    yield from _streaks(record)
    yield from _marks(record)
    yield from _key("Unevenness of light", "shading.nonuniformity", None, found, marks)
    yield from _sides("Shadow beside the edges", "edges.shadow", measured)
    yield from _sides("Dead margin", "edges.dead_margin", measured)
    yield from _usable(found)
    yield from chain.from_iterable(_key(*row, found, marks) for row in _LAST)


def _key(
    words: str, name: str, way: str | None, found: Sequence[Summary], marks: dict[str, str]
) -> Iterator[Key]:
    mine = [g for g in found if g.key.name == name and (way is None or g.key.direction == way)]
    luma = [g for g in mine if g.key.channel in ("", "luma")] or mine
    if not luma:
        return
    link, sentence = f"section-{name.partition('.')[0]}", CATALOGUE[name].sentence
    if CATALOGUE[name].by_size:
        yield _largest(words, luma, sentence, link)
        return
    kinds, dpis = {g.key.edge_kind for g in luma}, {g.key.dpi for g in luma}
    values: list[tuple[str, str]] = []
    lines: list[str] = []
    for group in luma:
        apart = []
        if len(kinds) > 1 and group.key.edge_kind:
            apart.append(f"{group.key.edge_kind} edges")
        if len(dpis) > 1 and group.key.dpi:
            apart.append(f"at {group.key.dpi} dpi")
        which = ", ".join(apart)
        values.append((which, middle_text(group)))
        lines += [f"{which}: {line}" if which else line for line in _briefly(group, marks)]
    yield Key(words, tuple(values), (*lines, *_reasons(luma)), sentence, link)


def _briefly(group: Summary, marks: dict[str, str]) -> list[str]:
    """What several values are put together from, in one line."""
    if len(group.known) < 2:
        return []
    what = "places" if all(m.at_mm for m in group.known) else "scans"
    found = group.worst
    if found is None or found.value is None or all_alike(group):
        return [f"median of {len(group.known)} {what}, {span_text(group)}"]
    bad = f"worst {printed(found.value, found.uncertainty, found.name)}"
    where = worst_text(group, marks).removeprefix("worst ")
    return [f"median of {len(group.known)} {what}; {bad} {where}".rstrip()]


def _largest(words: str, found: Sequence[Summary], sentence: str, link: str) -> Key:
    """The value of the largest size among all directions and colours."""
    members = tuple(m for group in found for m in group.members)
    known = [m for m in members if m.value is not None]
    largest = worst(known, CATALOGUE[members[0].name])
    if largest is None:
        reasons = tuple(filter(None, map(reason_text, found)))
        return Key(words, (("", "not measurable"),), reasons[:1], sentence, link)
    way = DIRECTION_WORDS.get(largest.direction or "", "")
    where = " ".join(word for word in (largest.channel or "", way) if word)
    spot = f" at {place(largest.at_mm)}" if largest.at_mm else ""
    line = f"largest of {len(known)} values: {where}{spot}"
    return Key(words, (("", value_text(largest)),), (line,), sentence, link)


def _streaks(record: Record) -> Iterator[Key]:
    streaks = tables.ranked(record.streaks)
    sentence = "Lines that run the whole way through a scan of plain paper."
    if not streaks:
        looked = any(m.name.startswith("streaks.") for m in record.measures if m.value is not None)
        if looked:
            yield Key("Streaks", (("", "none found"),), (), sentence, "section-streaks")
        return
    visible = [s for s in streaks if s.visible]
    first = streaks[0]
    value = f"{len(streaks)} found, {len(visible) or 'none'} visible"
    contrast = with_unit(number(first.contrast_percent, 2), "%")
    at = with_unit(f"{'x' if first.axis == 'travel' else 'y'}\u00a0{number(first.at_mm, 1)}", "mm")
    which = "strongest visible" if visible else "strongest"
    yield Key(
        "Streaks",
        (("", value),),
        (f"{which}: {first.polarity}, {contrast} at {at}",),
        sentence,
        "section-streaks",
    )


def _marks(record: Record) -> Iterator[Key]:
    kinds = Counter(mark.kind for mark in record.glass_marks)
    looked = record.named("glass.marks")
    if not kinds and not looked:
        return
    many = {"spot": "spots", "scratch": "scratches"}
    words = [f"{n} {kind if n == 1 else many[kind]}" for kind, n in sorted(kinds.items())]
    yield Key(
        "Marks on the glass",
        (("", joined(words) or "none found"),),
        (),
        "Dust and scratches that stay in place while the paper moves.",
        "section-glass",
    )


def _sides(words: str, stem: str, measured: Sequence[Measurement]) -> Iterator[Key]:
    found = {
        side: found[0]
        for side in SIDES
        if (found := rows_of([m for m in measured if m.name == f"{stem}_{side}"], ()))
    }
    if not found:
        return
    sentence = (
        "Depth of the strip beside each edge that comes out darker than the rest."
        if stem == "edges.shadow"
        else "Glass at each edge that the sensor never sees."
    )
    values = tuple((side, middle_text(group)) for side, group in found.items())
    yield Key(words, values, _reasons(found.values()), sentence, "section-edges")


def _usable(found: Sequence[Summary]) -> Iterator[Key]:
    sizes = [g for g in found if g.key.name in ("edges.usable_width", "edges.usable_height")]
    if len(sizes) != 2:
        return
    values = tuple((label(g.key.name).split()[-1], middle_text(g)) for g in sizes)
    sentence = "The part of the bed that is lit evenly."
    yield Key("Usable area", values, _reasons(sizes), sentence, "section-edges")


def _reasons(found: Iterable[Summary]) -> tuple[str, ...]:
    reasons = (reason_text(group) for group in found)
    return tuple(dict.fromkeys(reason for reason in reasons if reason))
