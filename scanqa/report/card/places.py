"""Findings as places on the glass, numbered as in the list beside the picture."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from scanqa.catalogue import SIDES, Side
from scanqa.model import MM_PER_INCH, Diagnosis, Point, Record, ScanFacts, Seen
from scanqa.report.view import Box, Glass, Listed, Place
from scanqa.words.numbers import joined, number

MOST_LISTED = 7  # findings beside the picture
MOST_SPOTS = 60  # of one finding
STRIP_MM = 12.0  # of a strip whose depth was not told
SIDE_SIGNS = {"shadow": "mm", "falls-one-side": "distance_mm"}
OUTSIDE_SIGNS = ("dead-margin", "large-margin")
BAND_SIGNS = ("bands", "unsteady", "mains", "jitter")
SOFT_SHARE = 0.42  # of width and height that a soft place takes
SAME_BED_MM = 1.0  # by which sizes of scans may differ whose places are the same
INSIDE_MM = 1.0  # paper whose border lies no further in covers the glass


def bed_mm(facts: ScanFacts) -> Point | None:
    """Width and height of a scan, if its dpi is known."""
    if facts.dpi is None:
        return None
    return (
        facts.width_px * MM_PER_INCH / facts.dpi[0],
        facts.height_px * MM_PER_INCH / facts.dpi[1],
    )


def largest_bed(scans: Sequence[ScanFacts]) -> Point | None:
    """The bed as blank scans show it, else the largest scan."""
    sizes = [(facts.role, bed) for facts in scans if (bed := bed_mm(facts)) is not None]
    beds = [bed for role, bed in sizes if role == "blank"] or [bed for _, bed in sizes]
    return max(beds, key=lambda bed: bed[0] * bed[1], default=None)


def listed(record: Record) -> tuple[tuple[Listed, ...], int]:
    """Findings by number, the gravest first, and how many more there are."""
    found = record.diagnoses
    rows = tuple(
        Listed(str(at), each.heading or each.title, _how_sure(each), each.severity)
        for at, each in enumerate(found[:MOST_LISTED], 1)
    )
    return rows, max(0, len(found) - MOST_LISTED)


def _how_sure(finding: Diagnosis) -> str:
    if not finding.confirmed and finding.look:
        return "seen once"
    return ""


def glass_of(record: Record, findings: Sequence[Diagnosis] | None = None) -> Glass | None:
    """The picture of the glass, with all findings or those given, numbered in their order.

    None where no scan has millimetres.
    """
    bed = largest_bed(record.scans)
    if bed is None:
        return None
    shown = (record.diagnoses if findings is None else findings)[:MOST_LISTED]
    places = tuple(
        place for at, each in enumerate(shown, 1) for place in _places(each, str(at), record, bed)
    )
    spine = next((side for side in SIDES if side == record.options.get("book-edge")), None)
    size = f"{number(bed[0], 0)} × {number(bed[1], 0)} mm"
    papers = _papers(record.scans, bed)
    borders = f"; thin outline: {joined([each.words for each in papers])}" if papers else ""
    return Glass(
        "The glass from above",
        f"{size}, as the image shows it; broken lines: seen once{borders}",
        " ".join([_alt(size, shown, places, spine), *(each.said for each in papers)]).strip(),
        bed,
        places,
        spine,
        tuple(each.border_mm for each in papers),
    )


@dataclass(frozen=True, slots=True)
class _Paper:
    """What lay on the glass, by its border: in the legend, and to be read out."""

    words: str
    said: str
    border_mm: tuple[Point, ...]


def _papers(scans: Sequence[ScanFacts], bed: Point) -> tuple[_Paper, ...]:
    """Borders of the blanks' common paper and of the first bed sheet, in scans of this bed."""
    here = [
        facts
        for facts in scans
        if facts.border_mm
        and (size := bed_mm(facts))
        and max(abs(size[axis] - bed[axis]) for axis in (0, 1)) < SAME_BED_MM
    ]
    boxes = [_around(facts.border_mm) for facts in here if facts.role == "blank"]
    found: list[tuple[str, tuple[Point, ...]]] = []
    if boxes:
        ends = [pick(box[at] for box in boxes) for at, pick in enumerate((max, max, min, min))]
        left, top, right, bottom = ends
        corners = ((left, top), (right, top), (right, bottom), (left, bottom))
        found.append(("blank paper", corners))
    sheets = [facts.border_mm for facts in here if facts.role == "bed-sheet"]
    found += [("bed sheet", border) for border in sheets[:1]]
    return tuple(
        _Paper(words, _place_words(words, border, bed), border)
        for words, border in found
        if _shows(border, bed)
    )


def _around(border: Sequence[Point]) -> Box:
    across, down = zip(*border, strict=True)
    return min(across), min(down), max(across), max(down)


def _place_words(words: str, border: Sequence[Point], bed: Point) -> str:
    box = _around(border)
    ends = [min(max(end, 0.0), bed[at % 2]) for at, end in enumerate(box)]
    left, top, right, bottom = (number(end, 0) for end in ends)
    return f"The {words} lay from x {left} to {right}, y {top} to {bottom} mm."


def _shows(border: Sequence[Point], bed: Point) -> bool:
    """Whether some of a border lies inside the glass."""
    steps = [n / 32 for n in range(33)]
    return any(
        all(
            INSIDE_MM < a + t * (b - a) < end - INSIDE_MM
            for a, b, end in zip(p, q, bed, strict=True)
        )
        for p, q in zip(border, (*border[1:], *border[:1]), strict=True)
        for t in steps
    )


def _alt(size: str, shown: Sequence[Diagnosis], places: Sequence[Place], spine: Side | None) -> str:
    said = []
    for at, finding in enumerate(shown, 1):
        mine = [place for place in places if place.mark == str(at)]
        heading = finding.heading or finding.title
        said.append(f"{at}, {heading}" + (f": {_where(mine)}" if mine else ": no one place"))
    words = f"The glass seen from above, {size}. " + ("; ".join(said) or "Nothing is drawn on it")
    return f"{words}. " + (f"The spine of a book lies at the {spine}." if spine else "")


def _where(places: Sequence[Place]) -> str:
    first = places[0]
    left, top, right, bottom = (number(v, 0) for v in first.box_mm)
    more = f" and {len(places) - 1} more" if len(places) > 1 else ""
    if first.kind == "line":
        upright = first.box_mm[3] - first.box_mm[1] >= first.box_mm[2] - first.box_mm[0]
        way = f"x {left} mm, from y {top} to {bottom} mm" if upright else f"y {top} mm"
        return f"a line at {way}{more}"
    if first.kind == "spot":
        spots = [
            f"x {number((b[0] + b[2]) / 2, 0)}, y {number((b[1] + b[3]) / 2, 0)} mm"
            for b in (place.box_mm for place in places[:4])
        ]
        return joined(spots)
    kinds = {"strip": "a strip", "outside": "beyond the image", "bands": "bands, all over"}
    return f"{kinds.get(first.kind, 'a part')} from x {left} to {right}, y {top} to {bottom} mm"


def _places(finding: Diagnosis, mark: str, record: Record, bed: Point) -> Iterator[Place]:
    """Where a finding shows: from its signs."""
    sure = finding.confirmed or not finding.look
    for seen in finding.signs:
        if seen.streak is not None and seen.streak < len(record.streaks):
            yield _line(record, seen.streak, mark, sure=sure)
        elif seen.mark is not None:
            yield from _spots(seen, mark, record, sure=sure)
        else:
            yield from _area(seen, mark, bed, sure=sure)


def _line(record: Record, index: int, mark: str, *, sure: bool) -> Place:
    streak = record.streaks[index]
    start, end = streak.extent_mm
    at = streak.at_mm
    box = (at, start, at, end) if streak.axis == "travel" else (start, at, end, at)
    return Place(mark, "line", box, sure, streak.polarity)


def _spots(seen: Seen, mark: str, record: Record, *, sure: bool) -> Iterator[Place]:
    """All marks of the kind of the one that the sign names."""
    if seen.mark is None or seen.mark >= len(record.glass_marks):
        return
    kind = record.glass_marks[seen.mark].kind
    for each in [m for m in record.glass_marks if m.kind == kind][:MOST_SPOTS]:
        (x, y), (wide, high) = each.at_mm, each.size_mm
        box = (x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)
        yield Place(mark, "spot", box, sure)


def _area(seen: Seen, mark: str, bed: Point, *, sure: bool) -> Iterator[Place]:
    side = next((side for side in SIDES if side == seen.terms.get("side")), None)
    if side is not None and seen.sign in SIDE_SIGNS:
        depth = seen.numbers.get(SIDE_SIGNS[seen.sign], STRIP_MM)
        yield Place(mark, "strip", _strip(side, depth, bed), sure)
    elif side is not None and seen.sign in OUTSIDE_SIGNS:
        depth = seen.numbers.get("mm", STRIP_MM)
        yield Place(mark, "outside", _strip(side, -depth, bed), sure)
    elif seen.sign == "soft-place":
        yield Place(mark, "corner", _part(seen.terms.get("place", ""), bed), sure)
    elif seen.sign in BAND_SIGNS:
        yield Place(mark, "bands", (0.0, 0.0, *bed), sure)


def _strip(side: Side, depth: float, bed: Point) -> Box:
    """Along a side, inwards; outwards for a negative depth."""
    width, height = bed
    near, far = sorted((0.0, depth))
    return {
        "left": (near, 0.0, far, height),
        "right": (width - far, 0.0, width - near, height),
        "top": (0.0, near, width, far),
        "bottom": (0.0, height - far, width, height - near),
    }[side]


def _part(place: str, bed: Point) -> Box:
    """A side or a corner of the bed by its name: ``bottom-right``."""
    (width, height), sides = bed, place.split("-")
    left, right = 0.0, width
    top, bottom = 0.0, height
    if "left" in sides:
        right = SOFT_SHARE * width
    if "right" in sides:
        left = (1 - SOFT_SHARE) * width
    if "top" in sides:
        bottom = SOFT_SHARE * height
    if "bottom" in sides:
        top = (1 - SOFT_SHARE) * height
    return left, top, right, bottom
