"""What came out of each family in a few words: for the line of its folded section."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from scanqa.catalogue import CATALOGUE, SIDES
from scanqa.model import Criterion, Record
from scanqa.report.sections.groups import middle_text, rows_of
from scanqa.summary import Summary, worst
from scanqa.words.glossary import DIRECTION_WORDS
from scanqa.words.numbers import inside, joined, label, number, outward, value_text, with_unit

# What stands for a family: measures, each with the words before its value.
HEADLINES: dict[str, tuple[tuple[str, str], ...]] = {
    "sharpness": (("sharpness.effective_dpi", "detail for"),),
    "claim": (("claim.native_fraction", "real share of the dpi"),),
    "colour": (("colour.registration", "largest shift"), ("colour.neutrality", "tint")),
    "banding": (("banding.amplitude", "bands"),),
    "veil": (("veil.stray_light", "stray light"),),
    "shading": (("shading.nonuniformity", "unevenness"),),
    "gutter": (("gutter.delta_L_at_5mm", "darker 5 mm from the spine by"),
               ("gutter.reach_5", "too dark up to")),
    "noise": (("noise.total", "noise"), ("noise.snr", "signal to noise")),
    "tone": (("tone.range", "range"), ("tone.clipped", "at the top of the scale")),
    "geometry": (("geometry.dpi_across", "across"), ("geometry.dpi_travel", "along travel")),
    "drift": (("drift.level", "level from scan to scan"), ("drift.settle_time", "settles in")),
    "backing": (("backing.show_through", "print on the back shows through by"),),
    "processing": (("processing.halo", "halo"), ("processing.jpeg_quality", "JPEG quality")),
    "driver": (("driver.level_uncalibrated", "level without calibration"),
               ("driver.strip_mark", "strongest mark on the strip")),
    "pace": (("pace.seconds_per_scan", "a scan takes"), ("pace.pages_per_hour", "pages an hour")),
}  # fmt: skip
NONE_FOUND = frozenset({"banding.amplitude", "veil.stray_light", "processing.halo"})
SIGMAS = 2.0


def result_of(family: str, record: Record) -> str:
    """The result of a family in a few words; empty where it has no value."""
    if family == "streaks":
        return _lines(record)
    if family == "glass":
        return _marks(record)
    if family == "edges":
        return _edges(record)
    found = rows_of([m for m in record.measures if _family(m.name) == family], record.scans)
    known = [row for row in found if row.known]
    words = [
        text
        for name, before in HEADLINES.get(family, ())
        if (text := _headline(name, before, known))
    ]
    if not words and known:
        words = [f"{inside(label(known[0].key.name))} {middle_text(known[0])}"]
    return "; ".join(words)


def _family(name: str) -> str:
    return name.partition(".")[0]


def _headline(name: str, before: str, known: Sequence[Summary]) -> str:
    mine = [row for row in known if row.key.name == name]
    mine = [row for row in mine if row.key.channel in ("", "luma")] or mine
    if not mine:
        return ""
    if name in NONE_FOUND and all(not row.value or row.status == "at-most" for row in mine):
        definition = mine[0].definition
        least = max(each.value or SIGMAS * (each.uncertainty or 0.0) for each in mine)
        above = outward(max(least, 10.0**-definition.digits), upper=True)
        return f"{before}: none found above {with_unit(above, definition.unit)}"
    if mine[0].definition.by_size:
        members = [m for row in mine for m in row.known]
        largest = worst(members, CATALOGUE[name])
        return f"{before} {value_text(largest)}" if largest else ""
    by_way: dict[str, Summary] = {}
    for row in mine:  # the first of several kinds of edge or dpi stands for all
        by_way.setdefault(row.key.direction, row)
    if len(by_way) == 1:
        return f"{before} {middle_text(mine[0])}"
    values = {way: middle_text(row) for way, row in by_way.items()}
    if len(set(values.values())) == 1:
        return f"{before} {next(iter(values.values()))} both ways"
    parts = [f"{text} {DIRECTION_WORDS.get(way, '')}".strip() for way, text in values.items()]
    return f"{before} {joined(parts)}"


def _lines(record: Record) -> str:
    if not record.streaks:
        looked = any(_family(m.name) == "streaks" and m.value is not None for m in record.measures)
        return "none found" if looked else ""
    visible = [each for each in record.streaks if each.visible]
    first = max(record.streaks, key=lambda each: (each.visible, each.contrast_percent))
    strongest = with_unit(number(first.contrast_percent, 2), "%")
    at = with_unit(number(first.at_mm, 1), "mm")
    return (
        f"{len(record.streaks)} found, {len(visible) or 'none'} visible; "
        f"the strongest {first.polarity}, {strongest}, at {at}"
    )


def _marks(record: Record) -> str:
    kinds = Counter(mark.kind for mark in record.glass_marks)
    many = {"spot": "spots", "scratch": "scratches"}
    words = [f"{n} {kind if n == 1 else many[kind]}" for kind, n in sorted(kinds.items())]
    return joined(words) or ("none found" if record.named("glass.marks") else "")


def _edges(record: Record) -> str:
    found = {row.key.name: row for row in rows_of(record.measures, record.scans) if row.known}
    parts = []
    for stem, words in (("shadow", "shadow"), ("dead_margin", "never seen")):
        sides = {side: found.get(f"edges.{stem}_{side}") for side in SIDES}
        seen = {side: row for side, row in sides.items() if row is not None and row.value}
        if seen:
            side, row = max(seen.items(), key=lambda each: each[1].value or 0.0)
            parts.append(f"{words} {middle_text(row)} at the {side}")
        elif any(row is not None for row in sides.values()):
            parts.append(f"no {words}" if stem == "shadow" else "all seen")
    return "; ".join(parts)


def result_of_criteria(found: Sequence[Criterion]) -> str:
    """How many limits were met, not met and not judged."""
    counts = Counter(each.verdict for each in found)
    return joined([f"{counts[v]} {v}" for v in ("met", "not met", "not judged") if counts[v]])
