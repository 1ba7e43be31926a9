"""Overshoot beside edges: sharpening in software.

A lens spreads light and never takes any away, so that an overshoot can only be computed. Light is
averaged in steps of half a pixel of distance from each edge of the sheet; the halo is the larger of
its two sides, in percent of the step, median over the edges of a direction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.model import (
    DIRECTIONS,
    Curve,
    Direction,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Reason,
    Results,
    Status,
    not_measurable,
)
from scanqa.numeric.edge.find import locate_edge
from scanqa.numeric.lightness import luma
from scanqa.numeric.scatter import median_error
from scanqa.reading.edge_window import edge_window

MOST_EDGES = 12  # in a direction: a median needs no more
FEWEST_EDGES = 3
HALO_PX = 8.0  # from the edge, within which sharpening filters overshoot
FAR = 0.7  # of the reach: beyond, the light is that of the plain sides
BIN_PX = 0.5
MOST_ENDS = 0.001  # of the pixels at an end of the scale, for a halo not to be cut off
HALO_SEEN = 2.0  # percent; noise of a bin stays below (tests/measures/test_processing.py)
NO_SHEET = Reason(
    "no-scan",
    "no sheet with enough clean edges was found in any scan: scan the printed bed sheet",
)
SHARPENED = Reason(
    "software",
    "edges are sharpened: SFR50 and the peak of the response speak of the software, "
    "SFR10 and effective dpi less so",
)
CUT_OFF = Reason("clipped", f"{SHARPENED.words}; the halo is cut off at the end of the scale")


@dataclass(frozen=True, slots=True, eq=False)
class _Profile:
    """Mean light at distances from an edge, 0 on its plain dark side, 1 on the bright one."""

    distance_px: Floats
    light: Floats
    clipped: bool

    @property
    def overshoot_percent(self) -> float:
        """The larger of what exceeds 1 and what falls below 0 near the edge."""
        near = np.abs(self.distance_px) <= HALO_PX
        above, below = self.light[near].max() - 1, -self.light[near].min()
        return 100 * max(float(above), float(below))


def seen(value: float, error: float) -> bool:
    """Whether a halo is more than noise."""
    return value - 2 * error > HALO_SEEN


def halos(placements: Sequence[Placement]) -> Results:
    """The halo of each scan and direction, with the profile of a typical edge."""
    results = Results()
    for placement in placements:
        for direction in DIRECTIONS:
            profiles = _profiles(placement, direction)
            if len(profiles) >= FEWEST_EDGES:
                results += _halo(placement, direction, profiles)
    if not results.measurements:
        return Results((not_measurable("processing.halo", NO_SHEET),))
    return results


def _profiles(placement: Placement, direction: Direction) -> list[_Profile]:
    if placement.piece is None or placement.to_px is None:
        return []
    found = []
    for edge in placement.piece.edges:
        place = edge_window(placement, edge) if edge.kind == "printed" else None
        if place is None or place.direction != direction:
            continue
        codes = placement.scan.window(place.window)
        light = luma(placement.light.light(codes))
        ends = ((codes >= placement.overview.top_code) | (codes == 0)).any(axis=-1)
        located = locate_edge(light, place.line, place.reach_px)
        if not isinstance(located, Reason):
            patch, fit = located
            distance = fit.distance(patch.x, patch.t)[patch.use]
            found.append(_profile(distance, patch.light[patch.use], bool(ends.mean() > MOST_ENDS)))
        if len(found) == MOST_EDGES:
            break
    return found


def _profile(distance: Floats, light: Floats, clipped: bool) -> _Profile:
    reach = float(np.abs(distance).max())
    dark = float(np.median(light[distance < -FAR * reach]))
    bright = float(np.median(light[distance > FAR * reach]))
    bins = np.round(distance / BIN_PX).astype(int)
    places = np.unique(bins)
    means = np.array([light[bins == place].mean() for place in places])
    return _Profile(places * BIN_PX, (means - dark) / (bright - dark), clipped)


def _halo(placement: Placement, direction: Direction, profiles: list[_Profile]) -> Results:
    overshoots = np.array([profile.overshoot_percent for profile in profiles])
    value, error = float(np.median(overshoots)), float(median_error(overshoots))
    status: Status = "ok"
    why = SHARPENED if seen(value, error) else None
    if why and any(profile.clipped for profile in profiles):
        status, why = "at-least", CUT_OFF
    measured = Measurement(
        "processing.halo",
        value,
        error,
        status,
        why.words if why else "",
        scan=placement.scan.name,
        direction=direction,
        reason_kind=why.kind if why else None,
    )
    typical = profiles[int(np.argmin(np.abs(overshoots - value)))]
    near = np.abs(typical.distance_px) <= 2 * HALO_PX
    figure = Evidence(
        "processing.halo",
        "curves",
        f"A typical edge, {direction}",
        scan=placement.scan.name,
        x_label="distance from the edge, px",
        y_label="light, 0 dark to 1 bright",
        curves=(Curve(direction, typical.distance_px[near], typical.light[near]),),
        note="Light above 1 or below 0 beside the edge is a halo, which no lens makes.",
    )
    return Results((measured,), evidence=(figure,))
