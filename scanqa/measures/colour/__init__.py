"""Colour: whether red, green and blue lie on each other, and whether white stays white.

*Registration*: at every slanted edge of a located sheet, the place of the edge in red and in blue
less its place in green, in px along the measured axis (positive: further right, or further down).
The places come from fits that a blurrier, lighter or fainter channel does not displace
(`scanqa.numeric.edge.shift`), so lenses that focus colours differently do not feign a shift.

An edge shows a displacement *along* itself as well, times its slope (0.09 for the printed slant).
Each site is therefore corrected with the nearest sites of the other direction, which makes the
pair of numbers the true displacement along the two axes.

Uncertainty is the scatter of the rows, and what sites differ by beyond it over the bed (a rough
print does not cancel wholly where channels blur unlike); shared by all sites is what a curve that
nobody stated makes of it: on tinted paper it moves the channels unlike. JPEG halves the dpi of
colour, and with it the shift: then it is not measurable, nor where colour is seen to be coarser
than light (`thinned`) though luma shows no trace of JPEG.

Definitions as in ISO 12233 / ISO 19264-1 (colour misregistration between channels, in px), except
that they take the place from the centroid of the line spread, which noise in the tails moves.

*Neutrality* (`white_tint`), from blank paper: the tint of cells against the middle of the bed. The
light of each cell is divided by that of the middle channel by channel and taken to CIELAB (CIE 15 /
ISO 11664-4, sRGB primaries, D65 as white); the distance from neutral, √(a*² + b*²), is 0 wherever
the light falls off alike in all channels, however much it does. `paper_a` and `paper_b` are a* and
b* of the middle itself, as delivered: the paper's own tint and the white balance together.

Fails (not measurable, with the reason) for grey scans, colour files with three equal channels,
light at the end of the scale in a channel, and edges that cannot be found.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np

from scanqa.measures.colour.thinned import colour_is_thinned
from scanqa.measures.colour.white_tint import (
    EQUAL_CHANNELS,
    GREY_SCAN,
    NEUTRAL_NAMES,
    neutrality,
)
from scanqa.model import (
    COLOURS,
    DIRECTIONS,
    Curve,
    Edge,
    Evidence,
    Measurement,
    Placement,
    Point,
    Reason,
    Results,
    Told,
    not_measurable,
    of_role,
)
from scanqa.numeric.curve_doubt import HALF_RANGE, doubted
from scanqa.numeric.edge.shift import Shift, edge_shifts
from scanqa.numeric.scatter import robust_sd
from scanqa.reading.edge_window import EdgeWindow, at_edge, edge_window

__all__ = ["NEUTRAL_NAMES", "REGISTRATION", "measure"]

REGISTRATION = "colour.registration"
FEWEST_FOR_PLANE = 8  # sites
NO_SHEET = Reason(
    "no-scan",
    "no sheet with edges was found in any scan: scan the printed bed sheet in colour",
)
THINNED = Reason(
    "compression",
    "red, green and blue share their finest grain: JPEG or software made colour coarser, and a "
    "shift of colours with it; scan to TIFF without compression",
)
NO_EDGE = Reason("too-few", "no edge could be measured in all three channels")
Moved = Literal["red", "blue"]
MOVED: tuple[Moved, ...] = ("red", "blue")
NEAR_MM = 40.0  # sites of the other direction this near correct for the slant
UNKNOWN_PX = 0.5  # displacement along an edge where no such site is near (as a standard deviation)


@dataclass(frozen=True, slots=True)
class _Site:
    edge: Edge
    scan: str
    place: EdgeWindow
    shifts: tuple[Shift | Reason, ...] | Reason  # of MOVED


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Colour registration at every edge, and neutrality of blank paper over the bed.

    Parameters
    ----------
    scans : sequence of Placement
        Bed sheets (those that were not located are passed over), and blanks: plain white paper
        over the whole bed.
    told : Told
        Nothing of it is needed.

    Returns
    -------
    Results
        ``colour.registration`` in px for red and blue at each site, with curves over the bed;
        `NEUTRAL_NAMES` for each blank scan, with a map of the first.
    """
    results = Results()
    for placement in of_role(scans, "bed-sheet"):
        if placement.piece is None or placement.to_px is None:
            continue
        if placement.scan.channels != 3:
            results += Results((_missing(GREY_SCAN, scan=placement.scan.name),))
            continue
        found = list(_sites(placement))
        if colour_is_thinned([placement.scan.window(site.place.window) for site in found]):
            results += Results((_missing(THINNED, scan=placement.scan.name),))
            continue
        doubt = _Doubt(_beyond_rows(found), _of_curve(placement, found), placement.light.source)
        measurements = tuple(_registration(found, placement.scan.name, doubt))
        results += Results(measurements, evidence=tuple(_evidence(measurements)))
    if not results.measurements:
        results += Results((_missing(NO_SHEET),))
    for n, blank in enumerate(of_role(scans, "blank")):
        neutral = neutrality(blank)
        results += neutral if n == 0 else Results(neutral.measurements)
    return results


def _sites(placement: Placement) -> Iterator[_Site]:
    assert placement.piece is not None
    for edge in placement.piece.edges:
        place = edge_window(placement, edge)
        if place is None:
            continue
        yield _Site(edge, placement.scan.name, place, _shifts(placement, place))


def _shifts(
    placement: Placement, place: EdgeWindow, exponent: float = 1.0
) -> tuple[Shift | Reason, ...] | Reason:
    """Displacements at an edge, the light taken to a power."""
    codes = placement.scan.window(place.window)
    if (codes == codes[..., :1]).all():
        return EQUAL_CHANNELS
    light = placement.light.light(codes) ** exponent
    light[codes >= placement.overview.top_code] = 1.0
    planes = dict(zip(COLOURS, np.moveaxis(light, -1, 0), strict=True))
    others = [planes[name] for name in MOVED]
    return edge_shifts(planes["green"], others, place.line, place.reach_px)


# ------------------------------------------------------------------------------ registration


@dataclass(frozen=True, slots=True)
class _Doubt:
    """What the rows of an edge do not show of its doubt, px, by channel (and direction)."""

    beyond_rows: Mapping[tuple[Moved, str], float]
    of_curve: Mapping[Moved, float]
    source: str


def _beyond_rows(found: Sequence[_Site]) -> dict[tuple[Moved, str], float]:
    """Scatter of sites about a plane over the bed, beyond what their rows state."""
    beyond: dict[tuple[Moved, str], float] = {}
    for n, channel in enumerate(MOVED):
        for direction in DIRECTIONS:
            known = [
                (*site.place.at_mm, site.shifts[n])
                for site in found
                if site.place.direction == direction and not isinstance(site.shifts, Reason)
            ]
            rows = [(x, y, s) for x, y, s in known if isinstance(s, Shift)]
            if len(rows) < FEWEST_FOR_PLANE:
                continue
            plane = np.array([(1.0, x, y) for x, y, _ in rows])
            values = np.array([s.along_px for _, _, s in rows])
            rest = values - plane @ np.linalg.lstsq(plane, values, rcond=None)[0]
            spread = float(robust_sd(rest)) ** 2 * len(rows) / (len(rows) - 3)
            stated = float(np.median([s.uncertainty_px**2 for _, _, s in rows]))
            beyond[channel, direction] = float(np.sqrt(max(spread - stated, 0.0)))
    return beyond


def _of_curve(placement: Placement, found: Sequence[_Site]) -> dict[Moved, float]:
    """By how much shifts change with the exponent of light, at some sites: evenly spread doubt."""
    if not placement.light.assumed:
        return {}
    changes: dict[Moved, list[float]] = {channel: [] for channel in MOVED}
    for site in [s for s in found if not isinstance(s.shifts, Reason)][:: max(len(found) // 8, 1)]:
        bent = _shifts(placement, site.place, 1 - HALF_RANGE)
        if isinstance(bent, Reason) or isinstance(site.shifts, Reason):
            continue
        for channel, one, other in zip(MOVED, site.shifts, bent, strict=True):
            if isinstance(one, Shift) and isinstance(other, Shift):
                changes[channel].append((other.along_px - one.along_px) ** 2)
    return {name: float(np.sqrt(np.mean(each) / 3)) for name, each in changes.items() if each}


def _registration(found: Sequence[_Site], scan: str, doubt: _Doubt) -> Iterator[Measurement]:
    """Values of the sites and reasons of the others; once more if nothing was measured."""
    some = False
    for site in found:
        here = at_edge(site.scan, site.edge.kind, site.place)
        if isinstance(site.shifts, Reason):
            if site.edge.kind == "printed":  # windows are optional
                yield _missing(site.shifts, **here)
            continue
        for channel, shift in zip(MOVED, site.shifts, strict=True):
            if isinstance(shift, Reason):
                yield _missing(shift, channel=channel, **here)
                continue
            some = True
            value, spread = _without_slant(site, shift, channel, found)
            beyond = doubt.beyond_rows.get((channel, site.place.direction), 0.0)
            whole = float(np.hypot(spread, beyond))
            m = Measurement(REGISTRATION, value, whole, channel=channel, **here)
            yield doubted(m, doubt.source, doubt.of_curve.get(channel, 0.0))
    if not some:
        yield _missing(NO_EDGE, scan=scan)


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
        if other.place.direction != site.place.direction and not isinstance(other.shifts, Reason)
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


def _missing(why: Reason, **where: Any) -> Measurement:
    return not_measurable(REGISTRATION, why, **where)


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
