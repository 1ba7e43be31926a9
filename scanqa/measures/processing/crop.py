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
ALONE = Reason(
    "too-few", "one scan of the whole bed at its dpi shows no difference: make two or more"
)
CROPPED = Reason(
    "software",
    "smaller than other scans of the whole bed: cropped to the paper, or not all of the bed; "
    "distances from the edge of the bed mean nothing here",
)


def crops(placements: Sequence[Placement]) -> Iterator[Measurement]:
    """What each scan of the whole bed lacks against the largest, mm, whichever way it lies."""
    name = "processing.crop"
    known = [p for p in of_role(placements, *WHOLE_BED) if p.dpi_source in ("file", "option")]
    # A dpi that rests on a sheet has the printer's scale in it; unlike dpi may be unlike scanners.
    groups: dict[tuple[int, int], list[Placement]] = {}
    for p in known:
        groups.setdefault((round(p.dpi[0]), round(p.dpi[1])), []).append(p)
    compared = [group for group in groups.values() if len(group) > 1]
    if not compared:
        yield not_measurable(name, ALONE)
    for group in compared:
        yield from _lacking(name, group)


def _lacking(name: str, whole: Sequence[Placement]) -> Iterator[Measurement]:
    """What each scan of one dpi lacks against the largest."""
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
