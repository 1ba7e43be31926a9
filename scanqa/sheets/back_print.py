"""A sheet whose back is printed: how much shows through to the front.

The front carries tags along its rim and is blank in the middle; on the back, dark blocks alternate
with open ones. Seen from the front, a block and its open neighbours differ only by what shows
through, so that uneven light cancels. Dark blocks are no larger than that asks for: toner.
"""

from __future__ import annotations

from scanqa.model import Patch, Piece, Point, Polygon, Sheet, Text
from scanqa.sheets.papers import FIRST_TAG, PAPER_NAMES, PAPERS
from scanqa.sheets.shapes import LEADING_MM, TYPE_MM, Box, line, rectangle
from scanqa.sheets.tags import tag_edges, tilted_tag

TAG_MM = 12.0
TAG_BORDER_MM = 16.0  # from the paper's edge to the centres of the tags
TAGS_ACROSS_DOWN = {"a4": (4, 5), "letter": (4, 5), "a3": (5, 7)}

FIELD_BORDER_MM = 32.0  # the blocks keep this far from the paper's edge ...
HEAD_MM = 34.0  # ... and leave this much more at the top for the words
BLOCKS_ACROSS_DOWN = {"a4": (3, 6), "letter": (3, 6), "a3": (4, 8)}
BLOCK_GAP_MM = 3.0  # of open paper between neighbours
DARK_MM = 28.0  # a side of a dark block, in the middle of its place
PATCH_INSET_MM = 5.0  # two sides of a sheet are seldom printed closer than 2 mm

CHECK_MM = 10.0  # box on the front; a square of the back must show inside it
CHECK_SLACK_MM = 2.0

INSTRUCTIONS = (
    "1  Print both pages on one sheet of the paper you want to know about, at",
    "    100 %, on both sides, turned on the long edge.",
    "2  Against the light: the black square must lie inside the box on the right.",
    "3  This side down on the glass. Scan it under the white lid; leave it as it",
    "    lies, lay black card on its back, and scan it again.",
    "4  scanqa qualify my-scans/ --scanner NAME",
)


def back_print(paper: str) -> Sheet:
    """Back-print sheet for ``a4``, ``letter`` or ``a3``."""
    width, height = PAPERS[paper]
    sheet_id = f"back-print-{paper}"
    tags = tuple(
        tilted_tag(FIRST_TAG[sheet_id] + n, (x, y), TAG_MM, clockwise=clockwise)
        for n, (x, y, clockwise) in enumerate(_rim(width, height, *TAGS_ACROSS_DOWN[paper]))
    )
    blocks = _blocks(paper)
    patches = tuple(
        Patch(f"back-{i + 1}-{'dark' if cover else 'open'}", _inset(box), cover)
        for i, (box, cover) in enumerate(blocks)
    )
    outline = ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height))
    edges = tuple(edge for tag in tags for edge in tag_edges(tag, TAG_MM))
    left, top, right, bottom = check = _check_box(width)
    slack = CHECK_SLACK_MM
    square = (left + slack, top + slack, right - slack, bottom - slack)
    return Sheet(
        id=sheet_id,
        role="back-print",
        paper=paper,
        width_mm=width,
        height_mm=height,
        pieces=(Piece("sheet", outline, tags, edges, back_patches=patches),),
        shapes=tuple(_frame(check)),
        words=tuple(_title(sheet_id, paper)),
        back=(rectangle(square), *(rectangle(box) for box, cover in blocks if cover)),
        back_words=tuple(_back_words(sheet_id, paper)),
    )


def _rim(width: float, height: float, across: int, down: int) -> list[tuple[float, float, bool]]:
    """Centres of the tags along the rim, and whether each is tilted clockwise."""
    inner_x, inner_y = width - 2 * TAG_BORDER_MM, height - 2 * TAG_BORDER_MM
    return [
        (
            TAG_BORDER_MM + i * inner_x / (across - 1),
            TAG_BORDER_MM + j * inner_y / (down - 1),
            (i + j) % 2 == 0,
        )
        for j in range(down)
        for i in range(across)
        if i in (0, across - 1) or j in (0, down - 1)
    ]


def _blocks(paper: str) -> list[tuple[Box, float]]:
    """Boxes as seen from the front, row by row, dark and open ones in turn."""
    width, height = PAPERS[paper]
    columns, rows = BLOCKS_ACROSS_DOWN[paper]
    left, top = FIELD_BORDER_MM, FIELD_BORDER_MM + HEAD_MM
    pitch_x = (width - 2 * FIELD_BORDER_MM + BLOCK_GAP_MM) / columns
    pitch_y = (height - top - FIELD_BORDER_MM + BLOCK_GAP_MM) / rows
    wide, high = pitch_x - BLOCK_GAP_MM, pitch_y - BLOCK_GAP_MM
    places = [(i, j) for j in range(rows) for i in range(columns)]
    blocks = []
    for i, j in places:
        x, y = left + i * pitch_x + wide / 2, top + j * pitch_y + high / 2
        dark = (i + j) % 2 == 0
        across, down = (DARK_MM / 2, DARK_MM / 2) if dark else (wide / 2, high / 2)
        blocks.append(((x - across, y - down, x + across, y + down), float(dark)))
    return blocks


def _inset(box: Box) -> Box:
    left, top, right, bottom = box
    by = PATCH_INSET_MM
    return left + by, top + by, right - by, bottom - by


def _check_box(width: float) -> Box:
    right = width - FIELD_BORDER_MM
    return right - CHECK_MM, FIELD_BORDER_MM + 3, right, FIELD_BORDER_MM + 3 + CHECK_MM


def _frame(box: Box) -> list[Polygon]:
    left, top, right, bottom = box
    corners: tuple[Point, ...] = ((left, top), (right, top), (right, bottom), (left, bottom))
    return [line(corners[i - 1], corner) for i, corner in enumerate(corners)]


def _title(sheet_id: str, paper: str) -> list[Text]:
    x, y = FIELD_BORDER_MM, FIELD_BORDER_MM + 5
    return [
        Text((x, y), "Back print", 6.0, bold=True),
        Text((x + 46, y), f"{PAPER_NAMES[paper]} · {sheet_id} · front", TYPE_MM),
        *(
            Text((x, y + 10.5 + LEADING_MM * i), words, TYPE_MM)
            for i, words in enumerate(INSTRUCTIONS)
        ),
    ]


def _back_words(sheet_id: str, paper: str) -> list[Text]:
    x = FIELD_BORDER_MM + CHECK_MM + 8  # the square of the front's right lies left on the back
    y = FIELD_BORDER_MM + 5
    return [
        Text((x, y), "Back print, back", 6.0, bold=True),
        Text((x, y + 4.8), f"{PAPER_NAMES[paper]} · {sheet_id} · back", TYPE_MM),
        Text((x, y + 11), "This side lies up, away from the glass.", TYPE_MM),
    ]
