"""What lies on the glass: blank paper, black card, a printed sheet, strips, a ramp, a book."""

from __future__ import annotations

from dataclasses import dataclass

from scanqa.model import Point
from scanqa.simulate.back_scene import BackPrintScene
from scanqa.simulate.books import STIFFNESS, BookScene
from scanqa.simulate.frames import affine, inverse
from scanqa.simulate.laid import PLAIN, Laid, Lift, Paper, Scene
from scanqa.simulate.laser import Toner
from scanqa.simulate.printing import Printer
from scanqa.simulate.sheet_scenes import (
    BLACK_CARD,
    EdgeCardScene,
    RampScene,
    SheetScene,
    StripsScene,
)

__all__ = [
    "BLACK_CARD",
    "STIFFNESS",
    "BackPrintScene",
    "BlankScene",
    "BookScene",
    "DarkScene",
    "EdgeCardScene",
    "Laid",
    "Lift",
    "Paper",
    "Printer",
    "RampScene",
    "Scene",
    "SheetScene",
    "StripsScene",
    "Toner",
]

CARD = Paper(BLACK_CARD, (1.0, 1.0, 1.0), texture=0.02, seed=77)


@dataclass(frozen=True, slots=True)
class BlankScene:
    """White paper over the whole plate; `moved_mm` and `turn_deg` say how it was moved."""

    paper: Paper = PLAIN
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

    card: Paper = CARD

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        """Cover the plate."""
        del glass_mm
        return Laid(self.card.reflectance, self.card)
