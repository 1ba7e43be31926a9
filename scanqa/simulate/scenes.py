"""What lies on the glass: blank paper, a printed sheet, strips at the edges, a book, nothing.

A scene is *laid* on a plate of a given size and then is a list of painted shapes in glass
millimetres (origin at the plate's top-left corner, beyond the dead margins too), a paper texture
that goes with the paper, and for a book the height of the page over the glass.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from scanqa.model import Floats, Piece, Point, Sheet, Side
from scanqa.sheets.tags import tag_polygons
from scanqa.simulate.coverage import Shape
from scanqa.simulate.laser import Ink, Toner, ink
from scanqa.simulate.lettering import lettering

BLACK_CARD = 0.035  # reflectance of black card, common practice, no source
ROOM = 0.012  # an open lid: the light that comes back from a room


@dataclass(frozen=True, slots=True)
class Paper:
    """Plain paper.

    Attributes
    ----------
    reflectance : float
        Diffuse, 0 … 1.
    tint : (r, g, b)
        Factors on the reflectance.
    texture : float
        Share (rms) of variation, half of its variance in the grain and half in the cloudy
        formation that is seen against a window.
    grain_mm, cloud_mm : float
        Sigma of the Gaussians that smooth white noise into the two.
    seed : int
        The same seed is the same sheet of paper.
    """

    reflectance: float = 0.84
    tint: tuple[float, float, float] = (1.0, 0.995, 0.985)
    texture: float = 0.004
    grain_mm: float = 0.1
    cloud_mm: float = 0.9
    seed: int = 1


@dataclass(frozen=True, slots=True)
class Printer:
    """What a home printer does to a sheet.

    Attributes
    ----------
    scale_x, scale_y : float
        Printed mm to the mm that was asked for.
    ink_density : float
        Optical density of solid black against the paper.
    edge_roughness_um : float
        Sigma by which ink edges wander to and fro.
    roughness_mm : float
        Length over which they do so (sigma of the smoothing).
    seed : int
        The same seed is the same print.
    toner : Toner or None
        A laser printer's dots and toner instead of smooth outlines; `edge_roughness_um` then
        does not count.
    """

    scale_x: float = 1.0
    scale_y: float = 1.0
    ink_density: float = 1.35
    edge_roughness_um: float = 0.0
    roughness_mm: float = 0.08
    seed: int = 1
    toner: Toner | None = None


@dataclass(frozen=True, slots=True)
class Lift:
    """Height of a page over the glass, by the distance from the plate's side at which it hangs."""

    side: Side
    height_mm: Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True)
class Laid:
    """A scene laid on a plate.

    Attributes
    ----------
    base : float
        Reflectance where nothing is painted.
    shapes : tuple of Shape
        In glass mm, later ones over earlier ones.
    inks : tuple of Ink
        Toner on them.
    over : tuple of Shape
        What lies over the toner.
    paper : Paper
        Whose texture and tint the whole picture has.
    to_paper : (2, 3) array
        Glass mm to paper mm: moves the texture.
    maps : mapping of piece name to (2, 3) array
        Sheet mm to glass mm.
    turn_deg : float
        How the sheet is turned on the plate.
    """

    base: float
    paper: Paper
    shapes: tuple[Shape, ...] = ()
    inks: tuple[Ink, ...] = ()
    over: tuple[Shape, ...] = ()
    to_paper: Floats = field(default_factory=lambda: np.eye(2, 3))
    lift: Lift | None = None
    maps: Mapping[str, Floats] = field(default_factory=dict)
    turn_deg: float = 0.0


class Scene(Protocol):
    """Anything that can be laid on the glass."""

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Place it on a plate of that width and height."""


# --------------------------------------------------------------------------- plain scenes


@dataclass(frozen=True, slots=True)
class BlankScene:
    """White paper over the whole plate; `moved_mm` and `turn_deg` say how it was moved."""

    paper: Paper = Paper()
    moved_mm: Point = (0.0, 0.0)
    turn_deg: float = 0.0

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Cover the plate."""
        del glass_mm
        onto = affine(self.turn_deg, shift=self.moved_mm)
        return Laid(self.paper.reflectance, self.paper, to_paper=inverse(onto))


@dataclass(frozen=True, slots=True)
class DarkScene:
    """Black card over the whole plate, lid closed."""

    card: Paper = Paper(BLACK_CARD, (1.0, 1.0, 1.0), texture=0.02, seed=77)

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Cover the plate."""
        del glass_mm
        return Laid(self.card.reflectance, self.card)


# ------------------------------------------------------------------------- printed sheets


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
    paper: Paper = Paper()
    printer: Printer = Printer()
    windows_cut: bool = False
    lid: float = 0.8

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Lay the sheet on the plate."""
        del glass_mm
        onto = self._sheet_to_glass()
        page = _rectangle(0, 0, self.sheet.width_mm, self.sheet.height_mm)
        shapes = _paper_on_lid(page @ onto[:, :2].T + onto[:, 2], self.lid, self.paper)
        printed, inks = _printed(self.sheet, None, self.paper, self.printer, onto)
        holes = windows(self.sheet) if self.windows_cut else []
        return Laid(
            self.lid,
            self.paper,
            (*shapes, *printed),
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
    paper: Paper = Paper()
    printer: Printer = Printer()
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
            printed, toner = _printed(self.sheet, piece, self.paper, self.printer, onto)
            shapes += printed
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
    paper: Paper = Paper()
    printer: Printer = Printer()
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
            printed, toner = _printed(self.sheet, piece, self.paper, self.printer, lying)
            shapes += printed
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


def _printed(
    sheet: Sheet, piece: Piece | None, paper: Paper, printer: Printer, onto: Floats
) -> tuple[list[Shape], tuple[Ink, ...]]:
    """What the printer put on a sheet or piece that lies on the plate by `onto`: one or other."""
    if printer.toner is None:
        shapes = printed_shapes(sheet, piece, paper, printer)
        return [shape.moved(onto) for shape in shapes], ()
    bare = 10**-printer.ink_density
    return [], (ink(covers(sheet, piece), printer.toner, bare=bare, to_page=inverse(onto)),)


def printed_shapes(
    sheet: Sheet, piece: Piece | None, paper: Paper, printer: Printer
) -> list[Shape]:
    """Everything inked on a sheet, or on one piece of it, in sheet mm.

    A cover mixes ink and bare paper by area (Murray and Davies).
    """
    solid = paper.reflectance * 10**-printer.ink_density
    shapes = [
        Shape(s.rings, paper.reflectance + s.reflectance * (solid - paper.reflectance))
        for s in covers(sheet, piece)
    ]
    if printer.edge_roughness_um > 0:
        rng = np.random.default_rng([printer.seed, 1])
        shapes = [_roughened(shape, printer, rng) for shape in shapes]
    return shapes


def covers(sheet: Sheet, piece: Piece | None) -> list[Shape]:
    """The same with the share of black in the place of reflectance."""
    pieces = sheet.pieces if piece is None else (piece,)
    polygons = list(sheet.shapes)
    polygons += [polygon for each in pieces for tag in each.tags for polygon in tag_polygons(tag)]
    shapes = [Shape((np.asarray(p.points_mm, float),), p.cover) for p in polygons]
    for text in sheet.words:
        rings = lettering(text.words, text.size_mm, text.bold, text.anchor)
        if rings:
            onto = affine(text.turn_deg, shift=text.at_mm)
            shapes.append(Shape(rings, text.cover).moved(onto))
    if piece is not None:
        outline = np.asarray(piece.outline_mm)
        shapes = [shape for shape in shapes if _inside(_middle(shape), outline)]
    return shapes


def _roughened(shape: Shape, printer: Printer, rng: np.random.Generator) -> Shape:
    """The shape with edges that wander, smoothly, by a Gaussian of the printer's sigma."""
    step = printer.roughness_mm / 2
    return Shape(
        tuple(
            _rough_ring(ring, step, printer.edge_roughness_um / 1000, rng) for ring in shape.rings
        ),
        shape.reflectance,
    )


def _rough_ring(ring: Floats, step_mm: float, sigma_mm: float, rng: np.random.Generator) -> Floats:
    """The ring as many points, each moved along its edge's normal."""
    along = np.roll(ring, -1, axis=0) - ring
    length = np.hypot(along[:, 0], along[:, 1])
    start, along, length = ring[length > 0], along[length > 0], length[length > 0]
    count = np.maximum(1, np.rint(length / step_mm).astype(np.int64))
    edge = np.repeat(np.arange(len(count)), count)
    part = (np.arange(len(edge)) - (np.cumsum(count) - count)[edge]) / count[edge]
    places = start[edge] + part[:, np.newaxis] * along[edge]
    outward = np.column_stack([along[:, 1], -along[:, 0]]) / length[:, np.newaxis]
    bell = np.exp(-0.5 * (np.arange(-6, 7) / 2.0) ** 2)  # two steps: roughness_mm
    noise = rng.standard_normal(len(places) + len(bell) - 1)
    wander = np.convolve(noise, bell / np.sqrt(np.sum(bell**2)), "valid")
    return np.asarray(places + sigma_mm * wander[:, np.newaxis] * outward[edge])


def windows(sheet: Sheet) -> list[Floats]:
    """Outlines (sheet mm) of the windows to cut: the closed rings that its cut edges make.

    Consecutive cut edges whose name shares everything before the last dash belong together; the
    corners are where their lines meet.
    """
    groups: dict[str, list[tuple[Floats, Floats]]] = {}
    for piece in sheet.pieces:
        for edge in piece.edges:
            if edge.kind == "cut":
                ends = (np.asarray(edge.start_mm), np.asarray(edge.end_mm))
                groups.setdefault(edge.name.rpartition("-")[0], []).append(ends)
    rings = []
    for lines in groups.values():
        around = zip(lines, [*lines[1:], lines[0]], strict=True)
        rings.append(np.array([_crossing(*one, *other) for one, other in around]))
    return rings


def _crossing(a: Floats, b: Floats, c: Floats, d: Floats) -> Floats:
    """Where the line through a, b meets the line through c, d."""
    matrix = np.column_stack([b - a, c - d])
    return np.asarray(a + np.linalg.solve(matrix, c - a)[0] * (b - a))


def _paper_on_lid(outline: Floats, lid: float, paper: Paper) -> list[Shape]:
    """Paper with the thin shadow that its thickness throws on the lid around it."""
    middle = outline.mean(axis=0)
    away = outline - middle
    grown = middle + away * (1 + 0.12 / np.hypot(away[:, 0], away[:, 1]))[:, np.newaxis]
    return [Shape((grown,), lid * 0.8), Shape((outline,), paper.reflectance)]


# ---------------------------------------------------------------------------------- books

STIFFNESS = {"soft": (0.8, 7.0), "medium": (2.0, 14.0), "stiff": (4.0, 22.0)}
"""Height at the spine and length of the lifted part in mm. Orders of magnitude, no source."""

LINES = (
    "Ashmead's Kernel. Small russet, dull green and brown; crisp, aromatic. December to March.",
    "Blenheim Orange. Large, flat, golden; nutty and dry. A slow bearer, strong on any stock.",
    "Catshead. Long, angled, green; keeps its shape when baked. An old kitchen sort for the hills.",
    "Court Pendu Plat. Flat, late to flower and so seldom hurt by frost. Keeps until April.",
    "Downton Pippin. Small and yellow, brisk; good for cider in the northern valleys.",
    "Keswick Codlin. Pale yellow, early; cooks to a froth. Hardy as a hawthorn.",
    "Lord Suffield. Very large, white fleshed, for August; subject to canker on heavy soil.",
    "Ribston Pippin. Rich and sweet; needs a warm wall above five hundred feet. 1s. 6d. each.",
    "Yorkshire Greening. Sour until Christmas, then mellow; a heavy and certain cropper.",
    "Maidens 1s. each, 10s. the dozen; two-year bush trees 1s. 9d.; standards 2s. 6d. to 3s. 6d.",
)


@dataclass(frozen=True, slots=True)
class BookScene:
    """An open book with its spine at one side of the plate, the other half hanging over it.

    The lifted part of a page is taken for a thin beam that leaves the glass without bending
    moment and carries no load until the spine holds it: its height is a cubic of the distance
    (Euler-Bernoulli), ``lift · (1 - d / length)³``.

    Attributes
    ----------
    lift_mm, length_mm : float
        Height at the spine and length of the lifted part; see `STIFFNESS`.
    spine_inset_mm : float
        How far inside the plate's side the spine lies.
    text : bool
        Whether the page is printed.
    """

    side: Side = "left"
    lift_mm: float = STIFFNESS["medium"][0]
    length_mm: float = STIFFNESS["medium"][1]
    page_mm: tuple[float, float] = (176.0, 250.0)  # from the spine outwards, and along it
    paper: Paper = Paper(0.76, (1.0, 0.97, 0.9), texture=0.006)
    spine_inset_mm: float = 0.0
    text: bool = True
    margin_mm: float = 13.0
    fan_mm: float = 4.0
    seed: int = 1

    def height_mm(self, from_spine_mm: Floats) -> Floats:
        """Height of the page over the glass."""
        share = np.clip(1 - np.asarray(from_spine_mm) / self.length_mm, 0, None)
        # Beyond the spine the page goes down into the fold: as high as at the spine.
        return np.asarray(self.lift_mm * np.minimum(share, 1) ** 3)

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Lay the book on the plate."""
        long_side = glass_mm[1] if self.side in ("left", "right") else glass_mm[0]
        begin = (long_side - self.page_mm[1]) / 2
        width, height = self.page_mm
        shapes = [Shape((_rectangle(-20.0, 0, width, height),), self.paper.reflectance)]
        shapes += self._fan()
        if self.text:
            shapes += self._print()
        onto = _book_to_glass(self.side, glass_mm, begin, self.spine_inset_mm)
        lift = Lift(self.side, lambda d: self.height_mm(d - self.spine_inset_mm))
        return Laid(
            ROOM,
            self.paper,
            tuple(shape.moved(onto) for shape in shapes),
            to_paper=inverse(onto),
            lift=lift,
        )

    def _fan(self) -> list[Shape]:
        """Edges of the pages beneath, each a little further out: thin dark gaps between them."""
        width, height = self.page_mm
        rng = np.random.default_rng([self.seed, 2])
        steps = np.cumsum(rng.uniform(0.1, 0.32, round(self.fan_mm / 0.21)))
        shapes = []
        out = width + float(steps[-1])
        for i, step in enumerate(steps[::-1]):
            level = self.paper.reflectance * (0.93 - 0.25 * (1 - i / len(steps)))
            page = _rectangle(width - 5, 0.15, width + float(step), height - 0.15)
            gap = _rectangle(width - 5, 0.15, width + float(step) + 0.04, height - 0.15)
            shapes += [Shape((gap,), 0.35 * level), Shape((page,), level)]
        edge = _rectangle(width - 6, 0, width, height)
        shade = _rectangle(width - 6, 0, width + 0.05, height)
        del out
        return [*shapes, Shape((shade,), 0.4), Shape((edge,), self.paper.reflectance)]

    def _print(self) -> list[Shape]:
        """Heading and lines of a nursery catalogue; the lift shortens what is printed on it."""
        ink = self.paper.reflectance * 10**-1.2
        width, height = self.page_mm
        rng = np.random.default_rng([self.seed, 3])
        place = self._foreshortening()
        start = self.margin_mm + place[0][-1] - place[1][-1]
        shapes = []
        heading = lettering("TARN VALLEY NURSERIES", 6.0, True, "middle")
        middle = (self.margin_mm + width - 12) / 2
        shapes.append(Shape(heading, ink).moved(affine(0, shift=(middle, 22.0))))
        rule = _rectangle(self.margin_mm, 25.5, width - 12, 25.9)
        shapes.append(Shape((rule,), ink))
        y = 33.0
        while y < height - 16:
            for line in _wrapped(LINES[int(rng.integers(len(LINES)))], (width - 14 - start) / 1.56):
                if y < height - 16:
                    rings = lettering(line, 3.2, False, "start")
                    shapes.append(Shape(rings, ink).moved(affine(0, shift=(start, y))))
                y += 4.7
            y += 2.2
        return [self._shortened(shape, place) for shape in shapes]

    def _foreshortening(self) -> tuple[Floats, Floats]:
        """Way along the page, and the distance on the glass, for the whole page from the spine."""
        distance = np.linspace(0, self.page_mm[0], 4001)
        slope = np.gradient(self.height_mm(distance), distance)
        way = np.concatenate([[0.0], np.cumsum(np.hypot(1, slope)[1:] * np.diff(distance))])
        return way, distance

    @staticmethod
    def _shortened(shape: Shape, place: tuple[Floats, Floats]) -> Shape:
        rings = tuple(
            np.column_stack([np.interp(ring[:, 0], *place), ring[:, 1]]) for ring in shape.rings
        )
        return Shape(rings, shape.reflectance)


def _wrapped(words: str, characters: float) -> list[str]:
    """Break a paragraph into lines."""
    lines = [""]
    for word in words.split():
        if len(lines[-1]) + len(word) > characters:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines


def _book_to_glass(
    side: Side, glass_mm: tuple[float, float], begin_mm: float, inset_mm: float
) -> Floats:
    """Book (outwards from the spine, along the spine) to glass: turned, never mirrored."""
    width, height = glass_mm
    turn, corner = {
        "left": (0.0, (inset_mm, begin_mm)),
        "top": (90.0, (width - begin_mm, inset_mm)),
        "right": (180.0, (width - inset_mm, height - begin_mm)),
        "bottom": (270.0, (begin_mm, height - inset_mm)),
    }[side]
    return affine(turn, shift=corner)


# -------------------------------------------------------------------------------- geometry


def affine(
    turn_deg: float,
    *,
    scale: Floats | tuple[float, float] = (1.0, 1.0),
    about: Floats | Point = (0.0, 0.0),
    shift: Floats | Point = (0.0, 0.0),
) -> Floats:
    """Scale, then turn clockwise (y down) about a scaled point, which then moves to `shift`."""
    angle = math.radians(turn_deg)
    rotate = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    linear = rotate @ np.diag(scale)
    return np.column_stack([linear, np.asarray(shift) - rotate @ np.asarray(about)])


def inverse(onto: Floats) -> Floats:
    """The affine map back."""
    linear = np.linalg.inv(onto[:, :2])
    return np.column_stack([linear, -linear @ onto[:, 2]])


def chained(first: Floats, then: Floats) -> Floats:
    """One affine map for two."""
    return np.column_stack([then[:, :2] @ first[:, :2], then[:, :2] @ first[:, 2] + then[:, 2]])


def _rectangle(left: float, top: float, right: float, bottom: float) -> Floats:
    return np.array([[left, top], [right, top], [right, bottom], [left, bottom]], float)


def _middle(shape: Shape) -> Floats:
    left, top, right, bottom = shape.box()
    return np.array([(left + right) / 2, (top + bottom) / 2])


def _inside(point: Floats, outline: Floats) -> bool:
    """Whether a point is inside a polygon: it crosses its edges an odd number of times."""
    x, y = point
    a, b = outline, np.roll(outline, -1, axis=0)
    spans = (a[:, 1] > y) != (b[:, 1] > y)
    a, b = a[spans], b[spans]
    crossing = a[:, 0] + (y - a[:, 1]) / (b[:, 1] - a[:, 1]) * (b[:, 0] - a[:, 0])
    return bool(np.count_nonzero(crossing > x) % 2)
