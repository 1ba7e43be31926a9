"""Traces of what the scanner's software does unasked, and what they spoil.

- ``halo``: overshoot beside the edges of a located sheet, which only sharpening makes (`halo`).
- ``level_stretch``, ``jpeg_quality``: stretched levels and lossy compression, from the codes
  (`codes`).
- ``grain_kept``: smoothed grain, from the difference of two scans of the same at the same place,
  where there are such (`grain`, `repeats`).
- ``crop``: how much smaller than the others a scan of the whole bed is (`crop`).

Each is not measurable, with the reason, where there is nothing to judge by: no located edges, few
codes, 16 bits or lossy compression (which fills gaps and eats grain), grain below rounding, no
print, a single scan. What a trace falsifies is taken back by `withhold`, with the reason; what
rests on paper at the top of the scale becomes a bound (`bounded`), and sharpness is no better than
the samples that a scan was stretched from (`without_made_up_detail`). What a curve that nobody
stated, and sharpening too slight to be a trace, leave open is added to the doubt
(`with_curve_doubt`, `with_small_halos`). `settled` does all but the bounds, in their order.
"""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.measures.processing.clipping import bounded
from scanqa.measures.processing.codes import jpeg_in_grain, traces
from scanqa.measures.processing.crop import crops
from scanqa.measures.processing.grain import WHITE, grain
from scanqa.measures.processing.halo import HALO_SEEN, halos
from scanqa.measures.processing.made_up import without_made_up_detail
from scanqa.measures.processing.small_halo import with_small_halos
from scanqa.measures.processing.spoils import withhold
from scanqa.measures.processing.unknown_curve import with_curve_doubt
from scanqa.model import Placement, Results, Role, Told, of_role

# Enough codes and detail for all traces.
PRINTED: tuple[Role, ...] = (
    "bed-sheet", "claim", "open-book", "back-print", "page", "picture"
)  # fmt: skip

__all__ = [
    "HALO_SEEN",
    "WHITE",
    "bounded",
    "measure",
    "settled",
    "with_curve_doubt",
    "withhold",
    "without_made_up_detail",
]


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Every trace, for each scan; sizes are compared over all scans of the whole bed.

    Parameters
    ----------
    scans : sequence of Placement
        Any. Edges need a located sheet, levels and JPEG print, grain plain paper.
    told : Told
        Nothing of it is needed.
    """
    results = halos(of_role(scans, *PRINTED))
    each_once = list({id(placement.scan): placement for placement in scans}.values())
    for placement in each_once:  # pieces share a scan
        if placement.role in PRINTED:
            results += Results(tuple(grain(placement, each_once))) + traces(placement)
        elif placement.role == "blank":
            kept = grain(placement, each_once)
            results += Results((*kept, *jpeg_in_grain(placement)))
    return results + Results(tuple(crops(each_once)))


def settled(results: Results, scans: Sequence[Placement]) -> Results:
    """What is left of all values when hidden processing and an unknown curve are accounted for.

    Parameters
    ----------
    results : Results
        Of all families, traces among them.
    scans : sequence of Placement
        All of them.
    """
    results = with_curve_doubt(without_made_up_detail(results, scans), scans)
    return with_small_halos(withhold(results, scans))
