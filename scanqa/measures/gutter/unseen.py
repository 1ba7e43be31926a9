"""Glass between the spine and the first pixel: the dead margin of the side where the book lies.

Print is read up to the spine, and a scan begins where the sensor begins to see. How far that is
from the edge of the glass an edge strip says, hooked over that side, or the user. Where nobody says
it, distances are from the edge of the image, and since a page gets darker and higher all the way to
the spine, what is found there is the least that it is at such a distance from the spine.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from scanqa.catalogue import SIDES, Side
from scanqa.model import Measurement, Placement, Reason
from scanqa.reading.dead_margin import dead_margins

LAID_SD_MM = 0.3  # how near the fold lies to the edge of the glass (common practice, no source)
FOLD_SD_MM = 0.3  # how well the darkest place of an open double page tells its fold (the same)
NOT_KNOWN = Reason(
    "no-scan",
    "from the edge of the image; what lies before is not seen, and is darker. The dead margin of "
    "that side is not known: hook an edge strip there and scan, or give --dead-margin",
)


@dataclass(frozen=True, slots=True)
class Unseen:
    """How far from the spine the first pixel lies.

    Attributes
    ----------
    mm, error_mm : float
        Distance and its standard uncertainty; 0 where not known.
    known : bool
        Whether it was measured or told.
    """

    mm: float = 0.0
    error_mm: float = 0.0
    known: bool = False

    @property
    def why(self) -> Reason | None:
        """Why distances are bounds; None where they are from the spine."""
        return None if self.known else NOT_KNOWN

    @property
    def origin(self) -> str:
        """What distances are from, in words."""
        return "the spine" if self.known else "the edge of the image"

    @property
    def axis(self) -> str:
        """The same, for the axis of a figure."""
        hidden = "" if self.known else "; what lies before is not seen"
        return f"Distance from {self.origin}, mm{hidden}"


IN_SIGHT = Unseen(0.0, FOLD_SD_MM, known=True)


def unseen(strips: Sequence[Placement], read_mm: Mapping[Side, float]) -> dict[Side, Unseen]:
    """What the sensor does not see of each side, where that is known.

    Parameters
    ----------
    strips : sequence of Placement
        Pieces of edge strips.
    read_mm : mapping from side to mm
        What the user read from the strip's scale.
    """
    by_name: dict[str, Measurement] = {m.name: m for m in dead_margins(strips, read_mm)}
    found = {}
    for side in SIDES:
        m = by_name[f"edges.dead_margin_{side}"]
        if m.value is not None:
            error = math.hypot(m.uncertainty or 0.0, LAID_SD_MM)
            found[side] = Unseen(max(m.value, 0.0), error, known=True)
    return found
