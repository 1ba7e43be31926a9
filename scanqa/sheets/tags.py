"""Fiducials: where they lie, what their squares look like, and the edges they offer.

The tags are AprilTag 36h11 (Olson 2011; Wang & Olson 2016): 6 × 6 modules inside a border of one
black module. Each is printed tilted by `SLANT_DEG`, so that the four sides of its black square
are four slanted edges: two to be measured across and two along travel.
"""

from __future__ import annotations

import functools

from scanqa.model import Edge, Point, Polygon, Tag
from scanqa.sheets.shapes import SLANT_DEG, edges_around, square

MODULES = 8  # a side: 6 data modules and the black border
CORNER_INSET_MM = 1.5  # ink gathers in corners, and the next edge is near
REACH_PER_MODULE = 0.9  # of the black border


def tilted_tag(tag_id: int, centre: Point, side_mm: float, *, clockwise: bool) -> Tag:
    """Tag of a given side, tilted by the slant to one side or the other."""
    return Tag(tag_id, square(centre, side_mm, SLANT_DEG if clockwise else -SLANT_DEG))


def tag_edges(tag: Tag, side_mm: float) -> tuple[Edge, ...]:
    """Edges of the tag's black square; they reach in no further than its black border."""
    return edges_around(
        f"tag-{tag.id}",
        tag.corners_mm,
        inset_mm=CORNER_INSET_MM,
        reach_mm=REACH_PER_MODULE * side_mm / MODULES,
    )


@functools.cache
def white_modules(tag_id: int) -> tuple[tuple[bool, ...], ...]:
    """Rows of the 8 × 8 modules of an upright tag, true where the paper shows.

    Raises
    ------
    ValueError
        If the family has no such tag (it has 587).
    """
    from cv2 import aruco

    dictionary = aruco.getPredefinedDictionary(aruco.DICT_APRILTAG_36h11)
    if not 0 <= tag_id < len(dictionary.bytesList):
        raise ValueError(f"36h11 has no tag {tag_id}")
    picture = aruco.generateImageMarker(dictionary, tag_id, MODULES, borderBits=1)
    return tuple(tuple(bool(value) for value in row) for row in picture)


def tag_polygons(tag: Tag) -> tuple[Polygon, ...]:
    """Shapes that draw a tag, in painting order: the black square, then what lies in it.

    Touching white modules are one outline, never cells side by side: between two abutting
    shapes a renderer's smoothing would leave a grey seam.
    """
    top_left, top_right, _, bottom_left = tag.corners_mm

    def place(column: int, row: int) -> Point:
        u, v = column / MODULES, row / MODULES
        return (
            top_left[0] + u * (top_right[0] - top_left[0]) + v * (bottom_left[0] - top_left[0]),
            top_left[1] + u * (top_right[1] - top_left[1]) + v * (bottom_left[1] - top_left[1]),
        )

    inside = [
        Polygon(tuple(place(*corner) for corner in outline), cover)
        for outline, cover in _outlines(tag.id)
    ]
    return (Polygon(tag.corners_mm), *inside)


Corner = tuple[int, int]


@functools.cache
def _outlines(tag_id: int) -> tuple[tuple[tuple[Corner, ...], float], ...]:
    """Outlines of white areas (cover 0) and of the black islands in them (cover 1).

    The larger comes first: an outline that lies inside another is smaller than it.
    """
    outlines = []
    steps = _boundary(white_modules(tag_id))
    while steps:
        at = first = min(steps)
        before: Corner = (0, 0)
        corners = []
        while True:
            # Where two white areas touch at a corner, turn right: they stay two outlines.
            step = min(steps[at], key=lambda new: before[0] * new[1] - before[1] * new[0] != 1)
            steps[at].remove(step)
            if not steps[at]:
                del steps[at]
            if step != before:
                corners.append(at)
            at, before = (at[0] + step[0], at[1] + step[1]), step
            if at == first:
                break
        area = _area(corners)
        outlines.append((abs(area), tuple(corners), 0.0 if area > 0 else 1.0))
    outlines.sort(key=lambda item: -item[0])
    return tuple((corners, cover) for _, corners, cover in outlines)


def _boundary(white: tuple[tuple[bool, ...], ...]) -> dict[Corner, list[Corner]]:
    """Unit steps around the white modules, white on the right, by the corner they start from."""
    steps: dict[Corner, list[Corner]] = {}
    for row, modules in enumerate(white):
        for column, is_white in enumerate(modules):
            if not is_white:  # the border is black, so a white module has all its neighbours
                continue
            for beyond, start, step in (
                (white[row - 1][column], (column, row), (1, 0)),
                (white[row][column + 1], (column + 1, row), (0, 1)),
                (white[row + 1][column], (column + 1, row + 1), (-1, 0)),
                (white[row][column - 1], (column, row + 1), (0, -1)),
            ):
                if not beyond:
                    steps.setdefault(start, []).append(step)
    return steps


def _area(corners: list[Corner]) -> float:
    """Signed area, positive for a clockwise outline on the page."""
    following = [*corners[1:], corners[0]]
    return sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(corners, following, strict=True)) / 2
