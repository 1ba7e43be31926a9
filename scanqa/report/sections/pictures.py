"""Which pictures a family gets, each with a caption and an alternative text with numbers."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Sequence
from statistics import median

import numpy as np

from scanqa.catalogue import CATALOGUE
from scanqa.model import (
    Curve,
    Evidence,
    Measurement,
    Pixels,
    Point,
    Record,
    ScanFacts,
    Streak,
)
from scanqa.report.card.places import bed_mm
from scanqa.report.sections.groups import all_alike, rows_of, span_text
from scanqa.report.view import (
    Beside,
    Box,
    Crop,
    Lines,
    Map,
    Picture,
    Pointer,
    Sites,
)
from scanqa.summary import Summary
from scanqa.words.glossary import DIRECTION_WORDS
from scanqa.words.numbers import (
    joined,
    label,
    number,
    sentence_case,
    significant,
    value_text,
    with_unit,
)

MOST_OF_A_FAMILY = 6  # evidence pictures; more would crowd the page and its bytes
MOST_CURVES = 8
CROP_PX, CROP_ROWS = 320, 120  # a crop is cut to its middle beyond this
FEW_SITES = 12  # up to here every site gets its value written beside it
LEAST_SITES = 3
MANY_POINTS = 250  # curves of more points than this are drawn across the whole page
FEW_POINTERS, SHORT_WORDS = 4, 30  # words of so few and so short pointers stand in the picture
_SITED = {
    "sharpness": ("sharpness.effective_dpi", "luma"),
    "colour": ("colour.registration", None),
}


# --------------------------------------------------------------------------------- evidence


def worth_drawing(family: str, record: Record) -> bool:
    """Whether anything was found in a family: what shows nothing is said, not drawn."""
    return any(name.partition(".")[0] == family for name in _spoken_of(record))


def _spoken_of(record: Record) -> set[str]:
    """Measures (and families) that findings rest on."""
    return {name for finding in record.diagnoses for name in finding.rests_on}


def of_evidence(
    evidence: Sequence[Evidence], streaks: Sequence[Streak], record: Record | None = None
) -> tuple[tuple[Picture, ...], int]:
    """Pictures of a family's evidence and how many were left out.

    With a record, pictures of one measure are drawn only where a finding rests on it.
    """
    spoken = _spoken_of(record) if record is not None else None
    chosen = [e for e in evidence if spoken is None or _always(e) or _says(e, spoken)]
    chosen = [e for e in chosen if spoken is None or not _shows_no_line(e)]
    drawn = [picture for e in chosen if (picture := _picture(e, streaks)) is not None]
    return tuple(drawn[:MOST_OF_A_FAMILY]), max(0, len(drawn) - MOST_OF_A_FAMILY)


def _always(e: Evidence) -> bool:
    """Whether it goes with its family, or is a response: what others would look for first."""
    return "." not in e.explains or e.shows == "response"


def surely_a_curve(e: Evidence) -> bool:
    """Whether curves will be drawn whatever the findings: of a response, of lines that were found.

    Of other curves this is known only when all is judged.
    """
    return e.kind == "curves" and (e.shows == "response" or bool(e.lines_mm))


def _shows_no_line(e: Evidence) -> bool:
    """Whether it is a profile in which no line was found."""
    return e.explains == "streaks" and e.kind == "curves" and not e.lines_mm


def _says(e: Evidence, spoken: set[str]) -> bool:
    return any(name.startswith(e.explains) or e.explains.startswith(name) for name in spoken)


def _picture(e: Evidence, streaks: Sequence[Streak]) -> Picture | None:
    pointers = tuple(_pointers(e, streaks))
    caption = _caption(e, pointers)
    if e.kind == "curves":
        return _curves(e, caption, pointers)
    if e.image is None or e.image.size == 0:
        return None
    rows, columns = e.image.shape[:2]
    extent = e.extent_mm or (0.0, 0.0, float(columns), float(rows))
    if e.kind == "map":
        values = e.image[np.isfinite(e.image)]
        if values.size == 0:
            return None
        alt = _map_alt(e, extent)
        return Map(e.title, caption, alt, e.image, extent, e.unit)
    if e.kind == "crop":
        return _crop(e, caption, extent)
    return None


def _curves(e: Evidence, caption: str, pointers: tuple[Pointer, ...]) -> Lines | None:
    curves = tuple(_finite(e.curves))
    if not curves:
        return None
    x_label, y_label = sentence_case(e.x_label), sentence_case(e.y_label or e.unit)
    levels = ((0.5, "half"), (0.1, "a tenth")) if e.shows == "response" else ()
    alt = _lines_alt(e.title, curves, x_label, y_label, pointers)
    return Lines(
        e.title,
        caption,
        alt,
        x_label,
        y_label,
        curves,
        pointers,
        levels,
        wide=max(len(curve.x) for curve in curves) > MANY_POINTS,
        scattered=e.explains.startswith("colour"),
    )


def _crop(e: Evidence, caption: str, extent: Box) -> Crop | Beside:
    """Real pixels; of a line also their mean along it, made stronger."""
    assert e.image is not None
    image, extent = _middle(e.image, extent)
    left, top, right, bottom = (number(v, 1) for v in extent)
    where = f"from x {left} to {right} and y {top} to {bottom} mm"
    if not e.codes or (not e.shows and 2 * (e.codes[1] - e.codes[0]) > FULL):  # hardly stretched
        alt = f"{e.title}: real pixels, magnified, {where}."
        return Crop(e.title, caption, alt, image, extent)
    as_it_is = unstretched(image, e.codes)
    if e.shows:
        stronger, times = along_itself(as_it_is, axis=0 if e.shows == "travel" else 1)
        words = f"the mean along it, made {times} times stronger"
    else:
        stronger, times = image, round(FULL / max(e.codes[1] - e.codes[0], 1.0))
        words = f"contrast, made {times} times stronger"
    alt = (
        f"{e.title}: the same pixels twice, {where}; at the left as they are, mean code "
        f"{number(float(as_it_is.mean()), 0)}, at the right {words}."
    )
    size = with_unit(number(extent[2] - extent[0], 1), "mm wide")
    caption = f"From {e.scan}." if e.scan else ""
    return Beside(e.title, caption, alt, as_it_is, stronger, (f"as it is, {size}", words))


FULL = 255.0


def unstretched(image: Pixels, codes: tuple[float, float]) -> Pixels:
    """Bytes of the scan out of a crop that was stretched from these codes to the whole range."""
    low, high = codes
    scale = FULL if high <= FULL else 65535.0
    back = (low + np.asarray(image, np.float64) * (high - low) / FULL) * FULL / scale
    return np.asarray(np.clip(back, 0, FULL).round(), np.uint8)


def along_itself(image: Pixels, *, axis: int) -> tuple[Pixels, int]:
    """The mean of pixels along a line, grey, stretched to the whole range, and how many times."""
    grey = np.asarray(image, np.float64)
    grey = grey.mean(axis=2) if grey.ndim == 3 else grey
    profile = grey.mean(axis=axis, keepdims=True)
    low, high = float(profile.min()), float(profile.max())
    times = FULL / max(high - low, 0.5)
    strong = np.clip((profile - low) * times, 0, FULL)
    whole = np.broadcast_to(strong, grey.shape).round()
    return np.asarray(whole, np.uint8), round(times)


def _pointers(e: Evidence, streaks: Sequence[Streak]) -> Iterator[Pointer]:
    """What the evidence points out; a streak goes by its number in the table of lines."""
    numbers: dict[tuple[str, float], str] = {
        (s.axis, s.at_mm): str(at) for at, s in enumerate(streaks, 1)
    }
    letters = itertools.cycle("abcdefghijklmnopqrstuvwxyz")
    short = len(e.lines_mm) <= FEW_POINTERS and all(
        len(words) <= SHORT_WORDS for _, words in e.lines_mm
    )
    for at, words in sorted(e.lines_mm):
        if mark := numbers.get((e.shows, at)):
            yield Pointer(at, mark, f"line {mark}")
        else:
            yield Pointer(at, words if short else next(letters), words)


def _caption(e: Evidence, pointers: Sequence[Pointer]) -> str:
    parts = [sentence_case(e.note.rstrip("."))] if e.note else []
    named = [f"{p.mark}: {p.words}" for p in pointers if p.mark.isalpha() and len(p.mark) == 1]
    if named:
        parts.append("; ".join(named))
    if any(p.mark.isdigit() for p in pointers):
        parts.append("Numbers are those of the table of lines")
    if e.scan:
        parts.append(f"From {e.scan}")
    return ". ".join(parts) + "." if parts else ""


def _finite(curves: Iterable[Curve]) -> Iterator[Curve]:
    for curve in itertools.islice(curves, MOST_CURVES):
        x, y = np.asarray(curve.x, np.float64), np.asarray(curve.y, np.float64)
        keep = np.isfinite(x) & np.isfinite(y)
        if keep.any():
            yield Curve(curve.label, x[keep], y[keep])


def _lines_alt(
    title: str, curves: Sequence[Curve], x_label: str, y_label: str, pointers: Sequence[Pointer]
) -> str:
    parts = [f"{title}: {y_label or 'value'} against {x_label or 'position'}."]
    for curve in curves:
        name = f"{curve.label}: " if curve.label else ""
        low, high = int(np.argmin(curve.y)), int(np.argmax(curve.y))
        parts.append(
            f"{name}from {significant(curve.y[0])} at {significant(curve.x[0])} to "
            f"{significant(curve.y[-1])} at {significant(curve.x[-1])}; "
            f"lowest {significant(curve.y[low])} at {significant(curve.x[low])}, "
            f"highest {significant(curve.y[high])} at {significant(curve.x[high])}."
        )
    if pointers:
        spots = [f"{p.words} at {significant(p.at, 4)}" for p in pointers[:20]]
        parts.append(f"Marked: {joined(spots)}.")
    return " ".join(parts)


def _map_alt(e: Evidence, extent: tuple[float, float, float, float]) -> str:
    assert e.image is not None
    image = np.where(np.isfinite(e.image), e.image, np.nan)
    low = np.unravel_index(np.nanargmin(image), image.shape)
    high = np.unravel_index(np.nanargmax(image), image.shape)

    def spot(at: tuple[np.intp, ...]) -> str:
        left, top, right, bottom = extent
        x = left + (float(at[1]) + 0.5) / image.shape[1] * (right - left)
        y = top + (float(at[0]) + 0.5) / image.shape[0] * (bottom - top)
        value = with_unit(significant(float(image[at])), e.unit)
        return f"{value} near x {number(x, 0)}, y {number(y, 0)} mm"

    size = f"{number(extent[2] - extent[0], 0)} by {number(extent[3] - extent[1], 0)} mm"
    return f"{e.title}: map of {size}; lowest {spot(low)}, highest {spot(high)}."


def _middle(
    image: np.ndarray[tuple[int, ...], np.dtype[np.generic]],
    extent: tuple[float, float, float, float],
) -> tuple[np.ndarray[tuple[int, ...], np.dtype[np.generic]], tuple[float, float, float, float]]:
    """The middle of a crop that is too large to be shown pixel by pixel."""
    left, top, right, bottom = extent
    rows, columns = image.shape[:2]
    high, wide = min(rows, CROP_ROWS), min(columns, CROP_PX)
    row, column = (rows - high) // 2, (columns - wide) // 2
    dx, dy = (right - left) / columns, (bottom - top) / rows
    x, y = left + column * dx, top + row * dy
    return image[row : row + high, column : column + wide], (x, y, x + wide * dx, y + high * dy)


# -------------------------------------------------------------------- from the values alone


def site_maps(
    family: str, measurements: Sequence[Measurement], scans: Sequence[ScanFacts]
) -> Iterator[Sites]:
    """Where on the bed each value was measured, one map for each direction (and colour)."""
    if family not in _SITED:
        return
    name, channel = _SITED[family]
    chosen = [m for m in measurements if m.name == name and (channel in (None, m.channel))]
    beds = {facts.file: bed for facts in scans if (bed := bed_mm(facts)) is not None}
    found = rows_of([m for m in chosen if m.at_mm and m.scan in beds], scans)
    best: dict[tuple[str, str], Summary] = {}
    for group in found:
        key = (group.key.direction, group.key.channel)
        if key not in best or len(group.known) > len(best[key].known):
            best[key] = group
    shown = [group for group in best.values() if len(group.known) >= LEAST_SITES]
    if CATALOGUE[name].by_size:  # what is nowhere large enough to matter is said, not drawn
        shown = [group for group in shown if _matters(group)]
    values = [m.value for group in shown for m in group.known if m.value is not None]
    if not values:
        return
    span = (min(values), max(values))
    if CATALOGUE[name].by_size:
        span = (-max(map(abs, span)), max(map(abs, span)))
    for group in shown:
        yield _site_map(group, beds, span)


def _matters(group: Summary) -> bool:
    largest = max(abs(m.value or 0.0) for m in group.known)
    return largest >= group.definition.matters.between(0.0, largest)


def _site_map(group: Summary, beds: dict[str, Point], span: tuple[float, float]) -> Sites:
    row, on = group.definition, group.key
    known = [(m, m.at_mm, m.value) for m in group.known if m.at_mm and m.value is not None]
    bed = max((beds[m.scan] for m, _, _ in known), key=lambda size: size[0] * size[1])
    values = tuple(value for _, _, value in known)
    bad = group.worst
    lowest, highest = min(values), max(values)
    ends = (values.index(lowest), values.index(highest))
    texts = tuple(
        number(value, row.digits) if len(known) <= FEW_SITES or at in ends else ""
        for at, value in enumerate(values)
    )
    way = f" {DIRECTION_WORDS[on.direction]}" if on.direction else ""
    colour = f", {on.channel} against green" if on.channel in ("red", "blue") else ""
    title = f"{label(on.name)}{way}{colour}"
    reach = span_text(group)
    middle = with_unit(number(median(values), row.digits), row.unit)
    if not all_alike(group):
        reach += f", median {middle}"
    edges = f"{on.edge_kind} edges" if on.edge_kind else "places"
    caption = f"{len(known)} {edges} on the bed, drawn to scale: {reach}."
    alt = f"Map of the bed, {title}. {caption}"
    if bad is not None and bad.at_mm is not None:
        x, y = (number(v, 0) for v in bad.at_mm)
        alt += f" Worst {value_text(bad)} at x {x}, y {y} mm."
    places = tuple(at for _, at, _ in known)
    return Sites(title, caption, alt, bed, row.unit, places, values, texts, span)
