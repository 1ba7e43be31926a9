"""A strip that folds into a wedge: light and focus against height above the glass.

Folded, the strip is a hollow wedge that stands on its own flat part. Its sloping face looks down
on the scanner and rises from the glass (the foot) to `HEIGHT_MM` (the lip, set on the book edge)::

        ┌──────── top ────────────╮
        │ wall         slope  ╱      lip, at the book edge
    ════╧══════ foot ═════╱
    flat part on the glass

Along the strip u runs down the page from the foot: the flat part lies at negative u, then come
slope, top, wall and the tab that is glued to the back of the flat part. Distance along the slope
is proportional to height whatever the height of the finished wedge; only the scale differs.
"""

from __future__ import annotations

import math

from scanqa.model import Edge, Piece, Point, Polygon, Rise, Sheet, Tag, Text
from scanqa.sheets.papers import FIRST_TAG, PAPER_NAMES, PAPERS
from scanqa.sheets.shapes import LEADING_MM, SLANT_DEG, TYPE_MM, dashes, line
from scanqa.sheets.tags import tag_edges, tilted_tag

FLAT_MM = 60.0
SLOPE_MM = 60.0
HEIGHT_MM = 12.0
TOP_MM = math.sqrt(SLOPE_MM**2 - HEIGHT_MM**2)  # the wall is upright, so the triangle is right
TAB_MM = 15.0
WIDTH_MM = 110.0
LENGTH_MM = FLAT_MM + SLOPE_MM + TOP_MM + HEIGHT_MM + TAB_MM

TAG_MM = 12.0
# Across the strip: white field, tags, long bar, scale, tags, white field.
TAGS_V_MM = (25.0, 85.0)
FLAT_TAGS_U_MM = (-44.0, -15.0)
SLOPE_TAGS_U_MM = (11.0, 29.0, 47.0)
BAR_U_MM = (3.0, 57.0)
BAR_V_MM = 46.0
BAR_WIDTH_MM = 9.0
BAR_EDGE_MM = 3.0  # the bar's long sides are measured in pieces of this length
BAR_REACH_MM = 3.0
SCALE_V_MM = 60.0
SCALE_STEP_MM = 0.5  # of height
SCALE_LINE_MM = 0.3  # thick, to be seen when it is out of focus
MOUNTAIN_DASH_MM = (2.0, 1.5)  # on, off
VALLEY_DASH_MM = (0.5, 1.0)
DASH_V_MM = ((0.0, 2.0), (16.5, 93.5), (108.0, 110.0))  # off the white fields

COLUMN_GAP_MM = 8.0  # between the strip and the column of instructions
COLUMN_MM = 72.0

INSTRUCTIONS = (
    "1  Print at 100 % on white card or thick",
    "    paper, 160 g/m² or more.",
    "2  Cut along the outline. Score the folds",
    "    with a rule and a blunt point.",
    "3  ▲ mountain: fold A, B and C away",
    "    from the print. ▽ valley: fold D",
    "    towards it. Glue the bare side of the",
    "    tab to that of the flat part: D on A.",
    "4  Flat part on the table, print down:",
    "    measure lip B above the table with a",
    "    steel rule, at both ends: 12 mm is",
    "    meant. More than 0.3 mm apart?",
    "    Straighten the folds. Write the mean",
    "    on the top.",
    "5  Flat part on the glass, print down, lip",
    "    B right above the edge of the glass",
    "    where books lie. A weight on the flat",
    "    part, none on the wedge; over all a",
    "    dark cloth.",
    "6  Scan in colour at your working dpi,",
    "    with every enhancement off.",
    "7  scanqa qualify my-scans/ --scanner",
    "    NAME --ramp-height ………",
)


def gutter_ramp(paper: str) -> Sheet:
    """Gutter-ramp sheet for ``a4``, ``letter`` or ``a3``."""
    width, height = PAPERS[paper]
    sheet_id = f"gutter-ramp-{paper}"
    origin = (
        (width - WIDTH_MM - COLUMN_GAP_MM - COLUMN_MM) / 2,
        (height - LENGTH_MM) / 2 + FLAT_MM,
    )
    words_at = (origin[0] + WIDTH_MM + COLUMN_GAP_MM, origin[1] - FLAT_MM + 5.5)
    view_at = (words_at[0] + 3, words_at[1] + 116)
    return Sheet(
        id=sheet_id,
        role="gutter-ramp",
        paper=paper,
        width_mm=width,
        height_mm=height,
        pieces=(_flat(origin, FIRST_TAG[sheet_id]), _slope(origin, FIRST_TAG[sheet_id] + 4)),
        shapes=(
            *_outline(origin),
            *_folds(origin),
            _bar(origin),
            *_scale(origin),
            *_side_view(view_at),
        ),
        words=(
            *_title(words_at, sheet_id, paper),
            *_numbers(origin),
            *_labels(origin),
            *_side_view_words(view_at),
        ),
    )


def _box(origin: Point, from_u: float, to_u: float) -> tuple[Point, ...]:
    x, y = origin
    return (
        (x, y + from_u),
        (x + WIDTH_MM, y + from_u),
        (x + WIDTH_MM, y + to_u),
        (x, y + to_u),
    )


def _flat(origin: Point, first_tag: int) -> Piece:
    tags = _tags(origin, first_tag, FLAT_TAGS_U_MM)
    edges = tuple(edge for tag in tags for edge in tag_edges(tag, TAG_MM))
    return Piece("flat", _box(origin, -FLAT_MM, 0), tags, edges)


def _slope(origin: Point, first_tag: int) -> Piece:
    tags = _tags(origin, first_tag, SLOPE_TAGS_U_MM)
    edges = [edge for tag in tags for edge in tag_edges(tag, TAG_MM)]
    outline = _box(origin, 0, SLOPE_MM)
    return Piece(
        name="slope",
        outline_mm=outline,
        tags=tags,
        edges=(*edges, *_bar_edges(origin)),
        fold_mm=(outline[3], outline[2]),
        rise=Rise((outline[0], outline[1]), SLOPE_MM, HEIGHT_MM),
    )


def _tags(origin: Point, first_tag: int, rows_u_mm: tuple[float, ...]) -> tuple[Tag, ...]:
    places = [
        (v, u, (i + j) % 2 == 0) for j, u in enumerate(rows_u_mm) for i, v in enumerate(TAGS_V_MM)
    ]
    return tuple(
        tilted_tag(first_tag + n, (origin[0] + v, origin[1] + u), TAG_MM, clockwise=clockwise)
        for n, (v, u, clockwise) in enumerate(places)
    )


def _bar(origin: Point) -> Polygon:
    """Long dark bar up the slope; its sides are slanted edges at every height."""
    (left_top, left_end), (right_top, right_end) = (_bar_side(origin, s) for s in (-0.5, 0.5))
    return Polygon((left_top, right_top, right_end, left_end))


def _bar_side(origin: Point, part: float) -> tuple[Point, Point]:
    x, y = origin
    start, end = BAR_U_MM
    drift = math.tan(math.radians(SLANT_DEG)) * (end - start)
    v = BAR_V_MM + part * BAR_WIDTH_MM
    return (x + v - drift / 2, y + start), (x + v + drift / 2, y + end)


def _bar_edges(origin: Point) -> list[Edge]:
    count = round((BAR_U_MM[1] - BAR_U_MM[0]) / BAR_EDGE_MM) - 2  # none next to the bar's ends
    edges = []
    for name, part in (("left", -0.5), ("right", 0.5)):
        top, end = _bar_side(origin, part)
        for i in range(1, count + 1):
            ends = [
                (top[0] + share * (end[0] - top[0]), top[1] + share * (end[1] - top[1]))
                for share in (i / (count + 2), (i + 1) / (count + 2))
            ]
            # The dark lies to the right of a walk from start to end.
            start_mm, end_mm = ends if name == "right" else reversed(ends)
            edges.append(Edge(f"bar-{name}-{i}", start_mm, end_mm, BAR_REACH_MM))
    return edges


def _outline(origin: Point) -> list[Polygon]:
    corners = _box(origin, -FLAT_MM, LENGTH_MM - FLAT_MM)
    return [line(corners[i - 1], corner) for i, corner in enumerate(corners)]


def _fold_us() -> dict[str, float]:
    return {
        "A": 0.0,
        "B": SLOPE_MM,
        "C": SLOPE_MM + TOP_MM,
        "D": SLOPE_MM + TOP_MM + HEIGHT_MM,
    }


def _folds(origin: Point) -> list[Polygon]:
    x, y = origin
    shapes = []
    for name, u in _fold_us().items():
        spans = DASH_V_MM if name in "AB" else ((0.0, WIDTH_MM),)
        for start, end in spans:
            ends = (x + start, y + u), (x + end, y + u)
            on_mm, off_mm = VALLEY_DASH_MM if name == "D" else MOUNTAIN_DASH_MM
            dashed = end - start > 5
            shapes += dashes(*ends, on_mm=on_mm, off_mm=off_mm) if dashed else [line(*ends)]
    return shapes


def _scale(origin: Point) -> list[Polygon]:
    """Ticks of height, half a millimetre apart, for a wedge of the designed height."""
    x, y = origin
    shapes = []
    for i in range(1, round(HEIGHT_MM / SCALE_STEP_MM)):
        u = i * SCALE_STEP_MM / HEIGHT_MM * SLOPE_MM
        length = 5.0 if i % 4 == 0 else 4.0 if i % 2 == 0 else 2.5
        shapes.append(
            line(
                (x + SCALE_V_MM, y + u),
                (x + SCALE_V_MM + length, y + u),
                width_mm=SCALE_LINE_MM,
            )
        )
    return shapes


def _numbers(origin: Point) -> list[Text]:
    x, y = origin
    return [
        Text((x + SCALE_V_MM + 6.5, y + h / HEIGHT_MM * SLOPE_MM + 1.0), f"{h}", TYPE_MM)
        for h in range(2, round(HEIGHT_MM), 2)
    ]


def _labels(origin: Point) -> list[Text]:
    x, y = origin
    folds = _fold_us()
    middle = x + WIDTH_MM / 2
    words = [
        Text((middle, y - FLAT_MM + 6), "flat part · lies on the glass", TYPE_MM, anchor="middle"),
        Text((x + SCALE_V_MM + 6.5, y + SLOPE_MM - 2.6), "mm", TYPE_MM),
        Text((middle, y + folds["B"] + 14), "Gutter ramp", 5.0, bold=True, anchor="middle"),
        Text((middle, y + folds["B"] + 23), "measured height of lip B:", TYPE_MM, anchor="middle"),
        Text((middle, y + folds["B"] + 36), "………………… mm", TYPE_MM, anchor="middle"),
        Text((middle, y + folds["C"] - 6), "top · stays outside", TYPE_MM, anchor="middle"),
        Text((x + 66.0, y + folds["C"] + 6.8), "wall · stays outside", TYPE_MM),
        Text((middle, y + folds["D"] + 8.4), "tab · glue its bare side", TYPE_MM, anchor="middle"),
    ]
    for name, u in folds.items():
        baseline = y + u + (3.6 if name != "A" else -1.6)
        words.append(Text((x + 36.0, baseline), name, TYPE_MM, bold=True))
        words.append(
            Text((x + 40.0, baseline), "▽ valley" if name == "D" else "▲ mountain", TYPE_MM)
        )
    return words


# ------------------------------------------------------ the finished wedge, from the side

VIEW_SCALE = (0.52, 0.8)  # along and up: the height is exaggerated


def _view_points(corner: Point) -> dict[str, Point]:
    """Points of the side view; `corner` is the left end of the flat part on the glass."""

    def at(right_mm: float, up_mm: float) -> Point:
        return corner[0] + VIEW_SCALE[0] * right_mm, corner[1] - VIEW_SCALE[1] * up_mm

    tab_up_mm = 1.0
    return {
        "end": at(0, 0),
        "A": at(FLAT_MM, 0),
        "B": at(FLAT_MM + TOP_MM, HEIGHT_MM),
        "C": at(FLAT_MM, HEIGHT_MM),
        "D": at(FLAT_MM, tab_up_mm),
        "tab": at(FLAT_MM - TAB_MM, tab_up_mm),
        "glass": at(-4, -1),
        "edge of the glass": at(FLAT_MM + TOP_MM, -5),
    }


def _side_view(corner: Point) -> list[Polygon]:
    p = _view_points(corner)
    paper = [("end", "A"), ("A", "B"), ("B", "C"), ("C", "D"), ("D", "tab")]
    (left, top), (right, bottom) = p["glass"], p["edge of the glass"]
    glass = [line((left, top), (right, top)), line((left, bottom), (right, bottom))]
    glass += [line((left, top), (left, bottom)), line((right, top), (right, bottom))]
    return [*glass, *(line(p[a], p[b], width_mm=0.3) for a, b in paper)]


def _side_view_words(corner: Point) -> list[Text]:
    p = _view_points(corner)
    bottom = p["edge of the glass"][1]
    return [
        Text((p["D"][0] - 1.2, p["D"][1] - 1.2), "D on A", TYPE_MM, anchor="end"),
        Text((p["end"][0], p["end"][1] - 5.2), "flat part: weight", TYPE_MM),
        Text((p["end"][0], p["end"][1] - 2.0), "on it", TYPE_MM),
        Text((p["C"][0] + 1.5, p["C"][1] - 1.2), "wedge: no weight", TYPE_MM),
        Text((p["B"][0] + 1.2, p["B"][1] + 0.9), "B", TYPE_MM),
        Text((p["C"][0] - 1.2, p["C"][1] + 0.9), "C", TYPE_MM, anchor="end"),
        Text((p["glass"][0], bottom + 3.4), "glass, from the side", TYPE_MM),
        Text((p["B"][0], bottom + 3.4), "its edge", TYPE_MM, anchor="end"),
    ]


def _title(at: Point, sheet_id: str, paper: str) -> list[Text]:
    x, y = at
    return [
        Text((x, y), "Gutter ramp", 6.0, bold=True),
        Text((x, y + 5.5), f"{PAPER_NAMES[paper]} · {sheet_id}", TYPE_MM),
        *(
            Text((x, y + 13.5 + LEADING_MM * i), words, TYPE_MM)
            for i, words in enumerate(INSTRUCTIONS)
        ),
    ]
