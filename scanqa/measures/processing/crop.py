"""How much smaller than the others a scan of the whole bed is: automatic cropping.

Cropping follows the paper, and with it goes every distance from the edge of the bed.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from scanqa.catalogue import Role
from scanqa.model import MM_PER_INCH, Measurement, Placement, Reason, not_measurable, of_role

SAME_MM = 1.0  # sizes within this are the same
WHOLE_BED: tuple[Role, ...] = ("blank", "dark", "bed-sheet", "edge-strip")
ALONE = Reason("too-few", "one scan of the whole bed shows no difference: make two or more")
CROPPED = Reason(
    "software",
    "smaller than other scans of the whole bed: cropped to the paper, or not all of the bed; "
    "distances from the edge of the bed mean nothing here",
)


def crops(placements: Sequence[Placement]) -> Iterator[Measurement]:
    """What each scan of the whole bed lacks against the largest, mm, whichever way it lies."""
    name = "processing.crop"
    whole = of_role(placements, *WHOLE_BED)
    if len(whole) < 2:
        yield not_measurable(name, ALONE)
        return
    sizes = np.array([sorted(p.size_mm) for p in whole])
    missing = (sizes.max(axis=0) - sizes).max(axis=1)
    error = max(MM_PER_INCH / min(p.dpi) for p in whole) / 12**0.5
    for placement, value in zip(whole, missing, strict=True):
        cropped = value > SAME_MM
        yield Measurement(
            name,
            float(value),
            error,
            reason=CROPPED.words if cropped else "",
            reason_kind=CROPPED.kind if cropped else None,
            scan=placement.scan.name,
        )
