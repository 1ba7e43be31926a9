"""Sharpness: spatial frequency response of every slanted edge of a located sheet.

*SFR* is the contrast that fine detail keeps: 1 for coarse detail, falling with frequency. Each
edge gives the response across itself, so a nearly vertical edge measures ``across`` and a nearly
horizontal one ``travel``. Method, bound and uncertainty: `scanqa.numeric.edge` (the slanted edge
of ISO 12233, by a fit to the unbinned pixels instead of bins).

- ``sfr50``, ``sfr10``: frequency in cy/mm at which the response first falls to 0.5 and 0.1.
- ``sampling_efficiency``: SFR10 over half the sampling frequency (ISO 19264-1, FADGI), at most
  100 %: optics that pass more than the samples can hold add false detail, not more detail.
- ``effective_dpi``: sampling efficiency × dpi of that axis.
- ``peak``: highest response up to half the sampling frequency; over 1 means sharpening.

**Printer or scanner.** A rough edge is blurred by its own roughness: a variance r² along the normal
costs ``r²/2σ²`` of SFR50, σ² being the variance of the whole blur. r² is read from each edge
(`scanqa.numeric.edge_rough`), structure too fine for the scan included by extrapolation up to
`FINEST_CY_MM`, and its median over the edges of one kind and direction counts: a printer is the
same everywhere. Where windows were cut out of the sheet, the printed edges beside each are compared
with its cut ones, and that decides. What costs more than `LIMIT` makes every result it touches a
``lower-bound``. A known response of the printed edges can be divided out (`edge_response`); then
they are no limit.

Fails (not measurable, with the reason) for light at the end of the scale, edges that the image
cuts off, edges without contrast and windows that were not cut out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from scanqa.model import (
    MM_PER_INCH,
    Curve,
    Direction,
    Edge,
    EdgeKind,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Results,
    Status,
    not_measurable,
)
from scanqa.numeric.edge import Crossing, EdgeSfr, divide, measure_edge
from scanqa.numeric.edge_fit import Unmeasured
from scanqa.numeric.edge_window import EdgeWindow, edge_window
from scanqa.numeric.lightness import luma

NAMES = tuple(
    f"sharpness.{what}"
    for what in ("sfr50", "sfr10", "sampling_efficiency", "effective_dpi", "peak")
)
DIRECTIONS: tuple[Direction, ...] = ("across", "travel")
LIMIT = 0.02  # of SFR50: an edge that costs more limits the result
FINEST_CY_MM = 25.0  # toner grains pile up to some 20 µm: finer structure is not expected
MIN_CUT = 2  # cut edges in a direction that can judge the printed ones
GAUSS_50 = 0.187391  # σ f50 of a Gaussian: exp(-2π² · 0.187391²) = 0.5

EdgeResponse = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """One edge of one scan: where it lies and what was found."""

    edge: Edge
    scan: str
    place: EdgeWindow
    found: EdgeSfr | Unmeasured
    divided: bool = False  # whether the response of the edge itself was taken out

    @property
    def sfr50_cy_mm(self) -> float | None:
        """SFR50 on the paper."""
        if isinstance(self.found, Unmeasured) or self.found.sfr50 is None:
            return None
        return self.found.sfr50.frequency / self.place.mm_per_px


@dataclass(frozen=True, slots=True)
class Limit:
    """What the edges of one kind and direction cost, and why we think so.

    Attributes
    ----------
    rough_mm : float
        Standard deviation of the edges along their normal, the unseen part included.
    beside_cut : (loss, uncertainty) or None
        Share of SFR50 by which printed edges fall short of the cut edges beside them.
    """

    kind: EdgeKind
    rough_mm: float
    beside_cut: tuple[float, float] | None

    def verdict(self, sfr50_cy_mm: float) -> tuple[Status, str]:
        """Status of a site and the reason, from its SFR50."""
        if self.beside_cut is not None:
            loss, spread = self.beside_cut
            if loss - 2 * spread > LIMIT:
                return "lower-bound", (
                    f"the printed edges measure {100 * loss:.0f} % less than the cut windows "
                    "beside them: the print is the limit, not the scanner"
                )
            if loss + 2 * spread < LIMIT:
                return "ok", ""
        loss = (self.rough_mm * sfr50_cy_mm / GAUSS_50) ** 2 / 2
        if loss <= LIMIT:
            return "ok", ""
        maker = "printed edges are" if self.kind == "printed" else "knife's cuts are"
        return "lower-bound", (
            f"the {maker} rough (about {1000 * self.rough_mm:.0f} µm) and limit this value, "
            "not the scanner alone"
        )


def measure(
    placements: Sequence[Placement], *, edge_response: EdgeResponse | None = None
) -> Results:
    """Response of every edge of every located piece.

    Parameters
    ----------
    placements : sequence of Placement
        Scans in which a sheet was located; others are passed over.
    edge_response : callable, optional
        Response of the *printed edges* (frequencies in cy/mm to response) if it is known, to be
        divided out of what was measured: of toner measured under a microscope, for instance.

    Returns
    -------
    Results
        `NAMES` for each site; curves of the best, the median and the worst site of each direction.
    """
    results = Results()
    for placement in placements:
        if placement.piece is None or placement.to_px is None:
            continue
        found = sites(placement, edge_response=edge_response)
        results += Results(
            measurements=tuple(_measurements(found, placement.scan.name)),
            evidence=tuple(_evidence(found)),
        )
    if not results.measurements:
        why = "no sheet with edges was found in any scan: scan the printed bed sheet"
        return Results(tuple(_missing(name, why) for name in NAMES))
    return results


def sites(placement: Placement, *, edge_response: EdgeResponse | None = None) -> list[Site]:
    """Measure, on luma, every edge of the located piece that lies in the image.

    Raises
    ------
    ValueError
        If no sheet was located in the scan.
    """
    if placement.piece is None:
        raise ValueError("no sheet was located in this scan")
    found = []
    for edge in placement.piece.edges:
        place = edge_window(placement, edge)
        if place is not None:
            sfr = _measured(placement, place)
            divided = edge_response is not None and edge.kind == "printed"
            if isinstance(sfr, EdgeSfr) and edge_response is not None and divided:
                sfr = divide(sfr, edge_response(sfr.frequency / place.mm_per_px))
            found.append(Site(edge, placement.scan.name, place, sfr, divided))
    return found


def _measured(placement: Placement, place: EdgeWindow) -> EdgeSfr | Unmeasured:
    codes = placement.scan.window(place.window)
    light = luma(placement.light.light(codes))
    # A pixel is at the end of the scale if any of its channels is: its luma is bent already.
    light[(codes == 2**placement.scan.bits - 1).any(axis=-1)] = 1.0
    light[(codes == 0).any(axis=-1)] = 0.0
    return measure_edge(light, place.line, place.reach_px)


# ------------------------------------------------------------------------------ measurements


def _measurements(found: Sequence[Site], scan: str) -> Iterator[Measurement]:
    """Values of the measured sites and reasons of the others.

    Windows are optional: if none is cut out, that is said once.
    """
    cut = [site for site in found if site.edge.kind == "cut"]
    none_cut = bool(cut) and all(isinstance(site.found, Unmeasured) for site in cut)
    limits = _limits(found)
    for site in found:
        if isinstance(site.found, EdgeSfr):
            yield from _values(site, site.found, limits[site.edge.kind, site.place.direction])
        elif site.edge.kind == "printed" or not none_cut:
            yield _missing(NAMES[0], site.found.reason, **_where(site))
    if none_cut and isinstance(cut[0].found, Unmeasured):
        why = f"no cut window with black behind it was found ({cut[0].found.reason})"
        yield _missing(NAMES[0], why, scan=scan, edge_kind="cut")
    for direction in DIRECTIONS:
        here = [s for s in found if s.place.direction == direction]
        if not any(isinstance(site.found, EdgeSfr) for site in here):
            why = "no edge could be measured in this direction"
            for name in NAMES:
                yield _missing(name, why, scan=scan, direction=direction)


def _values(site: Site, sfr: EdgeSfr, limit: Limit) -> Iterator[Measurement]:
    sfr50 = site.sfr50_cy_mm
    status: Status = "ok"
    reason = ""
    if sfr50 is not None:
        status, reason = limit.verdict(sfr50)
    own = "the edge's own response is divided out" if site.divided else ""
    reason = "; ".join(part for part in (reason, sfr.note, own) if part)
    per_mm = 1 / site.place.mm_per_px
    for name, level, crossing in ((NAMES[0], 0.5, sfr.sfr50), (NAMES[1], 0.1, sfr.sfr10)):
        if crossing is None:
            # the response is known up to there, so the crossing lies beyond
            beyond = f"the response is still over {level} at the sampling frequency"
            last = float(sfr.frequency[-1]) * per_mm
            yield _value(site, name, last, None, "lower-bound", beyond)
        else:
            value, spread = crossing.frequency * per_mm, crossing.uncertainty * per_mm
            yield _value(site, name, value, spread, status, reason)
    yield from _efficiency(site, sfr.sfr10, status, reason)
    yield _value(site, NAMES[4], sfr.peak, sfr.peak_uncertainty, status, reason)


def _efficiency(
    site: Site, sfr10: Crossing | None, status: Status, reason: str
) -> Iterator[Measurement]:
    """Sampling efficiency and effective dpi, capped at what the samples can hold."""
    half_sampling = site.place.dpi / MM_PER_INCH / 2
    per_px = 1 / site.place.mm_per_px / half_sampling
    share = 1.0 if sfr10 is None else sfr10.frequency * per_px
    spread = None if sfr10 is None else sfr10.uncertainty * per_px
    if sfr10 is None or share > 1:
        share, status = 1.0, "lower-bound"
        reason = "the optics pass more than this dpi can hold: a higher dpi would show more"
    for name, whole in ((NAMES[2], 100.0), (NAMES[3], site.place.dpi)):
        yield _value(
            site, name, share * whole, None if spread is None else spread * whole, status, reason
        )


def _limits(found: Sequence[Site]) -> dict[tuple[EdgeKind, Direction], Limit]:
    """What the edges of each kind and direction cost."""
    groups: dict[tuple[EdgeKind, Direction], list[tuple[Site, EdgeSfr]]] = {}
    for site in found:
        if isinstance(site.found, EdgeSfr):
            key = (site.edge.kind, site.place.direction)
            groups.setdefault(key, []).append((site, site.found))
    limits = {}
    for (kind, direction), members in groups.items():
        if members[0][0].divided:
            limits[kind, direction] = Limit(kind, 0.0, None)
            continue
        variances = [
            sfr.roughness.whole_px2(FINEST_CY_MM * site.place.mm_per_px)[0]
            * site.place.mm_per_px**2
            for site, sfr in members
        ]
        cut = [site for site, _ in groups.get(("cut", direction), [])]
        beside = _beside_cut([site for site, _ in members], cut) if kind == "printed" else None
        rough_mm = float(np.sqrt(np.median(variances)))
        limits[kind, direction] = Limit(kind, rough_mm, beside)
    return limits


def _beside_cut(printed: Sequence[Site], cut: Sequence[Site]) -> tuple[float, float] | None:
    """Share of SFR50 that printed edges lack against the cut ones nearest to them."""
    losses = []
    for site in cut:
        x, y = site.place.at_mm
        near = sorted(
            (np.hypot(other.place.at_mm[0] - x, other.place.at_mm[1] - y), other.sfr50_cy_mm)
            for other in printed
            if other.sfr50_cy_mm is not None
        )[:4]
        if near and site.sfr50_cy_mm is not None:
            losses.append(1 - float(np.mean([value for _, value in near])) / site.sfr50_cy_mm)
    if len(losses) < MIN_CUT:
        return None
    return float(np.median(losses)), float(np.std(losses, ddof=1) / np.sqrt(len(losses)))


def _value(
    site: Site, name: str, value: float, uncertainty: float | None, status: Status, reason: str
) -> Measurement:
    return Measurement(name, value, uncertainty, status, reason, channel="luma", **_where(site))


def _where(site: Site) -> dict[str, Any]:
    return {
        "scan": site.scan,
        "at_mm": site.place.at_mm,
        "direction": site.place.direction,
        "edge_kind": site.edge.kind,
    }


def _missing(name: str, why: str, **where: Any) -> Measurement:
    return not_measurable(name, why, channel="luma", **where)


# ---------------------------------------------------------------------------------- evidence


def _evidence(found: Sequence[Site]) -> Iterator[Evidence]:
    """Edge profiles and responses of the best, the median and the worst site per direction."""
    for direction in DIRECTIONS:
        ranked = sorted(
            (
                (site.found.sfr50.frequency / site.place.mm_per_px, i)
                for i, site in enumerate(found)
                if site.place.direction == direction
                and isinstance(site.found, EdgeSfr)
                and site.found.sfr50 is not None
            ),
            reverse=True,
        )
        if not ranked:
            continue
        picks = {"best": ranked[0], "median": ranked[len(ranked) // 2], "worst": ranked[-1]}
        shown = [(word, found[i]) for word, (_, i) in picks.items()][: len(ranked)]
        yield _sfr_curves(direction, shown)
        yield _edge_curves(direction, shown)


def _label(word: str, site: Site) -> str:
    x, y = site.place.at_mm
    return f"{word}: {site.edge.kind} edge at {x:.0f}, {y:.0f} mm"


def _sfr_curves(direction: Direction, shown: Sequence[tuple[str, Site]]) -> Evidence:
    curves, half = [], 0.0
    for word, site in shown:
        sfr, half = site.found, site.place.dpi / MM_PER_INCH / 2
        assert isinstance(sfr, EdgeSfr)
        curves.append(Curve(_label(word, site), sfr.frequency / site.place.mm_per_px, sfr.sfr))
    return Evidence(
        explains="sharpness",
        kind="curves",
        title=f"Spatial frequency response, {direction}",
        scan=shown[0][1].scan,
        x_label="frequency (cy/mm)",
        y_label="SFR",
        curves=tuple(curves),
        lines_mm=((half, "half the sampling frequency"),),
    )


def _edge_curves(direction: Direction, shown: Sequence[tuple[str, Site]]) -> Evidence:
    curves = []
    for word, site in shown:
        sfr = site.found
        assert isinstance(sfr, EdgeSfr)
        curves.append(Curve(_label(word, site), sfr.distance_px * site.place.mm_per_px, sfr.edge))
    return Evidence(
        explains="sharpness",
        kind="curves",
        title=f"Profile across the edge, {direction}",
        scan=shown[0][1].scan,
        x_label="distance from the edge (mm)",
        y_label="light, 0 dark side, 1 bright side",
        curves=tuple(curves),
    )
