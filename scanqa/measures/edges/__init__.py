"""Edge shadow, dead margin and what remains of the bed.

*Edge shadow*: from blank paper; along each side, the distance from the image's border inwards
until lightness is within 2 L* of the level further in on the same side (a straight line through
20 to 45 mm: gentle falloff is not shadow). A black band that the light never reaches is part of
it. The figure is the median along the side; where a part of the side is deeper, the reason says
so and the usable rectangle keeps clear of it (`border_shadow`).

*Lost*: what of a sheet or sleeve, laid the better way, sticks out of the usable rectangle
(`usable`).

*Dead margin*: glass that the sensor never sees, from a strip hooked over the glass edge: its tags
say where its fold would lie in the image, and the fold lies on the glass edge (`dead_margin`).

Definitions are our own; no standard states them. Fails (not measurable) without blank scans, on
images too small to show a level further in, on scans too dark, and for sides without a strip.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from scanqa.catalogue import SIDES
from scanqa.catalogue.sizes import FORMATS_MM
from scanqa.measures.edges.border_shadow import profiles_inwards, side_shadow
from scanqa.measures.edges.usable import lost, usable_size
from scanqa.model import Placement, Reason, Results, Told, not_measurable, of_role
from scanqa.reading.dead_margin import dead_margins


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Edge shadows and usable bed from blank paper, dead margins from edge strips.

    Parameters
    ----------
    scans : sequence of Placement
        Blank ones (plain white paper over the whole bed; those of one size count together), and
        pieces of the edge strip, each with its fold line.
    told : Told
        `dead_margins_mm`, read by eye from the strip's scale: used where no strip was located,
        named beside the value where one was.

    Returns
    -------
    Results
        ``edges.shadow_*``, ``edges.usable_*`` and ``edges.lost_*`` for each size of scan,
        ``edges.dead_margin_*``, and the profiles. `at_mm` of the usable
        width and height is the rectangle's top-left corner.
    """
    blanks, strips = of_role(scans, "blank"), of_role(scans, "edge-strip")
    results = Results()
    for _, group in groupby(sorted(blanks, key=_size), key=_size):
        results += _of_blanks(list(group))
    if not blanks:
        why = Reason("no-scan", "no blank scan: scan plain white paper that covers the whole bed")
        names = [f"edges.shadow_{side}" for side in SIDES]
        names += ["edges.usable_width", "edges.usable_height"]
        names += [f"edges.lost_{form}" for form in FORMATS_MM]
        results += Results(tuple(not_measurable(name, why) for name in names))
    return results + Results(tuple(dead_margins(strips, told.dead_margins_mm)))


def _size(blank: Placement) -> tuple[int, int, float, float]:
    return blank.scan.height_px, blank.scan.width_px, *blank.dpi


def _of_blanks(blanks: Sequence[Placement]) -> Results:
    """Shadows and usable bed from blank scans of one size."""
    name = blanks[0].scan.name if len(blanks) == 1 else ""
    found = {side: side_shadow(blanks, side, name) for side in SIDES}
    width, height = usable_size(blanks[0], found, name)
    measurements = (*(one.depth for one in found.values()), width, height, *lost(width, height))
    return Results(measurements, evidence=profiles_inwards(found, name))
