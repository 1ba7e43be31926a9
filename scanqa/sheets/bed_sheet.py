"""The main target: sharpness over the bed, geometry, colour registration and tone.

Tilted tags stand on a grid over the whole page. In the gaps between four tags there is room for
one thing each: a tone patch, a window to be cut out, or a stretch of one of the two bars that are
measured with a steel rule. The first row of gaps holds the instructions.
"""

from __future__ import annotations

from dataclasses import dataclass

from scanqa.model import Edge, Patch, Piece, Point, Polygon, Sheet, Text
from scanqa.sheets.papers import FIRST_TAG, PAPERS
from scanqa.sheets.shapes import (
    LEADING_MM,
    SLANT_DEG,
    TYPE_MM,
    along,
    edges_around,
    line,
    rectangle,
    square,
)
from scanqa.sheets.tags import tag_edges, tilted_tag

TAG_MM = 16.0
TAG_BORDER_MM = 20.0  # from the paper's edge to the centres of the outermost tags

PATCH_MM = 13.0
COVERS = (0.0, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 1.0)  # of the patches 0 … 7; 0 is bare paper

WINDOW_MM = 12.0
WINDOW_INSET_MM = 1.5
WINDOW_REACH_MM = 1.8
GUIDE_MM = (1.0, 5.0)  # knife guides run from here to there beyond each corner

BAR_END_MM = 6.0  # length of the ticks that end a bar
TO_WRITE_MM = 6.0  # from the bar to the line below it that is written on
OFF_BAR_MM = 0.5  # from a bar to the words beside it
TIGHT_MM = 3.3  # between lines where rows of tags stand close

# The gaps between tags, row by row below the instructions and above the horizontal bar, right of
# the vertical bar: a digit is a patch, w a window, a dot stays empty. Neighbours in tone stand
# apart, so that an unevenly lit bed does not look like a tone curve.
GAPS = {
    "a4": ("w3w", "506", "274", "w1w"),
    "letter": ("w3w", "506", "274", "w1w"),
    "a3": ("w3.5w", ".0.6.", "2.w.1", ".7.4.", "6.w.0", ".1.3.", "w5.2w"),
}
COLUMNS_ROWS = {"a4": (5, 7), "letter": (5, 7), "a3": (7, 10)}
BARS_MM = {"a4": (180.0, 180.0), "letter": (180.0, 160.0), "a3": (260.0, 290.0)}

INSTRUCTIONS = (
    "1  Print at 100 % (“actual size”) on plain white paper, by laser if you can.",
    "2  Lay a steel rule along both bars; write what they measure, to 0.1 mm.",
    "3  Print down on the glass, any way round, a flat weight on it, lid down.",
    "4  Scan in colour at your working dpi, with every enhancement off.",
)
TITLE_MM = 46.0  # wide, left of the instructions
NEXT_COMMAND = "then: scanqa qualify my-scans/ --scanner NAME --bars …… …… --print LABEL"
KEEP = (
    "Keep this sheet: use the same one each time. After a year or a fold: a new one, a new label."
)
WINDOWS = "If you like: cut out the numbered windows between their guides, put black card behind."
FIELDS = "printer …………………   paper …………………   date ……………   print label …………………"
MEASURED = "measured: ……………………"


@dataclass(frozen=True, slots=True)
class _Grid:
    """Where the tags stand; gap (column, row) lies in the middle of four of them."""

    xs: tuple[float, ...]
    ys: tuple[float, ...]

    def gap(self, column: int, row: int) -> Point:
        return (
            (self.xs[column] + self.xs[column + 1]) / 2,
            (self.ys[row] + self.ys[row + 1]) / 2,
        )


def bed_sheet(paper: str) -> Sheet:
    """Bed sheet for ``a4``, ``letter`` or ``a3``."""
    width, height = PAPERS[paper]
    columns, rows = COLUMNS_ROWS[paper]
    grid = _Grid(_spread(width, columns), _spread(height, rows))
    sheet_id = f"bed-sheet-{paper}"

    places = [
        (x, y, (i + j) % 2 == 0) for j, y in enumerate(grid.ys) for i, x in enumerate(grid.xs)
    ]
    tags = tuple(
        tilted_tag(FIRST_TAG[sheet_id] + n, (x, y), TAG_MM, clockwise=clockwise)
        for n, (x, y, clockwise) in enumerate(places)
    )
    edges = [edge for tag in tags for edge in tag_edges(tag, TAG_MM)]
    patches: list[Patch] = []
    holes: list[tuple[Point, ...]] = []
    shapes: list[Polygon] = []
    words = _title(grid, sheet_id, paper)

    for row, line_of_gaps in enumerate(GAPS[paper], start=1):
        for column, what in enumerate(line_of_gaps, start=1):
            centre = grid.gap(column, row)
            if what == "w":
                clockwise = len(holes) % 2 == 0
                corners = square(centre, WINDOW_MM, SLANT_DEG if clockwise else -SLANT_DEG)
                holes.append(corners)
                edges += _window_edges(len(holes), corners)
                shapes += _guides(corners)
                words.append(_to_be_cut(centre, len(holes)))
            elif what != ".":
                patch = _patch(len(patches) + 1, centre, COVERS[int(what)])
                patches.append(patch)
                shapes += [rectangle(patch.box_mm, cover=patch.cover)] if patch.cover else []
                words.append(
                    _caption(centre, f"{patch.cover * 100:.0f} %" if patch.cover else "bare")
                )

    bars, labels = _bars(grid, paper)
    outline = ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height))
    piece = Piece("sheet", outline, tags, tuple(edges), tuple(patches), holes_mm=tuple(holes))
    return Sheet(
        id=sheet_id,
        role="bed-sheet",
        paper=paper,
        width_mm=width,
        height_mm=height,
        pieces=(piece,),
        shapes=tuple(shapes + bars),
        words=tuple(words + labels),
        bars_mm=BARS_MM[paper],
    )


def _spread(length_mm: float, count: int) -> tuple[float, ...]:
    pitch = (length_mm - 2 * TAG_BORDER_MM) / (count - 1)
    return tuple(TAG_BORDER_MM + i * pitch for i in range(count))


def _title(grid: _Grid, sheet_id: str, paper: str) -> list[Text]:
    left = grid.xs[0] - TAG_MM / 2
    middle = grid.gap(0, 0)[1]
    leading = TIGHT_MM if paper == "letter" else LEADING_MM
    top = middle - leading * (len(INSTRUCTIONS) - 1) / 2 + 0.35 * TYPE_MM
    return [
        Text((left, middle - 0.2), "Bed sheet", 6.0, bold=True),
        Text((left, middle + 4.6), sheet_id, TYPE_MM),
        *(
            Text((left + TITLE_MM, top + i * leading), words, TYPE_MM)
            for i, words in enumerate(INSTRUCTIONS)
        ),
    ]


def _patch(number: int, centre: Point, cover: float) -> Patch:
    x, y = centre
    half = PATCH_MM / 2
    return Patch(
        f"patch-{number}-{cover * 100:.0f}", (x - half, y - half, x + half, y + half), cover
    )


def _caption(centre: Point, words: str) -> Text:
    return Text((centre[0], centre[1] + PATCH_MM / 2 + 3.4), words, TYPE_MM, anchor="middle")


def _to_be_cut(centre: Point, number: int) -> Text:
    """Number in the middle of a window: it leaves with what is cut out."""
    x, y = centre
    return Text((x, y + 0.35 * TYPE_MM), str(number), TYPE_MM, anchor="middle")


def _window_edges(number: int, corners: tuple[Point, Point, Point, Point]) -> tuple[Edge, ...]:
    return edges_around(
        f"window-{number}",
        corners,
        inset_mm=WINDOW_INSET_MM,
        reach_mm=WINDOW_REACH_MM,
        kind="cut",
    )


def _guides(corners: tuple[Point, Point, Point, Point]) -> list[Polygon]:
    """Knife guides in line with the sides, beyond the corners: no ink lies along a cut."""
    near, far = GUIDE_MM
    return [
        line(along(corner, other, -near), along(corner, other, -far))
        for i, corner in enumerate(corners)
        for other in (corners[i - 1], corners[(i + 1) % 4])
    ]


def _bars(grid: _Grid, paper: str) -> tuple[list[Polygon], list[Text]]:
    """Horizontal bar in the last row of gaps, vertical bar in the first column of them."""
    across, down = BARS_MM[paper]
    x0 = (grid.xs[0] + grid.xs[-1] - across) / 2
    y = grid.gap(0, len(grid.ys) - 2)[1]
    x = grid.gap(0, 0)[0]
    y0 = (grid.gap(0, 0)[1] + y - down) / 2
    half = BAR_END_MM / 2
    shapes = [
        line((x0, y), (x0 + across, y), width_mm=0.25),
        line((x0, y - half), (x0, y + half)),
        line((x0 + across, y - half), (x0 + across, y + half)),
        line((x, y0), (x, y0 + down), width_mm=0.25),
        line((x - half, y0), (x + half, y0)),
        line((x - half, y0 + down), (x + half, y0 + down)),
    ]
    middle, half_down = x0 + across / 2, y0 + down / 2
    above, left = y - OFF_BAR_MM - 0.24 * TYPE_MM, x - OFF_BAR_MM - 0.24 * TYPE_MM
    below, right = y + TO_WRITE_MM, x + OFF_BAR_MM + 0.94 * TYPE_MM
    words = [
        Text((middle - 30, above), f"{across:.0f} mm", TYPE_MM, anchor="middle"),
        Text((middle - 18, above), MEASURED, TYPE_MM),
        Text((middle, below), FIELDS, TYPE_MM, anchor="middle"),
        _upward((left, half_down + 38), f"{down:.0f} mm"),
        _upward((left, half_down), MEASURED),
        _upward((left - LEADING_MM, half_down), NEXT_COMMAND),
        _upward((right, half_down), KEEP),
        _upward((right + LEADING_MM, half_down), WINDOWS),
    ]
    return shapes, words


def _upward(at: Point, words: str) -> Text:
    """Words that run up the page about a point of their baseline."""
    return Text(at, words, TYPE_MM, anchor="middle", turn_deg=-90)
