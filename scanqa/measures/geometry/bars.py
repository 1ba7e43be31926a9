"""The sheet's two bars, measured with a steel rule: the printer's scale, and the rule's error.

Where nobody measured them the printer's own scale and squareness are part of the doubt, one for all
scans of one print.
"""

from __future__ import annotations

from dataclasses import dataclass

from scanqa.errors import BadOption
from scanqa.model import Placement, Point, Shared

RULE_MM = 0.05  # standard uncertainty of a length read to 0.1 mm
# Of home and office printers as they come, fitting to the page switched off: some tenths of a per
# cent to over one along the feed (common practice, no source).
PRINT_SCALE = 0.01  # standard uncertainty of the scale of a print, of each of its axes
PRINT_SQUARE_DEG = 0.1  # and of its squareness: paper that is fed askew
PRINT_BENDS_MM = 0.1  # how far the farthest point of a print lies from a straight map (the same)
BAR_RANGE = (0.9, 1.1)  # a bar printed more wrongly than this was misread


@dataclass(frozen=True, slots=True)
class Rule:
    """The sheet's two bars, across and down the page, as drawn and as a steel rule reads them.

    Its error is one for all values that rest on the same reading.
    """

    drawn_mm: Point
    read_mm: Point

    @property
    def scale(self) -> Point:
        """How much longer the sheet was printed than drawn."""
        return self.read_mm[0] / self.drawn_mm[0], self.read_mm[1] / self.drawn_mm[1]

    def shared(self, size: float) -> tuple[Shared, ...]:
        """The part of an uncertainty that its error makes."""
        across, down = self.read_mm
        return (Shared("rule", f"bars of {across:g} and {down:g} mm", size),)


def of_print(label: str, size: float) -> tuple[Shared, ...]:
    """The part of an uncertainty that one print makes in all its scans."""
    return (Shared("print", label, size),)


def rule(placement: Placement, bars_mm: Point | None) -> Rule | None:
    """The bars of a placement's sheet, if they were measured.

    Raises
    ------
    BadOption
        If a bar's length is not near what was drawn.
    """
    if bars_mm is None or placement.sheet is None or placement.sheet.bars_mm is None:
        return None
    found = Rule(placement.sheet.bars_mm, bars_mm)
    for ratio, measured in zip(found.scale, bars_mm, strict=True):
        if not BAR_RANGE[0] < ratio < BAR_RANGE[1]:
            raise BadOption(
                f"a bar of {measured:g} mm: the bars of {placement.sheet.id} were drawn "
                f"{found.drawn_mm[0]:g} mm (across) and {found.drawn_mm[1]:g} mm (down)"
            )
    return found
