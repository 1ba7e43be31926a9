"""What a printer puts on a sheet: its shapes, words and tags, smooth, rough or of toner."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats, Piece, Sheet
from scanqa.sheets.tags import tag_polygons
from scanqa.simulate.coverage import Shape
from scanqa.simulate.frames import affine, inverse
from scanqa.simulate.laid import Paper
from scanqa.simulate.laser import Ink, Toner, ink
from scanqa.simulate.lettering import lettering


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


SMOOTH = Printer()


def printed(
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
