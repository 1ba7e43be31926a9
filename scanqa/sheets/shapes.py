"""Small shapes that every sheet is put together from, in sheet millimetres."""

from __future__ import annotations

import math

from scanqa.model import MM_PER_INCH, Edge, EdgeKind, Point, Polygon

SLANT_DEG = math.degrees(math.atan(0.0902))
"""Tilt of everything that is measured as a slanted edge, about 5.15°.

0.0902 is badly approximated by small fractions, so that the places where the edge crosses pixel
rows fill the pixel evenly.
"""

HAIRLINE_MM = 0.15

TYPE_MM = 9 * MM_PER_INCH / 72
"""Smallest type of a sheet: 9 points."""

LEADING_MM = 3.75
"""From line to line of it."""

Box = tuple[float, float, float, float]


def turned(point: Point, by_deg: float, *, about: Point = (0.0, 0.0)) -> Point:
    """Turn a point clockwise on the page (x right, y down)."""
    angle = math.radians(by_deg)
    dx, dy = point[0] - about[0], point[1] - about[1]
    return (
        about[0] + dx * math.cos(angle) - dy * math.sin(angle),
        about[1] + dx * math.sin(angle) + dy * math.cos(angle),
    )


def square(centre: Point, side_mm: float, tilt_deg: float) -> tuple[Point, Point, Point, Point]:
    """Corners top-left, top-right, bottom-right, bottom-left of a square, then tilted."""
    x, y = centre
    half = side_mm / 2
    return (
        turned((x - half, y - half), tilt_deg, about=centre),
        turned((x + half, y - half), tilt_deg, about=centre),
        turned((x + half, y + half), tilt_deg, about=centre),
        turned((x - half, y + half), tilt_deg, about=centre),
    )


def edges_around(
    name: str,
    corners: tuple[Point, Point, Point, Point],
    *,
    inset_mm: float,
    reach_mm: float,
    kind: EdgeKind = "printed",
) -> tuple[Edge, ...]:
    """Four edges of a dark square, walked clockwise so that the dark lies to the right."""
    edges = []
    for i, side in enumerate(("top", "right", "bottom", "left")):
        start, end = corners[i], corners[(i + 1) % 4]
        edges.append(
            Edge(
                f"{name}-{side}",
                along(start, end, inset_mm),
                along(end, start, inset_mm),
                reach_mm,
                kind,
            )
        )
    return tuple(edges)


def along(start: Point, end: Point, distance_mm: float) -> Point:
    """Go `distance_mm` from `start` towards `end` (away from it if negative)."""
    part = distance_mm / math.dist(start, end)
    return start[0] + part * (end[0] - start[0]), start[1] + part * (end[1] - start[1])


def rectangle(box: Box, *, cover: float = 1.0) -> Polygon:
    """Upright rectangle (left, top, right, bottom)."""
    left, top, right, bottom = box
    return Polygon(((left, top), (right, top), (right, bottom), (left, bottom)), cover)


def line(start: Point, end: Point, *, width_mm: float = HAIRLINE_MM) -> Polygon:
    """Straight line with square ends at `start` and `end`."""
    length = math.dist(start, end)
    nx = -(end[1] - start[1]) / length * width_mm / 2
    ny = (end[0] - start[0]) / length * width_mm / 2
    return Polygon(
        (
            (start[0] - nx, start[1] - ny),
            (end[0] - nx, end[1] - ny),
            (end[0] + nx, end[1] + ny),
            (start[0] + nx, start[1] + ny),
        )
    )


def dashes(start: Point, end: Point, *, on_mm: float = 2.0, off_mm: float = 1.5) -> list[Polygon]:
    """Dashed hairline that begins and ends with a whole dash; gaps are stretched to fit."""
    length = math.dist(start, end)
    count = max(2, round((length + off_mm) / (on_mm + off_mm)))
    pitch = (length - on_mm) / (count - 1)
    return [
        line(along(start, end, i * pitch), along(start, end, i * pitch + on_mm))
        for i in range(count)
    ]
