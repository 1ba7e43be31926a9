"""Four strips that cross the edge of the glass, one for each side.

Each is cut out, folded on its fold line and set against the edge of the glass. The tags say where
the fold line lies in the image, even if the sensor never sees it: what is missing is the dead
margin. A scale that starts at the fold gives the same by eye, and a white field along the whole
strip shows how the light falls towards the edge.

Along a strip u runs from the fold into the glass and v across it; the four strips are one
description, turned by quarter turns and set around the middle of the page.
"""

from __future__ import annotations

from dataclasses import dataclass

from scanqa.model import Piece, Point, Polygon, Sheet, Side, Text
from scanqa.sheets.papers import FIRST_TAG, PAPER_NAMES, PAPERS
from scanqa.sheets.shapes import LEADING_MM, SLANT_DEG, TYPE_MM, dashes, line, turned
from scanqa.sheets.tags import tag_edges, tilted_tag

BODY_MM = 106.0  # from the fold into the glass
FLAP_MM = 24.0  # beyond the fold
WIDTH_MM = 44.0
TAG_MM = 12.0
TAGS_U_MM = (14.0, 40.0, 66.0, 92.0)
TAG_V_MM = 21.0  # the white field is v from 2 to 11 mm, the scale from 33 to 42
SCALE_V_MM = 33.0
SCALE_MM = 60
GAP_MM = 5.0  # between neighbouring strips
DIGIT_HEIGHT = 0.73  # of the size of the type

# Quarter turns of a strip whose fold is to the left; its top-left corner follows the pinwheel.
SIDES: tuple[tuple[Side, float], ...] = (("left", 0), ("top", 90), ("right", 180), ("bottom", 270))
WORDS_X_MM = 12.0  # left of the instructions above the strips

INSTRUCTIONS = (
    "1  Print at 100 % (“actual size”) on plain white paper. Check a scale with a steel rule.",
    "2  Cut out the strips 1 to 4. Score each on its dashed line, fold it to a sharp right angle.",
    "3  Lay one at each side of the glass, no matter which, print down, square to the edge.",
    "    Hook the flap over the edge, or let it stand up against the frame: the fold lies on",
    "    the very edge of the glass. White paper over all, lid down; every enhancement off.",
    "4  scanqa qualify my-scans/ --scanner NAME. A strip was not found? Where its scale first",
    "    shows, read the mm of glass that are never seen: --dead-margin left 2.3",
)
CARD_WORDS = (
    "No print is as sharp as a clean cut. Cut 5 to",
    "8 cm of glossy photo paper, each side in one",
    "pull: steel rule, new blade, firm board. Mind",
    "your fingers; no blade near the glass. Bright",
    "side down, turned by 5° (1 mm in 11), black",
    "card over the whole glass. Scan as the sheet:",
    "scanqa qualify … --card-paper photo",
)
GLASS_MM = (60.0, 38.0)  # drawn: the glass with the card on it
CARD_MM = (17.0, 13.0)


@dataclass(frozen=True, slots=True)
class _Frame:
    """From strip (u, v) to the page: a quarter turn about the middle of the page."""

    corner: Point  # (u, v) = (0, 0) before the turn
    centre: Point
    turn_deg: float

    def at(self, u: float, v: float) -> Point:
        return turned((self.corner[0] + u, self.corner[1] + v), self.turn_deg, about=self.centre)


def edge_strip(paper: str) -> Sheet:
    """Edge-strip sheet for ``a4``, ``letter`` or ``a3``."""
    width, height = PAPERS[paper]
    sheet_id = f"edge-strip-{paper}"
    centre = (width / 2, height / 2)
    reach = (BODY_MM + FLAP_MM + GAP_MM + WIDTH_MM) / 2  # half the side of the pinwheel
    corner = (centre[0] - reach + FLAP_MM, centre[1] - reach)
    pieces, shapes, words = [], [], _title(sheet_id, paper)
    shapes += _card_drawing(centre)
    words += _card_words(centre)
    for n, (side, turn_deg) in enumerate(SIDES):
        frame = _Frame(corner, centre, turn_deg)
        first = FIRST_TAG[sheet_id] + n * len(TAGS_U_MM)
        pieces.append(_strip(side, frame, first))
        shapes += _cut_lines(frame) + _fold_line(frame) + _scale(frame)
        words += _numbers(frame) + _labels(frame, side, n + 1, sheet_id)
    return Sheet(
        id=sheet_id,
        role="edge-strip",
        paper=paper,
        width_mm=width,
        height_mm=height,
        pieces=tuple(pieces),
        shapes=tuple(shapes),
        words=tuple(words),
    )


def _strip(side: Side, frame: _Frame, first_tag: int) -> Piece:
    tags = tuple(
        tilted_tag(first_tag + i, frame.at(u, TAG_V_MM), TAG_MM, clockwise=i % 2 == 0)
        for i, u in enumerate(TAGS_U_MM)
    )
    return Piece(
        name=f"strip-{side}",
        outline_mm=_outline(frame),
        tags=tags,
        edges=tuple(edge for tag in tags for edge in tag_edges(tag, TAG_MM)),
        fold_mm=(frame.at(0, 0), frame.at(0, WIDTH_MM)),
    )


def _outline(frame: _Frame) -> tuple[Point, ...]:
    return (
        frame.at(-FLAP_MM, 0),
        frame.at(BODY_MM, 0),
        frame.at(BODY_MM, WIDTH_MM),
        frame.at(-FLAP_MM, WIDTH_MM),
    )


def _cut_lines(frame: _Frame) -> list[Polygon]:
    corners = _outline(frame)
    return [line(corners[i - 1], corner) for i, corner in enumerate(corners)]


def _fold_line(frame: _Frame) -> list[Polygon]:
    """Dashed over the tags and the scale; only a mark at the rim of the white field."""
    return [
        line(frame.at(0, 0), frame.at(0, 2)),
        *dashes(frame.at(0, 11), frame.at(0, SCALE_V_MM)),
        line(frame.at(0, WIDTH_MM - 2), frame.at(0, WIDTH_MM)),
    ]


def _scale(frame: _Frame) -> list[Polygon]:
    """Ticks at every millimetre from the fold line on, longer at 5 and 10."""
    ticks = []
    for u in range(SCALE_MM + 1):
        length = 4.5 if u % 10 == 0 else 3.5 if u % 5 == 0 else 2.2
        ticks.append(line(frame.at(u, SCALE_V_MM), frame.at(u, SCALE_V_MM + length)))
    return ticks


def _numbers(frame: _Frame) -> list[Text]:
    return [
        _centred(frame.at(u, SCALE_V_MM + 6.6), 0.0, str(u), TYPE_MM, turn_deg=0.0)
        for u in range(0, SCALE_MM + 1, 5)
    ]


def _labels(frame: _Frame, side: Side, number: int, sheet_id: str) -> list[Text]:
    """Number on the flap; what it is, short, on the strip. Never upside down on the page."""
    turn = {"left": 0.0, "top": -90.0, "right": 0.0, "bottom": -90.0}[side]
    middle = frame.at((SCALE_MM + 6 + BODY_MM) / 2, SCALE_V_MM + 3.4)
    flap = frame.at(-FLAP_MM / 2, WIDTH_MM / 2)
    return [
        _centred(middle, -1.9, f"{number} · mm from the fold", TYPE_MM, turn_deg=turn),
        _centred(middle, 1.9, sheet_id, TYPE_MM, turn_deg=turn),
        _centred(flap, -3.4, str(number), 6.0, bold=True, turn_deg=-90 - turn),
        _centred(flap, 3.4, "flap", TYPE_MM, turn_deg=-90 - turn),
    ]


def _centred(
    at: Point, down_mm: float, words: str, size_mm: float, *, bold: bool = False, turn_deg: float
) -> Text:
    """Words whose middle is `down_mm` below a point, seen the way they are turned."""
    dx, dy = turned((0.0, down_mm + DIGIT_HEIGHT * size_mm / 2), turn_deg)
    return Text(
        (at[0] + dx, at[1] + dy), words, size_mm, bold=bold, anchor="middle", turn_deg=turn_deg
    )


def _title(sheet_id: str, paper: str) -> list[Text]:
    """Title and instructions in the room that the strips leave above them."""
    x, y = WORDS_X_MM, 15.0
    return [
        Text((x, y), "Edge strips", 6.0, bold=True),
        Text((x + 48, y), f"{PAPER_NAMES[paper]} · {sheet_id}", TYPE_MM),
        *(
            Text((x, y + 7.0 + LEADING_MM * i), words, TYPE_MM)
            for i, words in enumerate(INSTRUCTIONS)
        ),
    ]


# ------------------------------------- how an edge card is made, in the middle of the strips


def _card_words(centre: Point) -> list[Text]:
    x, y = centre[0] - 40.0, centre[1] - 34.0
    left, top = _glass(centre)
    return [
        Text((x, y), "Edge card", 5.0, bold=True),
        *(
            Text((x, y + 6.0 + LEADING_MM * i), words, TYPE_MM)
            for i, words in enumerate(CARD_WORDS)
        ),
        Text((left + 2, top + GLASS_MM[1] - 2.5), "black card over all", TYPE_MM),
        Text((left + GLASS_MM[0] / 2, top + GLASS_MM[1] / 2 + 1), "5°", TYPE_MM, anchor="middle"),
        Text((left, top + GLASS_MM[1] + 4.5), "the glass, from above", TYPE_MM),
    ]


def _glass(centre: Point) -> Point:
    """Top-left corner of the glass that is drawn."""
    return centre[0] - GLASS_MM[0] / 2, centre[1] - 0.5


def _card_drawing(centre: Point) -> list[Polygon]:
    """The glass with the card on it, in outline."""
    left, top = _glass(centre)
    width, height = GLASS_MM
    middle = (left + width / 2, top + height / 2)
    glass = [(left, top), (left + width, top), (left + width, top + height), (left, top + height)]
    across, down = CARD_MM[0] / 2, CARD_MM[1] / 2
    signs = ((-1, -1), (1, -1), (1, 1), (-1, 1))
    card = [
        turned((middle[0] + i * across, middle[1] + j * down), SLANT_DEG, about=middle)
        for i, j in signs
    ]
    return [
        line(corners[i - 1], corners[i], width_mm=0.3)
        for corners in (glass, card)
        for i in range(4)
    ]
