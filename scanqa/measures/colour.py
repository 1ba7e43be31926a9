"""Colour: whether red, green and blue lie on each other.

*Registration*: at every slanted edge of a located sheet, the place of the edge in red and in blue
less its place in green, in px along the measured axis (positive: further right, or further down).
The places come from fits that a blurrier, lighter or fainter channel does not displace
(`scanqa.numeric.edge_shift`), so lenses that focus colours differently do not feign a shift.

An edge shows a displacement *along* itself as well, times its slope (0.09 for the printed slant).
Each site is therefore corrected with the nearest sites of the other direction, which makes the
pair of numbers the true displacement along the two axes.

Definitions as in ISO 12233 / ISO 19264-1 (colour misregistration between channels, in px), except
that they take the place from the centroid of the line spread, which noise in the tails moves.

Fails (not measurable, with the reason) for grey scans, colour files with three equal channels,
light at the end of the scale in a channel, and edges that cannot be found.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from scanqa.model import Curve, Direction, Edge, Evidence, Measurement, Placement, Point, Results
from scanqa.numeric.edge_fit import Unmeasured
from scanqa.numeric.edge_shift import Shift, edge_shifts
from scanqa.numeric.edge_window import EdgeWindow, edge_window

REGISTRATION = "colour.registration"
Moved = Literal["red", "blue"]
MOVED: tuple[Moved, ...] = ("red", "blue")
INDEX = {"red": 0, "green": 1, "blue": 2}
DIRECTIONS: tuple[Direction, ...] = ("across", "travel")
NEAR_MM = 40.0  # sites of the other direction this near correct for the slant
UNKNOWN_PX = 0.5  # displacement along an edge where no such site is near (as a standard deviation)


@dataclass(frozen=True, slots=True)
class _Site:
    edge: Edge
    scan: str
    place: EdgeWindow
    shifts: tuple[Shift | Unmeasured, ...] | Unmeasured  # of MOVED


def measure(placements: Sequence[Placement]) -> Results:
    """Colour registration at every edge of every located piece.

    Parameters
    ----------
    placements : sequence of Placement
        Scans in which a sheet was located; others are passed over.

    Returns
    -------
    Results
        ``colour.registration`` in px for red and blue at each site, and curves over the bed.
    """
    results = Results()
    for placement in placements:
        if placement.piece is None or placement.to_px is None:
            continue
        if placement.scan.channels != 3:
            why = "a grey scan has no colour channels: scan in colour"
            results += Results((_missing(why, scan=placement.scan.name),))
            continue
        found = list(_sites(placement))
        measurements = tuple(_registration(found, placement.scan.name))
        results += Results(measurements, evidence=tuple(_evidence(measurements)))
    if not results.measurements:
        why = "no sheet with edges was found in any scan: scan the printed bed sheet in colour"
        return Results((_missing(why),))
    return results


def _sites(placement: Placement) -> Iterator[_Site]:
    assert placement.piece is not None
    for edge in placement.piece.edges:
        place = edge_window(placement, edge)
        if place is None:
            continue
        codes = placement.scan.window(place.window)
        found: tuple[Shift | Unmeasured, ...] | Unmeasured
        if (codes == codes[..., :1]).all():
            found = Unmeasured("the three channels are equal: a grey scan in a colour file")
        else:
            light = placement.light.light(codes)
            others = [light[..., INDEX[name]] for name in MOVED]
            found = edge_shifts(light[..., INDEX["green"]], others, place.line, place.reach_px)
        yield _Site(edge, placement.scan.name, place, found)


# ------------------------------------------------------------------------------ registration


def _registration(found: Sequence[_Site], scan: str) -> Iterator[Measurement]:
    """Values of the sites and reasons of the others; once more if nothing was measured."""
    some = False
    for site in found:
        if isinstance(site.shifts, Unmeasured):
            if site.edge.kind == "printed":  # windows are optional
                yield _missing(site.shifts.reason, **_where(site))
            continue
        for channel, shift in zip(MOVED, site.shifts, strict=True):
            if isinstance(shift, Unmeasured):
                yield _missing(shift.reason, channel=channel, **_where(site))
                continue
            some = True
            value, spread = _without_slant(site, shift, channel, found)
            yield Measurement(REGISTRATION, value, spread, channel=channel, **_where(site))
    if not some:
        yield _missing("no edge could be measured in all three channels", scan=scan)


def _without_slant(
    site: _Site, shift: Shift, channel: Moved, found: Sequence[_Site]
) -> tuple[float, float]:
    """Displacement along the site's own axis and its standard uncertainty, px.

    With displacements (dx, dy) an edge ``x = a + b y`` moves by ``dx - b dy`` along x, and one
    ``y = a' + b' x`` by ``dy - b' dx`` along y: two equations.
    """
    crossing = [
        (_gap(site.place.at_mm, other.place.at_mm), other.shifts[MOVED.index(channel)])
        for other in found
        if other.place.direction != site.place.direction
        and not isinstance(other.shifts, Unmeasured)
    ]
    near = sorted(
        ((gap, s) for gap, s in crossing if gap < NEAR_MM and isinstance(s, Shift)),
        key=lambda pair: pair[0],
    )[:2]
    b = shift.slope
    if not near:
        return shift.along_px, float(np.hypot(shift.uncertainty_px, b * UNKNOWN_PX))
    other = float(np.mean([s.along_px for _, s in near]))
    slope = float(np.mean([s.slope for _, s in near]))
    spread = float(np.sqrt(sum(s.uncertainty_px**2 for _, s in near))) / len(near)
    value = (shift.along_px + b * other) / (1 - b * slope)
    return value, float(np.hypot(shift.uncertainty_px, b * spread))


def _gap(a: Point, b: Point) -> float:
    return float(np.hypot(a[0] - b[0], a[1] - b[1]))


def _where(site: _Site) -> dict[str, Any]:
    return {
        "scan": site.scan,
        "at_mm": site.place.at_mm,
        "direction": site.place.direction,
        "edge_kind": site.edge.kind,
    }


def _missing(why: str, **where: Any) -> Measurement:
    return Measurement(REGISTRATION, None, status="not-measurable", reason=why, **where)


def _evidence(measurements: Sequence[Measurement]) -> Iterator[Evidence]:
    """Displacement against the place along the axis it is measured on."""
    for direction, axis in zip(DIRECTIONS, (0, 1), strict=True):
        curves = []
        for channel in MOVED:
            points = sorted(
                (m.at_mm[axis], m.value)
                for m in measurements
                if m.direction == direction
                and m.channel == channel
                and m.at_mm is not None
                and m.value is not None
            )
            if points:
                x, y = np.array(points).T
                curves.append(Curve(channel, x, y))
        if curves:
            yield Evidence(
                explains=REGISTRATION,
                kind="curves",
                title=f"Red and blue against green, {direction}",
                scan=measurements[0].scan,
                x_label=f"place {direction} (mm)",
                y_label="displacement (px)",
                curves=tuple(curves),
            )
