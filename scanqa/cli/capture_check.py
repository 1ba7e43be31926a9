"""The look at a fresh scan for ``scanqa capture``: recognised, clipped, straight, turned."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from scanqa.capture.guide import Verdict
from scanqa.capture.one_scan import Taken
from scanqa.capture.session import Session
from scanqa.capture.steps import Step
from scanqa.errors import ScanqaError
from scanqa.locate import locate
from scanqa.model import Placement, Role
from scanqa.scans.linear import linear

CLIPPED = 0.01  # share of samples at the very top: white then hides what is to be measured
ASKEW_DEG = 3.0  # the slanted edges stand at 5.15°; they must not come near the pixel grid
STRIPS = 4

LOOKS: dict[Role, str] = {
    "blank": "plain white paper",
    "dark": "black card",
    "bed-sheet": "the bed sheet",
    "edge-strip": "edge strips",
    "gutter-ramp": "the gutter ramp",
    "open-book": "an open book",
    "back-print": "the back-print sheet",
    "claim": "a page at the highest dpi",
    "edge-card": "an edge card on black card",
    "page": "a page without a spine",
    "picture": "none of the things to be scanned",
    "white-strip": "the strip to which the driver calibrates",
    "uncalibrated": "plain white paper without calibration",
}


def look(
    step: Step, taken: Taken, session: Session, *, dpi: float | None, curve: str | None
) -> Verdict:
    """What is wrong with a scan, so far as another scan can mend it."""
    light = linear(taken.scan, curve=curve)
    told = step.role in ("claim", "back-print") or step.look
    hint = step.role if told else None
    try:
        placements = locate(taken.scan, taken.overview, light, dpi=dpi, role=hint)
    except ScanqaError as error:
        why = str(error).removeprefix(f"{taken.scan.name}: ").partition("; ")[0]
        return Verdict(again={"role": f"it should show {LOOKS[step.role]}, but it {why}"})
    found = placements[0]
    facts: dict[str, Any] = {
        "role": found.role,
        "sheet": found.sheet.id if found.sheet else None,
        "rotation_deg": found.rotation_deg,
        "clipped_percent": round(100 * taken.overview.top_share, 4),
    }
    shows = LOOKS[found.role]
    # A book's gutter may be too faint to see; the step says that it is one.
    as_book = step.role == "open-book" and found.role == "page"
    if found.role != step.role and not as_book:
        words = f"it should show {LOOKS[step.role]}"
        return Verdict(shows, {"role": words}, facts=facts)
    again = _clipped(taken) | _lie(step, found, session, facts)
    if step.role == "gutter-ramp":
        again |= _whole_ramp(placements)
    notes = list(found.notes)
    if step.role == "edge-strip" and len(placements) < STRIPS:
        notes.append(f"{len(placements)} of {STRIPS} strips were found")
    return Verdict(shows, again, tuple(notes), facts)


def _whole_ramp(placements: Sequence[Placement]) -> dict[str, str]:
    """Both parts must be seen: light and focus on the slope are held against the flat part."""
    pieces = [placement.piece for placement in placements if placement.piece is not None]
    slopes = [piece for piece in pieces if piece.rise is not None]
    if slopes and len(slopes) < len(pieces):
        return {}
    if slopes:
        return {"ramp": "only the ramp's slope was recognised: its flat part must be seen too"}
    words = "only the ramp's flat part was recognised: its slope must be seen too, print down"
    return {"ramp": words}


def _clipped(taken: Taken) -> dict[str, str]:
    share = taken.overview.top_share
    if share <= CLIPPED:
        return {}
    words = (
        f"{share:.0%} of it is at the very top of the scale and hides what is to be measured: "
        "lower exposure or brightness, if the driver lets you"
    )
    return {"clipped": words}


def _lie(step: Step, found: Placement, session: Session, facts: dict[str, Any]) -> dict[str, str]:
    """Skew and turn of a sheet that is one piece."""
    if step.role != "bed-sheet" or found.to_px is None:
        return {}
    turn = math.degrees(math.atan2(found.to_px[1, 0], found.to_px[0, 0]))
    skew = (turn + 45) % 90 - 45
    facts["skew_deg"] = round(skew, 3)
    if abs(skew) > ASKEW_DEG:
        return {"skew": f"the sheet lies {abs(skew):.1f}° askew: lay it within {ASKEW_DEG:g}°"}
    first = session.entry("bed-sheet")
    if step.turned_deg is None or first is None or "rotation_deg" not in first.facts:
        return {}
    turned = (found.rotation_deg - int(first.facts["rotation_deg"])) % 360
    wanted = (step.turned_deg, 360 - step.turned_deg)
    if turned in wanted:
        return {}
    return {"turn": f"the sheet is turned by {turned}° against its first scan, not {wanted[0]}°"}
