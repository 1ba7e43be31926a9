"""Sharpness: spatial frequency response of every slanted edge of a located sheet.

*SFR* is the contrast that fine detail keeps: 1 for coarse detail, falling with frequency. Each
edge gives the response across itself, so a nearly vertical edge measures ``across`` and a nearly
horizontal one ``travel``. Method, bound and uncertainty: `scanqa.numeric.edge.sfr` (the slanted
edge of ISO 12233, by a fit to the unbinned pixels instead of bins).

- ``sfr50``, ``sfr10``: frequency in cy/mm at which the response first falls to 0.5 and 0.1.
- ``sampling_efficiency``: SFR10 over half the sampling frequency (ISO 19264-1, FADGI), at most
  100 %: optics that pass more than the samples can hold add false detail, not more detail.
- ``effective_dpi``: sampling efficiency × dpi of that axis.
- ``peak``: highest response up to half the sampling frequency; over 1 means sharpening.

What edges cost that are rough themselves (`print_limit`) makes every result that it touches
``at-least``. A known response of the printed edges can be divided out (`Told.edge_response`); then
they are no limit.

Fails (not measurable, with the reason) for light at the end of the scale, edges that the image
cuts off, edges without contrast and windows that were not cut out.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from scanqa.measures.sharpness.print_limit import FINEST_CY_MM, Limit, print_limits
from scanqa.measures.sharpness.site import Site, sites
from scanqa.model import (
    DIRECTIONS,
    MM_PER_INCH,
    Curve,
    Direction,
    Evidence,
    Measurement,
    Placement,
    Reason,
    Results,
    Status,
    Told,
    not_measurable,
    together,
)
from scanqa.numeric.edge.fine_profile import FREQUENCIES
from scanqa.numeric.edge.sfr import EdgeSfr
from scanqa.reading.edge_window import at_edge

NAMES = tuple(
    f"sharpness.{what}"
    for what in ("sfr50", "sfr10", "sampling_efficiency", "effective_dpi", "peak")
)
__all__ = ["FINEST_CY_MM", "NAMES", "Limit", "Site", "measure", "sites"]

NO_SHEET = Reason(
    "no-scan", "no sheet with edges was found in any scan: scan the printed bed sheet"
)
NO_EDGE = Reason("too-few", "no edge could be measured in this direction")
DIVIDED = Reason("method", "the edge's own response is divided out")
FINER_THAN_SAMPLES = Reason(
    "sampling", "the optics pass more than this dpi can hold: a higher dpi would show more"
)


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Response of every edge of every located piece.

    Parameters
    ----------
    scans : sequence of Placement
        Those without a located sheet are passed over.
    told : Told
        `edge_response`, if known, is divided out of the printed edges: of toner measured under a
        microscope, for instance.

    Returns
    -------
    Results
        `NAMES` for each site; curves of the best, the median and the worst site of each direction.
    """
    results = Results()
    for placement in scans:
        if placement.piece is None or placement.to_px is None:
            continue
        found = sites(placement, edge_response=told.edge_response)
        results += Results(
            measurements=tuple(_measurements(found, placement.scan.name)),
            evidence=tuple(_evidence(found)),
        )
    if not results.measurements:
        return Results(tuple(_missing(name, NO_SHEET) for name in NAMES))
    return results


# ------------------------------------------------------------------------------ measurements


def _measurements(found: Sequence[Site], scan: str) -> Iterator[Measurement]:
    """Values of the measured sites and reasons of the others.

    Windows are optional: if none is cut out, that is said once.
    """
    cut = [site for site in found if site.edge.kind == "cut"]
    none_cut = bool(cut) and all(isinstance(site.found, Reason) for site in cut)
    limits = print_limits(found)
    for site in found:
        if isinstance(site.found, EdgeSfr):
            yield from _values(site, site.found, limits[site.edge.kind, site.place.direction])
        elif site.edge.kind == "printed" or not none_cut:
            yield _missing(NAMES[0], site.found, **at_edge(site.scan, site.edge, site.place))
    if none_cut and isinstance(cut[0].found, Reason):
        words = f"no cut window with black behind it was found ({cut[0].found.words})"
        yield _missing(NAMES[0], Reason("not-found", words), scan=scan, edge_kind="cut")
    for direction in DIRECTIONS:
        here = [s for s in found if s.place.direction == direction]
        if not any(isinstance(site.found, EdgeSfr) for site in here):
            for name in NAMES:
                yield _missing(name, NO_EDGE, scan=scan, direction=direction)


def _values(site: Site, sfr: EdgeSfr, limit: Limit) -> Iterator[Measurement]:
    sfr50 = site.sfr50_cy_mm
    limited = None if sfr50 is None else limit.exceeded(sfr50)
    status: Status = "ok" if limited is None else "at-least"
    why = together(limited, sfr.note, DIVIDED if site.divided else None)
    per_mm = 1 / site.place.mm_per_px
    for name, level, crossing in ((NAMES[0], 0.5, sfr.sfr50), (NAMES[1], 0.1, sfr.sfr10)):
        if crossing is None:
            last = float(sfr.frequency[-1]) * per_mm
            yield _value(site, name, last, None, "at-least", _beyond(sfr, level))
        else:
            value, spread = crossing.frequency * per_mm, crossing.uncertainty * per_mm
            yield _value(site, name, value, spread, status, why)
    yield from _efficiency(site, sfr, status, why)
    yield _value(site, NAMES[4], sfr.peak, sfr.peak_uncertainty, status, why)


def _beyond(sfr: EdgeSfr, level: float) -> Reason:
    """Why a crossing lies beyond the frequencies up to which the response is known."""
    if sfr.frequency[-1] < FREQUENCIES[-1]:
        return Reason(
            "print",
            f"the response is still over {level} where that of the edge itself is too low to be "
            "divided out",
        )
    return Reason("sampling", f"the response is still over {level} at the sampling frequency")


def _efficiency(
    site: Site, sfr: EdgeSfr, status: Status, why: Reason | None
) -> Iterator[Measurement]:
    """Sampling efficiency and effective dpi, capped at what the samples can hold."""
    half_sampling = site.place.dpi / MM_PER_INCH / 2
    per_px = 1 / site.place.mm_per_px / half_sampling
    sfr10 = sfr.sfr10
    share = per_px * (float(sfr.frequency[-1]) if sfr10 is None else sfr10.frequency)
    spread = None if sfr10 is None else sfr10.uncertainty * per_px
    if share > 1:
        share, status, why = 1.0, "at-least", FINER_THAN_SAMPLES
    elif sfr10 is None:
        status, why = "at-least", _beyond(sfr, 0.1)
    for name, whole in ((NAMES[2], 100.0), (NAMES[3], site.place.dpi)):
        yield _value(
            site, name, share * whole, None if spread is None else spread * whole, status, why
        )


def _value(
    site: Site,
    name: str,
    value: float,
    uncertainty: float | None,
    status: Status,
    why: Reason | None,
) -> Measurement:
    return Measurement(
        name,
        value,
        uncertainty,
        status,
        why.words if why else "",
        reason_kind=why.kind if why else None,
        channel="luma",
        **at_edge(site.scan, site.edge, site.place),
    )


def _missing(name: str, why: Reason, **where: Any) -> Measurement:
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
        shows="response",
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
