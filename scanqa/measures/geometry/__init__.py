"""Scale, turn, squareness and bends of the scanned sheet.

The middles of the tags are known in sheet millimetres; a straight (affine) map from pixels to
millimetres is fitted to them. One step of a pixel to the right, and one down, are vectors on the
paper:

* *dpi*: 25.4 mm over their lengths (across, travel);
* *skew*: the turn of the sheet against the sensor line, positive clockwise in the image, less the
  quarter turn in which the sheet lay;
* *orthogonality*: the angle from the first to the second, less 90°;
* *distortion*: the largest distance of a tag from the map, over the sheet's diagonal.

Middles of tags do not move when ink spreads or the focus is soft. The printer's own scale,
squareness and bends are in these figures; the lengths of the sheet's bars, measured with a steel
rule, take its scale out.

*Reversal*: scans of one sheet that lay differently (by 90°, better also by 180°) tell the printer
from the scanner: then dpi, orthogonality and distortion are the scanner's own and stand once for
all scans, and the printer's own are given too (`scanqa.measures.geometry.separate`). Only a scale
common to both axes stays undecided: for that, the rule.

*Travel jitter*: the unsteadiness of the carriage from line to line, from the near-horizontal
borders of all tags (`jitter`).

Uncertainty is what the scatter of the tags about the map gives (bends make it larger), and half a
tenth of a millimetre on the rule, which all values share that rest on one reading of it; without a
rule the scale and squareness of printers, which all scans of one print share. Fails with fewer than
four tags.
"""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.measures.geometry.jitter import JITTER, travel_jitter
from scanqa.measures.geometry.reversal import reversed_sheet, skew_only
from scanqa.measures.geometry.straight import NAMES, Steps, of_one, steps
from scanqa.model import Placement, Reason, Results, Told, not_measurable

DPI_STEP = 10.0  # scans whose dpi agree to this are of one setting
NO_SHEET = Reason("no-scan", "no bed sheet was scanned")

__all__ = ["JITTER", "NAMES", "Steps", "measure", "steps"]


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Geometry of every scan of a bed sheet.

    Parameters
    ----------
    scans : sequence of Placement
        Bed sheets; those that were not located are passed over.
    told : Told
        `bars_mm`, if known, takes the printer's scale out.

    Returns
    -------
    Results
        Dpi, skew, orthogonality, distortion, travel jitter, and maps of what is left after the
        straight map; the printer's own where the sheet was turned between scans.

    Raises
    ------
    BadOption
        If a bar's length is not near what was drawn.
    """
    sheets = [placement for placement in scans if placement.corners_px is not None]
    if not sheets:
        return Results(tuple(not_measurable(name, NO_SHEET) for name in (*NAMES, JITTER)))
    results = Results()
    for group in _of_one_sheet(sheets):
        apart = reversed_sheet(group, told) if len(group) > 1 else None
        for placement in group:
            own = of_one(placement, told)
            results += (own if apart is None else skew_only(own)) + travel_jitter(placement)
        results += apart or Results()
    return results


def _of_one_sheet(placements: Sequence[Placement]) -> list[list[Placement]]:
    """Groups of scans of one sheet at one dpi."""
    groups: dict[tuple[str, int, int], list[Placement]] = {}
    for placement in placements:
        assert placement.sheet is not None
        across, travel = placement.dpi
        key = (placement.sheet.id, round(across / DPI_STEP), round(travel / DPI_STEP))
        groups.setdefault(key, []).append(placement)
    return list(groups.values())
