"""How the open page darkens towards the spine.

The paper level is an *upper envelope*, so print does not count: the page is divided into bands of
10 mm along the spine; in each, at each distance from the side where the spine lies, the paper is
the cluster of the small blocks' lightness (L*, of luma) nearest to their 85th percentile (mean
shift); along the way, glints narrower than 1.2 mm are cut off (grey opening) and dips narrower
than 8 mm (lines of text that run with the spine) are filled (grey closing). Each band is compared
with its own plateau, the level further in; bands that show no bare paper there (pictures, lid
beyond the book) are left out; the profile is the median over the bands.

Distances are from the image's border on the spine side: what the sensor does not see there is the
dead margin (`edges`). ``delta_L_at_0mm`` is the profile's light continued to that border.
``reach_k`` is where the page is no longer darker than its plateau by k, for 3 mm on end.

With a gutter ramp in the set the darkening is explained: light at each distance over that on the
plateau, with what blank paper shows at the same place divided out, is looked up in the ramp's
light against height; that is the *lift* of the page (``lift_at_*``). Height and light are then
told apart; how much fine detail is left at that height the ramp's focus curve says
(``focus_at_*``).

The definitions are our own; no standard states them. Fails (not measurable): no open-book scan;
spine side unknown and not evident; no bare paper; image too small.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.catalogue import (
    GUTTER_DISTANCES_MM,
    GUTTER_LIFT_MM,
    GUTTER_REACH_DELTA_L,
    SIDES,
    Side,
)
from scanqa.model import Curve, Evidence, Floats, Measurement, Placement, Results, not_measurable
from scanqa.numeric.lightness import light_of, luma
from scanqa.numeric.page_profile import Profile, delta_at, page_profile, reach
from scanqa.numeric.ramp import HeightCurve, light_over_height
from scanqa.numeric.ramp_focus import FocusCurve, focus_over_height
from scanqa.numeric.scatter import median_error
from scanqa.numeric.sides import from_side

CONTINUED = 2.3  # error of a parabola through three values, half a step beyond them: √334 / 8
PLACE_SHARE = 0.1  # of a block: how far a crossing between two of them can be off
SHOWN_MM = 40.0
SPINE_SHOWN_AT_MM = (2, 5)

# What tells a gutter from an edge shadow or the end of the page, when nobody says where it is:
GUTTER_MIN_DELTA_L = 4.0  # at 2 mm
GUTTER_REACH_MM = (3.0, 30.0)  # of a darkening by 2 L*
GUTTER_SLOPE_MM = 1.0  # between a darkening by 2 L* and by half of the whole
GUTTER_LEAD = 2.0  # the area under the curve over that of any other side
GUTTER_STEEPEST_L_PER_MM = 40.0  # steeper is the end of the page, or the edges of those beneath it
GUTTER_FOLD_MM = 1.5  # ... but for the fold itself


def measure(
    placements: Sequence[Placement],
    *,
    book_edge: Side | None = None,
    ramps: Sequence[Placement] = (),
    ramp_height_mm: float | None = None,
    blanks: Sequence[Placement] = (),
) -> Results:
    """Darkening towards the spine of each open-book scan.

    Parameters
    ----------
    placements : sequence of Placement
        Open-book scans.
    book_edge : str, optional
        Side of the image where the spine lies; without it the side is found if it is evident.
    ramps : sequence of Placement
        Pieces of a gutter ramp: the first slope with its flat part explains the darkening.
    ramp_height_mm : float, optional
        Its height as measured with a rule; as designed unless given.
    blanks : sequence of Placement
        Blank scans: the first of the size of a scan says what of its darkness is edge shadow.

    Returns
    -------
    Results
        ``gutter.delta_L_at_*``, ``gutter.reach_*``, ``gutter.plateau`` and the profile, for each
        scan; ``gutter.lift_at_*`` and ``gutter.focus_at_*`` if there is a ramp.
    """
    if not placements:
        why = "no open-book scan: lay a book open at white pages, its spine on the glass edge"
        return Results(tuple(_all_missing(why, "")))
    wedge = _wedge(ramps, ramp_height_mm, blanks) if ramps else None
    results = Results()
    for placement in placements:
        results += _of_scan(placement, book_edge, wedge, blanks)
    return results


def _all_missing(why: str, scan: str) -> Iterator[Measurement]:
    names = [f"gutter.delta_L_at_{d}mm" for d in GUTTER_DISTANCES_MM]
    names += [f"gutter.reach_{delta}" for delta in GUTTER_REACH_DELTA_L]
    for name in (*names, "gutter.plateau"):
        yield not_measurable(name, why, scan)


# --------------------------------------------------------------------------------- front


def _of_scan(
    placement: Placement,
    book_edge: Side | None,
    wedge: _Wedge | str | None,
    blanks: Sequence[Placement],
) -> Results:
    name = placement.scan.name
    found = page_profile(placement, book_edge) if book_edge else _found_side(placement)
    if isinstance(found, str):
        return Results(tuple(_all_missing(found, name)))
    side, profile = (book_edge, found) if isinstance(found, Profile) else found
    assert side is not None
    measurements = [
        Measurement("gutter.plateau", profile.plateau, profile.plateau_error, scan=name),
        *_deltas(profile, name),
        *_reaches(profile, name),
    ]
    figures = (_evidence(profile, side, name), _along_the_spine(profile, name))
    results = Results(tuple(measurements), evidence=figures)
    if wedge is None:
        return results
    size = placement.overview.preview.shape
    blank = next((b for b in blanks if b.overview.preview.shape == size), None)
    return results + _lifts(profile, side, wedge, blank, name)


def _found_side(placement: Placement) -> tuple[Side, Profile] | str:
    """The one side that darkens as a gutter does."""
    areas: dict[Side, float] = {}
    profiles: dict[Side, Profile] = {}
    for side in SIDES:
        profile = page_profile(placement, side)
        if isinstance(profile, str):
            continue
        profiles[side] = profile
        areas[side] = float(np.maximum(profile.delta, 0).sum()) if _gutter_like(profile) else 0.0
    ranked = sorted(areas, key=lambda side: areas[side], reverse=True)
    if ranked and areas[ranked[0]] > 0:
        best = ranked[0]
        if len(ranked) == 1 or areas[best] > GUTTER_LEAD * areas[ranked[1]]:
            return best, profiles[best]
    return "it is not evident where the spine lies: say --book-edge left, right, top or bottom"


def _gutter_like(profile: Profile) -> bool:
    delta = profile.delta
    if delta_at(profile, 2.0) < GUTTER_MIN_DELTA_L:
        return False
    if _steepest(profile) > GUTTER_STEEPEST_L_PER_MM:
        return False
    foot = reach(profile.at_mm, delta, 2.0)
    half = reach(profile.at_mm, delta, float(delta.max()) / 2)
    return GUTTER_REACH_MM[0] <= foot <= GUTTER_REACH_MM[1] and foot - half >= GUTTER_SLOPE_MM


def _steepest(profile: Profile) -> float:
    """How fast the paper darkens towards the side at most, L* per mm: median of the bands.

    Of each band on its own, because the page may lie a little askew.
    """
    beyond = profile.at_mm[:-1] > GUTTER_FOLD_MM
    falls = -np.diff(profile.lack, axis=1)[:, beyond] / np.diff(profile.at_mm)[beyond]
    return float(np.median(falls.max(axis=1)))


def _deltas(profile: Profile, name: str) -> Iterator[Measurement]:
    errors = median_error(profile.lack)
    for d in GUTTER_DISTANCES_MM:
        value = delta_at(profile, d)
        error = float(np.interp(d, profile.at_mm, errors)) * (CONTINUED if d == 0 else 1.0)
        yield Measurement(f"gutter.delta_L_at_{d}mm", value, error, scan=name)


def _reaches(profile: Profile, name: str) -> Iterator[Measurement]:
    """Uncertainty from that of the profile over its slope there, and from the blocks' size."""
    delta = profile.delta
    errors = median_error(profile.lack)
    pitch = float(profile.at_mm[1] - profile.at_mm[0])
    for limit in GUTTER_REACH_DELTA_L:
        value = reach(profile.at_mm, delta, limit)
        if value == profile.at_mm[-1]:
            why = "the page does not reach the level of its plateau within what was looked at"
            yield Measurement(f"gutter.reach_{limit}", value, None, "lower-bound", why, name)
            continue
        error = float(np.interp(value, profile.at_mm, errors))
        early = reach(profile.at_mm, delta, limit + error)
        late = reach(profile.at_mm, delta, limit - error)
        uncertainty = float(np.hypot((late - early) / 2, PLACE_SHARE * pitch))
        yield Measurement(f"gutter.reach_{limit}", value, uncertainty, scan=name)


def _evidence(profile: Profile, side: Side, name: str) -> Evidence:
    here = profile.at_mm <= SHOWN_MM
    at_mm = profile.at_mm[here]
    low, high = np.percentile(profile.lack[:, here], [10, 90], axis=0)
    lines = []
    for limit in GUTTER_REACH_DELTA_L:
        where = reach(profile.at_mm, profile.delta, limit)
        if where > 0:
            lines.append((where, f"{limit} L* darker: {where:.1f} mm"))
    return Evidence(
        "gutter",
        "curves",
        f"How the page darkens towards the spine ({side} side of the image)",
        scan=name,
        x_label="Distance from the side of the image, mm",
        y_label="L* below the page further in",
        unit="L*",
        curves=(
            Curve("median along the spine", at_mm, profile.delta[here]),
            Curve("a tenth of the spine is lighter than this", at_mm, low),
            Curve("a tenth of the spine is darker than this", at_mm, high),
        ),
        lines_mm=tuple(lines),
        note=f"Page further in: L* {profile.plateau:.1f}; {len(profile.lack)} bands of paper.",
    )


def _along_the_spine(profile: Profile, name: str) -> Evidence:
    """Where along the spine the page lies close and where it lifts."""
    curves = []
    for distance in SPINE_SHOWN_AT_MM:
        i = int(np.argmin(np.abs(profile.at_mm - distance)))
        curves.append(Curve(f"{distance} mm from it", profile.along_mm, profile.lack[:, i]))
    return Evidence(
        "gutter",
        "curves",
        "How the darkening changes along the spine",
        scan=name,
        x_label="Place along the spine, mm",
        y_label="L* below the page further in",
        unit="L*",
        curves=tuple(curves),
        note="Even all along, the page lies alike; darker towards one end, press the book there.",
    )


# ---------------------------------------------------------------------- lift of the page


@dataclass(frozen=True, slots=True)
class _Wedge:
    """What a ramp says of height: light and focus; of the latter perhaps why it says nothing."""

    light: HeightCurve
    focus: FocusCurve | str


def _wedge(
    ramps: Sequence[Placement], height_mm: float | None, blanks: Sequence[Placement]
) -> _Wedge | str:
    slope = next((p for p in ramps if p.piece is not None and p.piece.rise is not None), None)
    if slope is None:
        return "the slope of the gutter ramp was not located"
    flat = next(
        (p for p in ramps if p.scan.name == slope.scan.name and p.piece and not p.piece.rise), None
    )
    if flat is None:
        return "the flat part of the gutter ramp was not located"
    size = slope.overview.preview.shape
    blank = next((b for b in blanks if b.overview.preview.shape == size), None)
    light = light_over_height(slope, flat, height_mm=height_mm, blank=blank)
    if isinstance(light, str):
        return light
    return _Wedge(light, focus_over_height(slope, flat, height_mm=height_mm))


def _lifts(
    profile: Profile, side: Side, wedge: _Wedge | str, blank: Placement | None, name: str
) -> Results:
    """Lift and focus at each distance, and the figure of the lift."""
    if isinstance(wedge, str):
        names = [f"gutter.{what}_at_{d}mm" for what in ("lift", "focus") for d in GUTTER_LIFT_MM]
        return Results(tuple(not_measurable(each, wedge, name) for each in names))
    paper = float(light_of(profile.plateau))
    light = light_of(profile.plateau - profile.delta) / paper
    if blank is not None:
        light = light / _blank_share(blank, side, profile.at_mm)
    lift = wedge.light.height_of(light)
    # dY/Y = 3 dL*/(L* + 16) above the toe.
    errors = 3 * median_error(profile.lack) / (profile.plateau - profile.delta + 16) * light
    errors = np.hypot(errors, wedge.light.error)
    lifts = {
        d: _lift_at(
            f"gutter.lift_at_{d}mm", d, profile.at_mm, lift, errors, wedge.light, blank, name
        )
        for d in GUTTER_LIFT_MM
    }
    focus = (_focus_at(f"gutter.focus_at_{d}mm", m, wedge.focus, name) for d, m in lifts.items())
    here = np.isfinite(lift) & (profile.at_mm <= SHOWN_MM)
    evidence = Evidence(
        "gutter",
        "curves",
        "Lift of the page, from its darkening and the gutter ramp",
        scan=name,
        x_label="Distance from the side of the image, mm",
        y_label="Height above the glass, mm",
        unit="mm",
        curves=(Curve("page", profile.at_mm[here], lift[here]),),
    )
    return Results((*lifts.values(), *focus), evidence=(evidence,))


def _focus_at(name: str, lift: Measurement, curve: FocusCurve | str, scan: str) -> Measurement:
    """Fine detail left at the height of the page; its error is the curve's and that of the lift."""
    if isinstance(curve, str):
        return not_measurable(name, curve, scan)
    if lift.value is None:
        return not_measurable(name, lift.reason, scan)
    if lift.status == "lower-bound":
        return not_measurable(name, "the page lies higher there than the top of the ramp", scan)
    found = curve.at(lift.value)
    if found is None:
        why = f"no edge of the ramp could be measured as high up as {lift.value:.1f} mm"
        return not_measurable(name, why, scan)
    share, error = found
    off = lift.uncertainty or 0.0
    around = [curve.at(max(lift.value - off, 0.0)), curve.at(lift.value + off)]
    spread = max((abs(each[0] - share) for each in around if each is not None), default=0.0)
    return Measurement(name, 100 * share, 100 * float(np.hypot(error, spread)), scan=scan)


def _blank_share(blank: Placement, side: Side, at_mm: Floats) -> Floats:
    """Light of blank paper at distances from a side over its level on the plateau."""
    blocks = from_side(blank.overview.preview, side)[:, : len(at_mm)]
    level = np.median(luma(blank.light.light(blocks)), axis=0)
    plateau = float(np.median(level[at_mm >= at_mm[-1] / 2]))
    return np.asarray(np.maximum(level, 0.02 * plateau) / plateau, np.float64)


def _lift_at(
    name: str,
    distance_mm: int,
    at_mm: Floats,
    lift: Floats,
    errors: Floats,
    curve: HeightCurve,
    blank: Placement | None,
    scan: str,
) -> Measurement:
    """Lift at a distance; at 0 of the first block. Its error is that of light over the slope."""
    i = int(np.argmin(np.abs(at_mm - distance_mm)))
    highest = float(curve.height_mm[-1])
    if not np.isfinite(lift[i]):
        why = "the page is darker there than the top of the ramp: it lies higher"
        return Measurement(name, highest, None, "lower-bound", why, scan)
    value = float(np.interp(max(distance_mm, at_mm[0]), at_mm, np.nan_to_num(lift, nan=highest)))
    # Height for light: the steepness of the ramp's curve over a millimetre.
    span = (curve.at(min(value + 0.5, highest)), curve.at(max(value - 0.5, 0.0)))
    fall = (span[1] or 0.0) - (span[0] or 0.0)
    if fall <= 0:
        why = "the ramp shows no loss of light with height there"
        return not_measurable(name, why, scan)
    length = min(value + 0.5, highest) - max(value - 0.5, 0.0)
    error = float(errors[i]) * length / fall
    words = "" if blank is not None else "no blank scan of this size: edge shadow counts as lift"
    return Measurement(name, value, error, reason=words, scan=scan)
