"""How much smaller than the others a scan of the whole bed is: automatic cropping.

Cropping follows the paper, and with it goes every distance from the edge of the bed. A scan that is
smaller, but does not end where the sheet on it does, may be of another area or another scanner:
then what was cropped is *at most* the difference.
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
FOLLOWS_MM, FOLLOWED_SIDES = 1.5, 3  # the image ends so near the sheet, on so many sides
CROPPED = Reason(
    "software",
    "smaller than other scans of the whole bed, and it ends where the sheet does: cropped to the "
    "paper; distances from the edge of the bed mean nothing here",
)
SMALLER = Reason(
    "unclear",
    "smaller than other scans of the whole bed: another area was chosen, it is of another scanner, "
    "or it was cropped; choose the whole bed by hand and scan again",
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
        smaller = value > SAME_MM
        cropped = smaller and ends_with_sheet(placement)
        why = CROPPED if cropped else SMALLER
        yield Measurement(
            name,
            float(value),
            error,
            "at-most" if smaller and not cropped else "ok",
            reason=why.words if smaller else "",
            reason_kind=why.kind if smaller else None,
            scan=placement.scan.name,
        )


def ends_with_sheet(placement: Placement) -> bool:
    """Whether the image ends where the sheet on it does."""
    if placement.sheet is None or placement.to_px is None:
        return False
    size = placement.sheet.width_mm, placement.sheet.height_mm
    corners = np.array([(0, 0), (size[0], 0), size, (0, size[1])])
    px = placement.sheet_px(corners)
    image = np.array([placement.scan.width_px, placement.scan.height_px])
    beyond = np.concatenate([px.min(axis=0) + 0.5, image - 0.5 - px.max(axis=0)])
    pitch = np.tile([MM_PER_INCH / dpi for dpi in placement.dpi], 2)
    return bool((np.abs(beyond * pitch) < FOLLOWS_MM).sum() >= FOLLOWED_SIDES)
