"""An open book with its spine at the book edge."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats, Side
from scanqa.simulate.coverage import Shape
from scanqa.simulate.frames import affine, inverse, rectangle
from scanqa.simulate.laid import YELLOWED, Laid, Lift, Paper
from scanqa.simulate.lettering import lettering

ROOM = 0.012  # reflectance of an open lid: the light that comes back from a room
STIFFNESS = {"soft": (0.8, 7.0), "medium": (2.0, 14.0), "stiff": (4.0, 22.0)}
"""Height at the spine and length of the lifted part in mm. Orders of magnitude, no source."""

LINES = (  # of a nursery catalogue; its varieties are invented
    "Hobbin's Kernel. Small russet, dull green and brown; crisp, aromatic. December to March.",
    "Marrowick Orange. Large, flat, golden; nutty and dry. A slow bearer, strong on any stock.",
    "Owlbrow. Long, angled, green; keeps its shape when baked. An old kitchen sort for the hills.",
    "Long Tarry Flat. Flat, late to flower and so seldom hurt by frost. Keeps until April.",
    "Duxmere Pippin. Small and yellow, brisk; good for cider in the northern valleys.",
    "Fennelby Codlin. Pale yellow, early; cooks to a froth. Hardy as a hawthorn.",
    "Old Pellmoor. Very large, white fleshed, for August; subject to canker on heavy soil.",
    "Crozzle Pippin. Rich and sweet; needs a warm wall above five hundred feet. 1s. 6d. each.",
    "Sallowdene Greening. Sour until Christmas, then mellow; a heavy and certain cropper.",
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
    paper: Paper = YELLOWED
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
        shapes = [Shape((rectangle(-20.0, 0, width, height),), self.paper.reflectance)]
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
        for i, step in enumerate(steps[::-1]):
            level = self.paper.reflectance * (0.93 - 0.25 * (1 - i / len(steps)))
            page = rectangle(width - 5, 0.15, width + float(step), height - 0.15)
            gap = rectangle(width - 5, 0.15, width + float(step) + 0.04, height - 0.15)
            shapes += [Shape((gap,), 0.35 * level), Shape((page,), level)]
        edge = rectangle(width - 6, 0, width, height)
        shade = rectangle(width - 6, 0, width + 0.05, height)
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
        rule = rectangle(self.margin_mm, 25.5, width - 12, 25.9)
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
