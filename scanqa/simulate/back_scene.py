"""The back-print sheet on a backing: its paper lets some light through and back again."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from scanqa.model import Point, Sheet
from scanqa.simulate.coverage import Shape
from scanqa.simulate.laid import PLAIN, Laid, Paper
from scanqa.simulate.printing import SMOOTH, Printer
from scanqa.simulate.sheet_scenes import SheetScene

WHITE_LID = 0.84


@dataclass(frozen=True, slots=True)
class BackPrintScene:
    """A sheet printed on its back too, under a lid or under card.

    On a backing of reflectance ``B`` paper reflects ``R0 + T² B / (1 - R0 B)`` (Kubelka and Munk:
    light that passes, is returned, and passes again), ``R0`` being its reflectance on black and T
    its transmittance. A pad of the same paper reflects ``R∞``, which gives T; ``R0 / R∞`` is the
    opacity of ISO 2471. Ink on the back takes the place of the backing. Light does not spread
    sideways inside the paper here.

    Attributes
    ----------
    sheet : Sheet
        With something on its back.
    backing : float
        Reflectance of what lies behind it.
    opacity : float
        Of the paper; some 0.92 for 80 g/m² office paper (common practice, no source).
    paper : Paper
        Its reflectance is that of a pad.
    """

    sheet: Sheet
    offset_mm: Point = (0.0, 0.0)
    turn_deg: float = 0.0
    backing: float = WHITE_LID
    opacity: float = 0.92
    paper: Paper = PLAIN
    printer: Printer = SMOOTH

    def reflectance(self, behind: float) -> float:
        """Of the paper with something of that reflectance behind it."""
        pad = self.paper.reflectance
        on_black = self.opacity * pad
        squared = (pad - on_black) * (1 - on_black * pad) / pad
        return on_black + squared * behind / (1 - on_black * behind)

    def show_through_percent(self) -> float:
        """How much darker the front is where the back is printed."""
        ink = self.paper.reflectance * 10**-self.printer.ink_density
        return 100 * (1 - self.reflectance(ink) / self.reflectance(self.backing))

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Lay the sheet on the plate."""
        paper = replace(self.paper, reflectance=self.reflectance(self.backing))
        front = SheetScene(
            self.sheet, self.offset_mm, self.turn_deg, paper, self.printer, lid=self.backing
        ).lay(glass_mm)
        onto = front.maps[self.sheet.pieces[0].name]
        solid = self.paper.reflectance * 10**-self.printer.ink_density
        back = tuple(
            Shape(
                (np.asarray(polygon.points_mm, float),),
                self.reflectance(self.backing + polygon.cover * (solid - self.backing)),
            ).moved(onto)
            for polygon in self.sheet.back
        )
        page = 2  # shapes that make the sheet and its edge; ink lies over what shines through
        return replace(front, shapes=(*front.shapes[:page], *back, *front.shapes[page:]))
