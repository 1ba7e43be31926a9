"""Real pixels beside what a diagnosis says, cut at the place where its measure is worst.

Streaks and marks bring their own crops. For the other signs of diagnoses that weigh (faults and
warnings), the worst place of a measure that has places is shown, in the direction and the scan that
the sign speaks of, for sharpness also the best one to compare with; for a shadow or the gutter the
middle of that side. What has no place (noise, level, size) has no crop.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from scanqa.catalogue import CATALOGUE, SIDES, Side
from scanqa.model import (
    GRAVE,
    LIKE_DPI,
    Diagnosis,
    Evidence,
    Finding,
    Measurement,
    Placement,
    Point,
    Results,
    Seen,
)
from scanqa.reading.crops import crop
from scanqa.words.glossary import DIRECTION_WORDS

EDGE_PX = 96  # round a slanted edge: its blur and nothing else
SIDE_PX = 320  # as much of a side as a page shows pixel by pixel


def proof(
    findings: Iterable[Finding],
    results: Results,
    placements: Sequence[Placement],
    *,
    book_edge: Side | None = None,
) -> Results:
    """Crops for the diagnoses that weigh.

    Parameters
    ----------
    findings : iterable of Finding
        Diagnoses; criteria are passed over.
    results : Results
        Everything measured.
    placements : sequence of Placement
        The scans, to cut from.
    book_edge : str, optional
        Where the spine lies; without it the gutter is not shown.

    Returns
    -------
    Results
        Evidence of the kind ``crop`` that explains a measure by its name.
    """
    crops: dict[tuple[object, ...], Evidence] = {}  # measures of one place share their crop
    for finding in findings:
        if not isinstance(finding, Diagnosis) or finding.severity not in GRAVE:
            continue
        for name in finding.rests_on:
            signs = [
                seen
                for seen in finding.signs
                if name in seen.rests_on and seen.streak is None and seen.mark is None
            ]
            if signs:
                for each in _of_measure(name, signs, results, placements, book_edge):
                    crops.setdefault((each.scan, each.extent_mm), each)
    return Results(evidence=tuple(crops.values()))


def _of_measure(
    name: str,
    signs: Sequence[Seen],
    results: Results,
    placements: Sequence[Placement],
    book_edge: Side | None,
) -> Iterator[Evidence]:
    shadow = next((seen.terms["side"] for seen in signs if seen.sign == "shadow"), None)
    side = next((side for side in SIDES if side == shadow), None)
    if side is not None:
        blank = next((p for p in placements if p.role == "blank"), None)
        if blank is not None:
            yield _cut(name, blank, _middle_of(blank, side), SIDE_PX, f"The {side} edge")
        return
    found = [m for m in results.named(name) if m.scan]
    if CATALOGUE[name].family == "gutter":
        book = next((p for p in placements if any(m.scan == p.scan.name for m in found)), None)
        if book is not None and book_edge is not None:
            yield _cut(name, book, _middle_of(book, book_edge), SIDE_PX, "The page at the spine")
        return
    placed = _spoken_of([m for m in found if m.at_mm is not None], signs, placements)
    if not placed:
        return
    worst = max(placed, key=_badness(name))
    yield from _at(name, worst, placements, "worst place" if len(placed) > 1 else "")
    if CATALOGUE[name].family == "sharpness" and len(placed) > 1:
        alike = [m for m in placed if m.direction == worst.direction and m.scan == worst.scan]
        yield from _at(name, min(alike, key=_badness(name)), placements, "best, to compare")


def _spoken_of(
    found: Sequence[Measurement], signs: Sequence[Seen], placements: Sequence[Placement]
) -> list[Measurement]:
    """Luma where there is one, in the directions, channels and scans that the signs name.

    Where no scan is named, those of the finest dpi if the measure depends on it: a coarser one is
    not blurred but coarse.
    """
    luma = [m for m in found if m.channel == "luma"]
    chosen = [m for m in luma or found if any(_names(seen, m) for seen in signs)]
    dpi = {p.scan.name: p.dpi[0] for p in placements}
    if any(seen.scan for seen in signs) or not chosen or CATALOGUE[chosen[0].name].per == "bed":
        return chosen
    finest = max(dpi.get(m.scan, 0.0) for m in chosen)
    return [m for m in chosen if dpi.get(m.scan, 0.0) >= LIKE_DPI * finest]


def _names(seen: Seen, m: Measurement) -> bool:
    return (
        (seen.direction is None or m.direction in (seen.direction, None))
        and (seen.channel is None or m.channel in (seen.channel, None))
        and (not seen.scan or m.scan == seen.scan)
    )


def _badness(name: str) -> Callable[[Measurement], float]:
    """How bad a value of a measure is: higher is worse."""
    better = CATALOGUE[name].better
    if better == "higher":
        return lambda m: -(m.value or 0.0)
    if better == "lower":
        return lambda m: m.value or 0.0
    return lambda m: abs(m.value or 0.0)


def _at(
    name: str, m: Measurement, placements: Sequence[Placement], words: str
) -> Iterator[Evidence]:
    placement = next((p for p in placements if p.scan.name == m.scan), None)
    if placement is None or m.at_mm is None or m.value is None:
        return
    row = CATALOGUE[name]
    value = f"{m.value:.{row.digits}f} {row.unit}".strip()
    way = f", {DIRECTION_WORDS[m.direction]}" if m.direction else ""
    x, y = m.at_mm
    place = f"{x:.0f}, {y:.0f} mm"
    title = f"{words.capitalize()}{way}: {value} at {place}"
    if not words:
        title = f"Where {value} was measured{way}: {place}"
    yield _cut(name, placement, placement.px(x, y), EDGE_PX, title)


def _middle_of(placement: Placement, side: Side) -> Point:
    """Pixel at the middle of a side; a crop there is moved into the image."""
    width, height = placement.scan.width_px, placement.scan.height_px
    x = {"left": 0.0, "right": width - 1.0}.get(side, (width - 1) / 2)
    y = {"top": 0.0, "bottom": height - 1.0}.get(side, (height - 1) / 2)
    return x, y


def _cut(name: str, placement: Placement, at_px: Point, side_px: int, title: str) -> Evidence:
    piece = crop(placement, *at_px, side_px)
    return Evidence(
        explains=name,
        kind="crop",
        title=f"{title}, magnified",
        scan=placement.scan.name,
        image=piece.image,
        extent_mm=piece.extent_mm,
        note=piece.note,
        codes=piece.codes,
    )
