"""How high the open page lies at each distance from the spine, and what detail is left there.

The light of the page over that further in, blank paper divided out, is looked up in the ramp's
light against height.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from scanqa.catalogue import GUTTER_LIFT_MM, Side
from scanqa.measures.gutter.darkening import bounded, not_so_near
from scanqa.measures.gutter.page_profile import Profile
from scanqa.measures.gutter.ramp import Ramp, doubted_by_print
from scanqa.measures.gutter.slope_light import HeightCurve
from scanqa.measures.gutter.spine import Page
from scanqa.measures.gutter.unseen import Unseen
from scanqa.model import (
    Curve,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Reason,
    Results,
    not_measurable,
)
from scanqa.numeric.lightness import light_of, luma
from scanqa.numeric.scatter import median_error
from scanqa.reading.sides import from_side

SHOWN_MM = 40.0
NEAR_MM = 0.5  # on each side of a height, between which the ramp's steepness is taken


def no_lift(why: Reason, scan: str) -> Results:
    """Lift and focus at each distance, not measurable."""
    names = [f"gutter.{what}_at_{d}mm" for what in ("lift", "focus") for d in GUTTER_LIFT_MM]
    return Results(tuple(not_measurable(each, why, scan) for each in names))


def lift(spread: Page, before: Unseen, ramp: Ramp, blank: Placement | None, scan: str) -> Results:
    """Lift and focus at each distance, and the figure of the lift.

    Parameters
    ----------
    spread : Page
        Paper from the side of the spine inwards.
    before : Unseen
        What lies between the spine and the first pixel.
    ramp : Ramp
        What height does to light and focus.
    blank : Placement or None
        Plain paper in a scan of the same size: its light is divided out.
    scan : str
        Name of the scan.
    """
    if isinstance(ramp.light, Reason):
        return no_lift(ramp.light, scan)
    profile = spread.profile
    share = None if blank is None else _share(blank, spread.side, profile)
    at_mm, height_mm, errors = _page_above(profile, ramp.light, share)
    page = at_mm + before.mm, height_mm, errors
    whys = {d: not_so_near(d, before) for d in GUTTER_LIFT_MM}
    found = {
        d: _lift_at(d, page, ramp.light, blank is not None, before, scan) for d in GUTTER_LIFT_MM
    }
    stands = ramp.light.height_share  # light and focus go by one height: only the lift is off
    lifts = [bounded(_standing(m, stands), whys[d]) for d, m in found.items()]
    focus = [
        bounded(_focus_at(f"gutter.focus_at_{d}mm", m, ramp, scan), whys[d], "at-most")
        for d, m in found.items()
    ]
    here = np.isfinite(height_mm) & (at_mm <= SHOWN_MM)
    shown_mm = page[0][here]
    evidence = Evidence(
        "gutter",
        "curves",
        "Lift of the page, from its darkening and the gutter ramp",
        scan=scan,
        x_label=before.axis,
        y_label="Height above the glass, mm",
        unit="mm",
        curves=(Curve("page", shown_mm, height_mm[here]),),
    )
    return Results((*lifts, *focus), evidence=(evidence,))


def _standing(lift: Measurement, share: float) -> Measurement:
    """A lift with the doubt of all heights."""
    if lift.value is None or lift.uncertainty is None:
        return lift
    return replace(lift, uncertainty=math.hypot(lift.uncertainty, share * lift.value))


def _page_above(
    profile: Profile, curve: HeightCurve, share: Floats | None
) -> tuple[Floats, Floats, Floats]:
    """Distances, height of the page there (NaN above the ramp) and error of its share of light."""
    paper = float(light_of(profile.plateau))
    light = light_of(profile.plateau - profile.delta) / paper
    if share is not None:
        light = light / share
    # dY/Y = 3 dL*/(L* + 16) above the toe.
    errors = 3 * median_error(profile.lack) / (profile.plateau - profile.delta + 16) * light
    return profile.at_mm, curve.height_of(light), np.hypot(errors, curve.error)


def _share(blank: Placement, side: Side, profile: Profile) -> Floats:
    """Light of blank paper at the profile's distances from a side over its level further in."""
    at_mm = profile.at_mm
    blocks = from_side(blank.overview.preview, side)[:, : len(at_mm)]
    level = np.median(luma(blank.light.light(blocks)), axis=0)
    plateau = float(np.median(level[at_mm >= at_mm[-1] / 2]))
    return np.asarray(np.maximum(level, 0.02 * plateau) / plateau, np.float64)


def _lift_at(
    distance_mm: int,
    page: tuple[Floats, Floats, Floats],
    curve: HeightCurve,
    shadow_out: bool,
    before: Unseen,
    scan: str,
) -> Measurement:
    """Lift at a distance; where it is not seen of the first block.

    Its error is that of light over the slope, and that of the place over the page's steepness.
    """
    name = f"gutter.lift_at_{distance_mm}mm"
    at_mm, height_mm, errors = page
    i = int(np.argmin(np.abs(at_mm - distance_mm)))
    highest = float(curve.height_mm[-1])
    if not np.isfinite(height_mm[i]):
        why = "the page is darker there than the top of the ramp: it lies higher"
        return Measurement(name, highest, None, "at-least", why, scan, reason_kind="range")
    known = np.nan_to_num(height_mm, nan=highest)
    value = float(np.interp(max(distance_mm, at_mm[0]), at_mm, known))
    # Height for light: the steepness of the ramp's curve over a millimetre.
    low, high = max(value - NEAR_MM, 0.0), min(value + NEAR_MM, highest)
    fall = (curve.at(low) or 0.0) - (curve.at(high) or 0.0)
    if fall <= 0:
        why = "the ramp shows no loss of light with height there"
        return not_measurable(name, Reason("no-detail", why), scan)
    off = float(np.interp(max(distance_mm, at_mm[0]) + NEAR_MM, at_mm, known))
    steep = abs(value - off) / NEAR_MM
    error = float(np.hypot(errors[i] * (high - low) / fall, steep * before.error_mm))
    if shadow_out:
        return Measurement(name, value, error, scan=scan)
    why = "no blank scan of this size: edge shadow counts as lift"
    return Measurement(name, value, error, reason=why, scan=scan, reason_kind="no-scan")


def _focus_at(name: str, lift: Measurement, ramp: Ramp, scan: str) -> Measurement:
    """Fine detail left at the height of the page; its error is the curve's and that of the lift."""
    curve = ramp.focus
    if isinstance(curve, Reason):
        return not_measurable(name, curve, scan)
    if lift.value is None:
        return not_measurable(name, lift.why, scan)
    if lift.status == "at-least":
        why = "the page lies higher there than the top of the ramp"
        return not_measurable(name, Reason("range", why), scan)
    found = curve.at(lift.value)
    if found is None:
        why = f"no edge of the ramp could be measured as high up as {lift.value:.1f} mm"
        return not_measurable(name, Reason("range", why), scan)
    share, error = found
    off = lift.uncertainty or 0.0
    around = [curve.at(max(lift.value - off, 0.0)), curve.at(lift.value + off)]
    spread = max((abs(each[0] - share) for each in around if each is not None), default=0.0)
    m = Measurement(name, 100 * share, 100 * float(np.hypot(error, spread)), scan=scan)
    return doubted_by_print(m, ramp, 100 * curve.print_error(share))
