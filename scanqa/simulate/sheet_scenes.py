"""Printed sheets on the glass: flat, hooked on its sides, or standing up as a ramp."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats, Piece, Point, Sheet, Side
from scanqa.simulate.coverage import Shape
from scanqa.simulate.frames import affine, chained, inverse, rectangle
from scanqa.simulate.laid import PLAIN, Laid, Lift, Paper
from scanqa.simulate.laser import Ink
from scanqa.simulate.printing import SMOOTH, Printer, printed, windows

PHOTO_PAPER = Paper(0.88, (1.0, 1.0, 1.0), texture=0.001, seed=9)
BLACK_CARD = 0.035  # reflectance of black card, common practice, no source


@dataclass(frozen=True, slots=True)
class SheetScene:
    """A whole printed sheet on the glass.

    Attributes
    ----------
    offset_mm : (x, y)
        Glass mm of the top-left corner of the sheet's box after its quarter turns.
    turn_deg : float
        Clockwise. Whole quarter turns first, then what remains turns it about its middle.
    windows_cut : bool
        Whether the windows marked on the sheet are cut out, black card showing behind.
    lid : float
        Reflectance around the sheet.
    """

    sheet: Sheet
    offset_mm: Point = (0.0, 0.0)
    turn_deg: float = 0.0
    paper: Paper = PLAIN
    printer: Printer = SMOOTH
    windows_cut: bool = False
    lid: float = 0.8

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Lay the sheet on the plate."""
        del glass_mm
        onto = self._sheet_to_glass()
        page = rectangle(0, 0, self.sheet.width_mm, self.sheet.height_mm)
        shapes = _paper_on_lid(page @ onto[:, :2].T + onto[:, 2], self.lid, self.paper)
        ink_shapes, inks = printed(self.sheet, None, self.paper, self.printer, onto)
        holes = windows(self.sheet) if self.windows_cut else []
        return Laid(
            self.lid,
            self.paper,
            (*shapes, *ink_shapes),
            inks,
            tuple(Shape((hole,), BLACK_CARD).moved(onto) for hole in holes),
            to_paper=inverse(onto),
            maps={piece.name: onto for piece in self.sheet.pieces},
            turn_deg=self.turn_deg,
        )

    def _sheet_to_glass(self) -> Floats:
        scale = np.array([self.printer.scale_x, self.printer.scale_y])
        size = np.array([self.sheet.width_mm, self.sheet.height_mm]) * scale
        quarters = round(self.turn_deg / 90)
        box = size[::-1] if quarters % 2 else size
        return affine(
            self.turn_deg, scale=scale, about=size / 2, shift=np.asarray(self.offset_mm) + box / 2
        )


@dataclass(frozen=True, slots=True)
class EdgeCardScene:
    """A piece of paper cut with a knife, turned on black card that covers the rest of the plate.

    Its edges are ideal: light that spreads in its paper is `simulate.photon_walk`'s business.
    """

    size_mm: Point = (70.0, 50.0)
    middle_mm: Point = (105.0, 140.0)
    turn_deg: float = 5.0
    paper: Paper = PHOTO_PAPER

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Lay it on the plate."""
        del glass_mm
        width, height = self.size_mm
        onto = affine(
            self.turn_deg, about=np.array([width / 2, height / 2]), shift=np.array(self.middle_mm)
        )
        outline = rectangle(0, 0, width, height) @ onto[:, :2].T + onto[:, 2]
        return Laid(BLACK_CARD, self.paper, (Shape((outline,), self.paper.reflectance),))


@dataclass(frozen=True, slots=True)
class StripsScene:
    """The strips of a sheet, each folded on its line and hooked on one side of the plate.

    Attributes
    ----------
    sides : mapping of piece name to side
        Which strip hangs on which side; the middle of its fold lies at the middle of the side.
    along_mm : float
        Moves each strip along its side, clockwise round the plate.
    """

    sheet: Sheet
    sides: Mapping[str, Side]
    along_mm: float = 0.0
    paper: Paper = PLAIN
    printer: Printer = SMOOTH
    lid: float = 0.84

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Hang the strips on the plate."""
        shapes: list[Shape] = []
        inks: list[Ink] = []
        maps: dict[str, Floats] = {}
        scale = np.array([self.printer.scale_x, self.printer.scale_y])
        for piece in self.sheet.pieces:
            if piece.name not in self.sides:
                continue
            onto = _hooked(piece, self.sides[piece.name], glass_mm, scale, self.along_mm)
            outline = np.asarray(piece.outline_mm) @ onto[:, :2].T + onto[:, 2]
            shapes += _paper_on_lid(outline, self.lid, self.paper)
            ink_shapes, toner = printed(self.sheet, piece, self.paper, self.printer, onto)
            shapes += ink_shapes
            inks += toner
            maps[piece.name] = onto
        return Laid(self.lid, self.paper, tuple(shapes), tuple(inks), maps=maps)


def _hooked(
    piece: Piece, side: Side, glass_mm: tuple[float, float], scale: Floats, along_mm: float
) -> Floats:
    """Sheet mm to glass mm: the fold on the plate's side, the tags on the plate."""
    if piece.fold_mm is None:
        raise ValueError(f"piece {piece.name} has no fold to hook on an edge")
    start, end = np.asarray(piece.fold_mm) * scale
    tags = np.mean([tag.centre_mm for tag in piece.tags], axis=0) * scale
    fold = end - start
    # With the tags to the right of the fold's direction the plate lies there too.
    if fold[0] * (tags - start)[1] - fold[1] * (tags - start)[0] < 0:
        fold = -fold
    width, height = glass_mm
    middle, heading_deg = {  # of the side, walked with the plate to the right (y down: +90°)
        "top": ((width / 2, 0.0), 0.0),
        "right": ((width, height / 2), 90.0),
        "bottom": ((width / 2, height), 180.0),
        "left": ((0.0, height / 2), 270.0),
    }[side]
    turn = heading_deg - math.degrees(math.atan2(fold[1], fold[0]))
    heading = math.radians(heading_deg)
    way = along_mm * np.array([math.cos(heading), math.sin(heading)])
    return affine(turn, scale=scale, about=(start + end) / 2, shift=np.asarray(middle) + way)


@dataclass(frozen=True, slots=True)
class RampScene:
    """A gutter ramp: its flat part on the glass, its slope rising to a lip over a side.

    Attributes
    ----------
    sheet : Sheet
        With one flat piece and one that has a `Rise`.
    side : str
        The book edge.
    height_mm : float
        True height of the lip over the glass, whatever the sheet was designed for.
    inset_mm : float
        How far inside the plate's side the lip stands.
    cloth : float
        Reflectance of the dark cloth around it.
    """

    sheet: Sheet
    side: Side = "left"
    height_mm: float = 12.0
    inset_mm: float = 0.0
    paper: Paper = PLAIN
    printer: Printer = SMOOTH
    cloth: float = 0.03

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Stand the ramp on the plate."""
        slope = next(piece for piece in self.sheet.pieces if piece.rise is not None)
        flat = next(piece for piece in self.sheet.pieces if piece.rise is None)
        assert slope.rise is not None
        length = slope.rise.length_mm
        if not 0 < self.height_mm < length:
            raise ValueError(f"a slope of {length} mm cannot rise by {self.height_mm} mm")
        reach = math.sqrt(length**2 - self.height_mm**2)  # of the slope, seen from below
        foot = np.asarray(slope.rise.foot_mm)
        up = np.mean(np.asarray(slope.outline_mm), axis=0) - foot.mean(axis=0)
        # Sheet to (outwards, along): outwards is 0 at the foot and `reach` at the lip.
        axis = up / np.hypot(*up)
        onto = _outwards_to_glass(self.side, glass_mm, reach + self.inset_mm)
        scale = np.array([self.printer.scale_x, self.printer.scale_y])
        maps: dict[str, Floats] = {}
        shapes: list[Shape] = []
        inks: list[Ink] = []
        for piece, shortened in ((flat, 1.0), (slope, reach / length)):
            frame = np.array([axis * shortened, [-axis[1], axis[0]]]) @ np.diag(scale)
            place = np.column_stack([frame, -frame @ foot.mean(axis=0)])
            maps[piece.name] = chained(place, onto)
            lying = maps[piece.name]
            outline = np.asarray(piece.outline_mm) @ lying[:, :2].T + lying[:, 2]
            shapes.append(Shape((outline,), self.paper.reflectance))
            ink_shapes, toner = printed(self.sheet, piece, self.paper, self.printer, lying)
            shapes += ink_shapes
            inks += toner

        def height(from_plate_mm: Floats) -> Floats:
            share = 1 - (np.asarray(from_plate_mm) - self.inset_mm) / reach
            return np.asarray(self.height_mm * np.clip(share, 0, 1))

        lift = Lift(self.side, height)
        return Laid(self.cloth, self.paper, tuple(shapes), tuple(inks), lift=lift, maps=maps)


def _outwards_to_glass(side: Side, glass_mm: tuple[float, float], from_side_mm: float) -> Floats:
    """(Outwards, along) from a foot that lies `from_side_mm` inside the side, to glass mm."""
    width, height = glass_mm
    turn, foot = {
        "left": (180.0, (from_side_mm, height / 2)),
        "right": (0.0, (width - from_side_mm, height / 2)),
        "top": (270.0, (width / 2, from_side_mm)),
        "bottom": (90.0, (width / 2, height - from_side_mm)),
    }[side]
    return affine(turn, shift=foot)


def _paper_on_lid(outline: Floats, lid: float, paper: Paper) -> list[Shape]:
    """Paper with the thin shadow that its thickness throws on the lid around it."""
    middle = outline.mean(axis=0)
    away = outline - middle
    grown = middle + away * (1 + 0.12 / np.hypot(away[:, 0], away[:, 1]))[:, np.newaxis]
    return [Shape((grown,), lid * 0.8), Shape((outline,), paper.reflectance)]
