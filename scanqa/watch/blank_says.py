"""What a blank says of a change that pages showed: the scanner's, or the book's.

White paper, the same kind as before, has neither ink nor plates: what changed on it as on the pages
is the scanner's. Softness shows in the texture that neighbouring samples share. It needs a blank
from before the change; without one it says nothing.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scanqa.model.watched import Cause
from scanqa.watch.features import PageFeatures
from scanqa.watch.slow_change import PERCENT, Shift, values_of

SOFTER = 2.5  # per cent of the texture's ratio between the sides: more than blanks scatter
HALF = 0.5  # of the change of the pages


@dataclass(frozen=True, slots=True)
class Blank:
    """A blank among the pages."""

    number: int
    file: str
    values: dict[str, float]


def blank_of(page: PageFeatures, number: int, *, turned: bool, lossy: bool) -> Blank:
    """What a blank is remembered by; sides as they lie on the sensor."""
    values = values_of(page, turned=turned, lossy=lossy)
    values.pop("sides", None)
    if page.texture is not None:
        sides = PERCENT * math.log(page.texture[0] / page.texture[1])
        values["sides"] = -sides if turned else sides
    return Blank(number, page.file, values)


def cause_of(shift: Shift, blanks: Sequence[Blank], now: Blank) -> Cause:
    """Whose the change is; empty if no blank from before it tells."""
    before = [b for b in blanks if b.number < shift.since and shift.name in b.values]
    if shift.name == "skew":
        return "book"  # the glass does not turn
    if not before or shift.name not in now.values:
        return ""
    change = now.values[shift.name] - before[-1].values[shift.name]
    if shift.name == "sides":
        return "scanner" if abs(change) > SOFTER else "book"
    if change * shift.size > 0 and abs(change) > HALF * abs(shift.size):
        return "scanner"
    return "book"
