"""Printed sheets, in mm: what is drawn, located and simulated."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from scanqa.catalogue import Role
from scanqa.model.terms import EdgeKind, Point


@dataclass(frozen=True, slots=True)
class Tag:
    """A fiducial (AprilTag 36h11); its black square is also a slanted-edge site.

    `corners_mm` are the corners of the black square in the tag's own order: top-left, top-right,
    bottom-right, bottom-left as the tag is drawn upright, then turned by its tilt.
    """

    id: int
    corners_mm: tuple[Point, Point, Point, Point]

    @property
    def centre_mm(self) -> Point:
        """Centre of the square."""
        xs, ys = zip(*self.corners_mm, strict=True)
        return sum(xs) / 4, sum(ys) / 4


@dataclass(frozen=True, slots=True)
class Edge:
    """A straight slanted edge on a sheet, dark on one side.

    Attributes
    ----------
    name : str
        Unique on the sheet.
    start_mm, end_mm : (x, y)
        Ends of the *usable* part of the edge in sheet mm. Walking from start to end, the dark
        side lies to the right (in the y-down frame).
    reach_mm : float
        Clean distance on each side of the edge, normal to it.
    kind : str
        ``printed`` or ``cut``.
    """

    name: str
    start_mm: Point
    end_mm: Point
    reach_mm: float
    kind: EdgeKind = "printed"


@dataclass(frozen=True, slots=True)
class Polygon:
    """An area of even ink: `cover` 1 is solid black, 0 bare paper; later shapes paint over."""

    points_mm: tuple[Point, ...]
    cover: float = 1.0


@dataclass(frozen=True, slots=True)
class Text:
    """A line of words. `at_mm` is the left (or `anchor`) end of the baseline."""

    at_mm: Point
    words: str
    size_mm: float
    bold: bool = False
    anchor: Literal["start", "middle", "end"] = "start"
    turn_deg: float = 0.0
    cover: float = 1.0


@dataclass(frozen=True, slots=True)
class Patch:
    """A tone patch: a rectangle (left, top, right, bottom in mm) printed at `cover`."""

    name: str
    box_mm: tuple[float, float, float, float]
    cover: float


@dataclass(frozen=True, slots=True)
class Rise:
    """How a piece leaves the glass: height = `height_mm` × distance from the foot / `length_mm`.

    Attributes
    ----------
    foot_mm : ((x, y), (x, y))
        The line where it still touches the glass.
    length_mm : float
        Length of the slope, measured on the paper.
    height_mm : float
        Height above the glass at its upper end, if it is folded as designed.
    """

    foot_mm: tuple[Point, Point]
    length_mm: float
    height_mm: float


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a sheet that is flat as one: found and placed on its own.

    The bed sheet is one piece; the edge-strip sheet is cut into several. Coordinates are those
    of the whole page.

    Attributes
    ----------
    fold_mm : ((x, y), (x, y)) or None
        The line that is laid on the edge of the glass (the strip is folded there).
    holes_mm : tuple of outlines
        Windows to cut out with a knife and back with black card; their sides are ``cut`` edges.
    rise : Rise or None
        Given if the piece does not lie on the glass but slopes up from it.
    back_patches : tuple of Patch
        Tone patches on the other side of the paper, where they lie as seen from this side.
    """

    name: str
    outline_mm: tuple[Point, ...]
    tags: tuple[Tag, ...]
    edges: tuple[Edge, ...] = ()
    patches: tuple[Patch, ...] = ()
    fold_mm: tuple[Point, Point] | None = None
    holes_mm: tuple[tuple[Point, ...], ...] = ()
    rise: Rise | None = None
    back_patches: tuple[Patch, ...] = ()


@dataclass(frozen=True, slots=True)
class Sheet:
    """A printable page: what is drawn, what is located and what is simulated, in mm.

    `back` and `back_words` are printed on the other side of the paper. `back` lies where it would
    be seen from the front if the paper were glass; the words read upright in the back's own frame.
    `bars_mm` are the lengths of the bars (across, down the page) that are measured with a rule.
    """

    id: str  # "bed-sheet-a4"
    role: Role
    paper: str  # "a4", "letter", "a3"
    width_mm: float
    height_mm: float
    pieces: tuple[Piece, ...]
    shapes: tuple[Polygon, ...]  # everything inked except tags and words
    words: tuple[Text, ...]
    back: tuple[Polygon, ...] = ()
    back_words: tuple[Text, ...] = ()
    bars_mm: Point | None = None
