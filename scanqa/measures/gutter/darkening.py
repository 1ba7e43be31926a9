"""How much darker the open page is at each distance from the spine, and how far that reaches."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from scanqa.catalogue import GUTTER_DISTANCES_MM, GUTTER_REACH_DELTA_L, Side
from scanqa.measures.gutter.page_profile import Profile, delta_at, reach
from scanqa.measures.gutter.spine import Page
from scanqa.measures.gutter.unseen import Unseen
from scanqa.model import (
    Curve,
    Evidence,
    Linear,
    Measurement,
    Reason,
    Results,
    Shared,
    Status,
    as_bound,
    not_measurable,
    with_doubt,
)
from scanqa.numeric.curve_doubt import doubted, of_darkening
from scanqa.numeric.scatter import alike_factor, median_error

CONTINUED = 2.3  # error of a parabola through three values, half a step beyond them: √334 / 8
PLACE_SHARE = 0.1  # of a block: how far a crossing between two of them can be off
SHOWN_MM = 40.0
LEVEL_L = 0.03  # by which print and grain beside it pull the cluster of bare paper, one sigma
NEAR_SIDE_MM, HARDLY_L = 20.0, 5.0  # what is darker may be a gutter
SIGMAS, ENVELOPE_L = 2.0, 0.5  # print and noise beside it lift the paper's level by up to so much
SPINE_SHOWN_AT_MM = (2, 5)
SLOPE_MM = 0.5  # to each side, between which the steepness is taken
NOT_SEEN = Reason("range", "the sensor does not see so near to the spine")


def no_darkening(why: Reason, scan: str) -> Results:
    """All of it, not measurable."""
    names = [f"gutter.delta_L_at_{d}mm" for d in GUTTER_DISTANCES_MM]
    names += [f"gutter.reach_{delta}" for delta in GUTTER_REACH_DELTA_L]
    names += ["gutter.plateau", "gutter.unseen"]
    return Results(tuple(not_measurable(name, why, scan) for name in names))


def hardly_darker(profile: Profile, side: Side, scan: str) -> Results | None:
    """Bounds of the darkening near a side that shows no spine; None where it is not small.

    Parameters
    ----------
    profile : Profile
        Of the paper, from that side inwards.
    side : str
        Of the image.
    scan : str
        Name of the scan.

    Returns
    -------
    Results or None
        ``gutter.delta_L_at_*`` within `NEAR_SIDE_MM` are at most the highest of them with twice
        its error; the rest is not measurable.
    """
    near = profile.at_mm <= NEAR_SIDE_MM
    high = profile.delta + SIGMAS * median_error(profile.lack)
    most = max(float(high[near].max()), delta_at(profile, 0.0), 0.0) + ENVELOPE_L
    if most > HARDLY_L:
        return None
    words = (
        f"no spine shows toward the {side} side: the page is no more than {most:.1f} L* darker "
        f"within {NEAR_SIDE_MM:.0f} mm of it"
    )
    why = Reason("not-found", words)
    bounds = {f"gutter.delta_L_at_{d}mm" for d in GUTTER_DISTANCES_MM if d <= NEAR_SIDE_MM}
    return Results(
        tuple(
            Measurement(m.name, most, None, "at-most", words, scan, reason_kind=why.kind)
            if m.name in bounds
            else m
            for m in no_darkening(why, scan).measurements
        )
    )


def darkening(page: Page, before: Unseen, light: Linear, scan: str) -> Results:
    """Plateau, ΔL* at each distance, reach of each ΔL*, and figures.

    Parameters
    ----------
    page : Page
        Paper from the side of the spine inwards.
    before : Unseen
        What lies between the spine and the first pixel.
    light : Linear
        Of the scan: a curve that is only assumed is part of the doubt.
    scan : str
        Name of the scan.
    """
    profile = page.profile
    plateau = Measurement("gutter.plateau", profile.plateau, profile.plateau_error, scan=scan)
    plateau = with_doubt(plateau, Shared("paper", "print beside it", LEVEL_L))
    measurements = (
        plateau,
        _unseen(before, scan),
        *_deltas(profile, before, light, scan),
        *_reaches(profile, before, light, scan),
    )
    figures = (_across_the_page(page, before, scan), _along_the_spine(profile, before, scan))
    return Results(measurements, evidence=figures)


def _unseen(before: Unseen, scan: str) -> Measurement:
    name = "gutter.unseen"
    if before.why is not None:
        return not_measurable(name, before.why, scan)
    return Measurement(name, before.mm, before.error_mm, scan=scan)


def _deltas(profile: Profile, before: Unseen, light: Linear, scan: str) -> Iterator[Measurement]:
    """Uncertainty from the scatter of the bands, and from that of the place over the slope."""
    errors = median_error(profile.lack)
    for distance in GUTTER_DISTANCES_MM:
        name = f"gutter.delta_L_at_{distance}mm"
        at = max(distance - before.mm, 0.0)
        value = delta_at(profile, at)
        error = float(np.interp(at, profile.at_mm, errors)) * (CONTINUED if at == 0 else 1.0)
        here = profile.lack[:, int(np.argmin(np.abs(profile.at_mm - at)))]
        error *= alike_factor(here - np.median(here))
        around = [delta_at(profile, max(at + off, 0.0)) for off in (-SLOPE_MM, SLOPE_MM)]
        slope = (around[0] - around[1]) / (min(at, SLOPE_MM) + SLOPE_MM)
        error = float(np.linalg.norm((error, slope * before.error_mm, LEVEL_L)))
        m = Measurement(name, value, error, scan=scan)
        if light.assumed:
            m = doubted(m, light.source, of_darkening(profile.plateau, value))
        yield bounded(m, not_so_near(distance, before))


def not_so_near(distance_mm: float, before: Unseen) -> Reason | None:
    """Why what is found is a bound at this distance from the spine; None if it is not."""
    return NOT_SEEN if distance_mm < before.mm - before.error_mm else before.why


def bounded(m: Measurement, why: Reason | None, status: Status = "at-least") -> Measurement:
    """A value that is a bound where there is a reason."""
    if why is None or m.status != "ok":
        return m
    return as_bound(m, status, why)


def _reaches(profile: Profile, before: Unseen, light: Linear, scan: str) -> Iterator[Measurement]:
    """Uncertainty from that of the profile over its slope there, and from the blocks' size."""
    delta = profile.delta
    errors = median_error(profile.lack)
    pitch = float(profile.at_mm[1] - profile.at_mm[0])
    for limit in GUTTER_REACH_DELTA_L:
        name = f"gutter.reach_{limit}"
        value = reach(profile.at_mm, delta, limit)
        if value == profile.at_mm[-1]:
            why = "the page does not reach the level of its plateau within what was looked at"
            last = value + before.mm
            yield Measurement(name, last, None, "at-least", why, scan, reason_kind="range")
            continue
        error = float(np.interp(value, profile.at_mm, errors))
        parts = _off(profile, limit, error), PLACE_SHARE * pitch, before.error_mm
        m = Measurement(name, value + before.mm, float(np.linalg.norm(parts)), scan=scan)
        if light.assumed:
            size = _off(profile, limit, of_darkening(profile.plateau, limit))
            m = doubted(m, light.source, size)
        hidden = value == 0 and before.mm > 0  # it ends where nothing is seen
        yield bounded(m, NOT_SEEN, "at-most") if hidden else bounded(m, before.why)


def _off(profile: Profile, limit: float, error: float) -> float:
    """How far a reach is off if the darkening there is."""
    early, late = (reach(profile.at_mm, profile.delta, limit + e) for e in (error, -error))
    return (late - early) / 2


# ------------------------------------------------------------------------------ the figures


def _across_the_page(page: Page, before: Unseen, scan: str) -> Evidence:
    profile = page.profile
    here = profile.at_mm <= SHOWN_MM
    at_mm = profile.at_mm[here] + before.mm
    low, high = np.percentile(profile.lack[:, here], [10, 90], axis=0)
    lines = []
    for limit in GUTTER_REACH_DELTA_L:
        where = reach(profile.at_mm, profile.delta, limit)
        if where > 0:
            where += before.mm
            lines.append((where, f"{limit} L* darker: {where:.1f} mm"))
    return Evidence(
        "gutter",
        "curves",
        f"How the page darkens towards the spine ({page.side} side of the image)",
        scan=scan,
        x_label=before.axis,
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


def _along_the_spine(profile: Profile, before: Unseen, scan: str) -> Evidence:
    """Where along the spine the page lies close and where it lifts."""
    curves = []
    for distance in SPINE_SHOWN_AT_MM:
        i = int(np.argmin(np.abs(profile.at_mm + before.mm - distance)))
        label = f"{profile.at_mm[i] + before.mm:.1f} mm from {before.origin}"
        curves.append(Curve(label, profile.along_mm, profile.lack[:, i]))
    return Evidence(
        "gutter",
        "curves",
        "How the darkening changes along the spine",
        scan=scan,
        x_label="Place along the spine, mm",
        y_label="L* below the page further in",
        unit="L*",
        curves=tuple(curves),
        note="Even all along, the page lies alike; darker towards one end, press the book there.",
    )
