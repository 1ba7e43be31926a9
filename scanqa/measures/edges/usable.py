"""What remains of the bed without its shadows, and what of usual sheets sticks out of it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import replace

from scanqa.catalogue import Side
from scanqa.catalogue.sizes import FORMATS_MM
from scanqa.measures.edges.border_shadow import SideShadow
from scanqa.model import Measurement, Placement, Point, Reason, not_measurable

UNEVEN = "the shadow is deeper in parts: less where that is the paper, not the bed"
WHOLE_MM = 0.5  # less is not missed
OVERLAP_MM = 10.0  # that two scans of one sheet must share to be joined (common practice)


def usable_size(
    blank: Placement, found: Mapping[Side, SideShadow], scan: str
) -> tuple[Measurement, Measurement]:
    """Width and height of the evenly lit bed, both at its top-left corner."""
    corner = (found["left"].deepest_mm, found["top"].deepest_mm)
    axes: tuple[tuple[str, float, tuple[Side, Side]], ...] = (
        ("edges.usable_width", blank.size_mm[0], ("left", "right")),
        ("edges.usable_height", blank.size_mm[1], ("top", "bottom")),
    )
    faults = [one.depth for one in found.values() if one.depth.status != "ok"]
    both = []
    for name, extent, sides in axes:
        if faults:
            why = faults[0].why
            words = f"a side could not be measured: {why.words}"
            both.append(not_measurable(name, Reason(why.kind, words), scan))
            continue
        size = max(extent - sum(found[side].deepest_mm for side in sides), 0.0)
        error = math.hypot(*(found[side].deepest_error_mm for side in sides))
        m = Measurement(name, size, error, scan=scan, at_mm=corner)
        # What is deeper in parts may be the paper's: then the bed is as large as the rest says.
        most = max(extent - sum(found[side].depth.value or 0.0 for side in sides), 0.0)
        if most - size > WHOLE_MM:
            m = replace(
                m, status="between", low=size, high=most, reason=UNEVEN, reason_kind="uneven"
            )
        both.append(m)
    return both[0], both[1]


def lost(width: Measurement, height: Measurement) -> Iterator[Measurement]:
    """What of each format sticks out, laid upright or across, whichever loses less."""
    for form, (words, short, long) in FORMATS_MM.items():
        name = f"edges.lost_{form}"
        if width.value is None or height.value is None:
            missing = width if width.value is None else height
            yield not_measurable(name, missing.why, missing.scan)
            continue
        bed = (width.value, height.value)
        upright, across = _excess(bed, (short, long)), _excess(bed, (long, short))
        lies, excess, size = min(
            ("upright", upright, (short, long)),
            ("across", across, (long, short)),
            key=lambda way: sum(way[1]),
        )
        reason = _how_it_fits(words, lies, excess, bed, size)
        errors = [
            m.uncertainty or 0.0 for m, over in zip((width, height), excess, strict=True) if over
        ]
        yield Measurement(name, sum(excess), math.hypot(*errors), reason=reason, scan=width.scan)


def _excess(bed: Point, size: Point) -> Point:
    """By how much a sheet is too wide and too high."""
    return max(size[0] - bed[0], 0.0), max(size[1] - bed[1], 0.0)


def _how_it_fits(words: str, lies: str, excess: Point, bed: Point, size: Point) -> str:
    """In one scan; in two, the sheet turned by half a turn between them; or not."""
    if max(excess) < WHOLE_MM:
        return f"{words} fits, laid {lies}"
    if min(excess) >= WHOLE_MM:
        return f"{words} is too wide and too high, laid {lies}"
    axis = 0 if excess[0] > excess[1] else 1
    what = ("width", "height")[axis]
    gone = f"{excess[axis]:.0f} mm of the {what} of {words} are lost, laid {lies}"
    if 2 * bed[axis] - size[axis] >= OVERLAP_MM:
        return f"{gone}; a second scan, the sheet turned by 180°, recovers them"
    return f"{gone}; turning it round does not recover them"
