"""Sharpness: spatial frequency response of every slanted edge, of its scan and of the scanner.

*SFR* is the contrast that fine detail keeps: 1 for coarse detail, falling with frequency. Each
edge gives the response across itself, so a nearly vertical edge measures ``across`` and a nearly
horizontal one ``travel``. Method, bound and uncertainty: `scanqa.numeric.edge.sfr` (the slanted
edge of ISO 12233, by a fit to the unbinned pixels instead of bins).

Two things are told apart. *The scan of this sheet*, which is what history and comparison follow:

- ``sheet_sfr50``, ``sheet_sfr10``: frequency in cy/mm at which the response first falls to 0.5 and
  0.1, the blur of print and paper included.
- ``sheet_contrast``: the response at 4 cy/mm in decibels. Responses multiply, so that the
  difference of two scanners on one sheet is free of the sheet.

*The scanner*, as far as the edges tell (`behind`): mostly a bound or a range.

- ``sfr50``, ``sfr10``: the same without the blur of print and paper.
- ``sampling_efficiency``: SFR10 over half the sampling frequency (ISO 19264-1, FADGI), at most
  100 %: optics that pass more than the samples can hold add false detail, not more detail.
- ``effective_dpi``: sampling efficiency × dpi of that axis.
- ``peak``: highest response up to half the sampling frequency; over 1 means sharpening.

Edges are those of the printed sheet and its cut windows, of an edge card, and any clean border
that lies there by chance. A known response of the printed edges can be divided out
(`Told.edge_response`).

The response is that of detail against an area as wide as the window about the edge (3 mm and more):
light that spreads farther is the business of `scanqa.measures.veil`; how little of it still bends
the response is the shared part ``window`` of the uncertainty.

Fails (not measurable, with the reason) for light at the end of the scale, edges that the image
cuts off, edges without contrast and windows that were not cut out.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from scanqa.measures.sharpness.behind import Behind, Papers, behind, lifted
from scanqa.measures.sharpness.print_limit import FINEST_CY_MM, Limit, print_limits
from scanqa.measures.sharpness.site import Site, card_sites, found_sites, sites
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
    Shared,
    Told,
    not_measurable,
    together,
)
from scanqa.numeric.edge.fine_profile import FREQUENCIES
from scanqa.numeric.edge.sfr import Crossing, EdgeSfr
from scanqa.reading.edge_window import at_edge

OF_SCAN = ("sharpness.sheet_sfr50", "sharpness.sheet_sfr10", "sharpness.sheet_contrast")
NAMES = tuple(
    f"sharpness.{what}"
    for what in ("sfr50", "sfr10", "sampling_efficiency", "effective_dpi", "peak")
)
LEVELS = (0.5, 0.1)
CONTRAST_AT_CY_MM, LEAST_CONTRAST = 4.0, 0.02
DB_PER_SHARE = 20 / math.log(10)
__all__ = ["FINEST_CY_MM", "NAMES", "OF_SCAN", "Limit", "Site", "measure", "sites"]

OPEN_CURVE = 1.14  # a response that may read too good by so much reaches so much less for sure
WINDOW = 0.007  # of a value: light of long tails beyond the window, some per cent of it
NO_SHEET = Reason(
    "no-scan", "no sheet with edges was found in any scan: scan the printed bed sheet"
)
NO_EDGE = Reason("too-few", "no edge could be measured in this direction")
FINER_THAN_SAMPLES = Reason(
    "sampling", "the optics pass more than this dpi can hold: a higher dpi would show more"
)


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Response of every edge of every located piece, and of clean edges elsewhere.

    Parameters
    ----------
    scans : sequence of Placement
        Any.
    told : Told
        `paper` and `card_paper`: how far light spreads in them; `edge_response`, if known, is
        divided out of the printed edges: of toner measured under a microscope, for instance.

    Returns
    -------
    Results
        `OF_SCAN` and `NAMES` for each site; curves of the best, the median and the worst site of
        each direction of each sheet or card.
    """
    of_scans: dict[str, list[Site]] = {}
    results = Results()
    for placement in scans:
        if placement.piece is None or placement.to_px is None:
            made = list(found_sites(placement))
        else:
            made = sites(placement, edge_response=told.edge_response)
            made += card_sites(placement) if told.card_paper else ()
        of_scans.setdefault(placement.scan.name, []).extend(made)
        if placement.piece is not None or placement.role == "edge-card":
            results += Results(evidence=tuple(_evidence(made)))
    papers = Papers(told.paper, told.card_paper)
    known: dict[Site, Behind] = {}
    for made in of_scans.values():
        limits = print_limits(made)
        known |= {
            site: behind(site, limits[site.kind, site.place.direction], papers)
            for site in made
            if isinstance(site.found, EdgeSfr)
        }
    known = lifted(known)
    for scan, made in of_scans.items():
        results += Results(tuple(_measurements(made, known, scan)))
    if not results.measurements:
        return Results(tuple(_missing(name, NO_SHEET) for name in (*OF_SCAN, *NAMES)))
    return results


# ------------------------------------------------------------------------------ measurements


def _measurements(
    found: Sequence[Site], known: Mapping[Site, Behind], scan: str
) -> Iterator[Measurement]:
    """Values of the measured sites and reasons of the others.

    Windows are optional: if none is cut out, that is said once.
    """
    cut = [site for site in found if site.kind == "cut"]
    none_cut = bool(cut) and all(isinstance(site.found, Reason) for site in cut)
    for site in found:
        if site in known:
            yield from _of_scan(site)
            yield from _of_scanner(site, known[site])
        elif isinstance(site.found, Reason) and (site.kind == "printed" or not none_cut):
            yield _missing(OF_SCAN[0], site.found, **at_edge(site.scan, site.kind, site.place))
    if none_cut and isinstance(cut[0].found, Reason):
        words = f"no cut window with black behind it was found ({cut[0].found.words})"
        yield _missing(NAMES[0], Reason("not-found", words), scan=scan, edge_kind="cut")
    if not any(site.kind == "printed" for site in found):
        return
    for direction in DIRECTIONS:
        here = [s for s in found if s.place.direction == direction]
        if not any(site in known for site in here):
            for name in (*OF_SCAN, *NAMES):
                yield _missing(name, NO_EDGE, scan=scan, direction=direction)


def _of_scan(site: Site) -> Iterator[Measurement]:
    """What the scan of this edge shows, whoever blurs it."""
    sfr = site.of_scan
    per_mm = 1 / site.place.mm_per_px
    for name, level, crossing in zip(OF_SCAN[:2], LEVELS, (sfr.sfr50, sfr.sfr10), strict=True):
        if crossing is None:
            yield _bound(site, name, float(sfr.frequency[-1]) * per_mm, _not_down_to(sfr, level))
        else:
            here = crossing.times(per_mm)
            yield _value(site, name, here.frequency, here.uncertainty, sfr.note)
    at = CONTRAST_AT_CY_MM * site.place.mm_per_px
    if at <= sfr.frequency[-1]:
        kept = float(np.interp(at, sfr.frequency, sfr.sfr))
        spread = float(np.interp(at, sfr.frequency, sfr.uncertainty))
        if kept > LEAST_CONTRAST:
            yield _value(
                site, OF_SCAN[2], 20 * math.log10(kept), DB_PER_SHARE * spread / kept, sfr.note
            )


def _of_scanner(site: Site, known: Behind) -> Iterator[Measurement]:
    """What the scanner's own response is, as far as this edge tells."""
    per_mm = 1 / site.place.mm_per_px
    why = together(known.why, site.sfr.note)
    least, most = known.least, known.most
    last = float(least.frequency[-1])
    for name, level, low, high in (
        (NAMES[0], 0.5, least.sfr50, most.sfr50 if most else None),
        (NAMES[1], 0.1, least.sfr10, most.sfr10 if most else None),
    ):
        if low is None:
            yield _bound(site, name, last * per_mm, _not_down_to(least, level))
        else:
            ends = low.times(per_mm), high.times(per_mm) if high else None
            yield _ranged(site, name, ends, why, same=most is least)
    yield from _efficiency(site, known, why)
    yield _peak(site, known, why)


def _efficiency(site: Site, known: Behind, why: Reason | None) -> Iterator[Measurement]:
    """Sampling efficiency and effective dpi, capped at what the samples can hold."""
    least, most = known.least, known.most
    share = MM_PER_INCH * 2 / site.place.dpi / site.place.mm_per_px  # of half the sampling
    low, high = least.sfr10, most.sfr10 if most else None
    reached = share * (low.frequency if low else float(least.frequency[-1]))
    open_top = high is None or high.frequency * share > 1
    enough = 1.0 if site.curve_is_known else OPEN_CURVE
    for name, whole in ((NAMES[2], 100.0), (NAMES[3], site.place.dpi)):
        if reached > 1:
            yield _bound(site, name, whole * min(reached / enough, 1.0), FINER_THAN_SAMPLES)
        elif low is None:
            yield _bound(site, name, reached * whole, _not_down_to(least, 0.1))
        else:
            top = high.times(share * whole) if high and not open_top else None
            ends = low.times(share * whole), top
            yield _ranged(site, name, ends, why, same=most is least)


def _peak(site: Site, known: Behind, why: Reason | None) -> Measurement:
    """Highest response: print and paper hide some of it."""
    low = Crossing(known.least.peak, known.least.peak_uncertainty)
    most = known.most
    high = Crossing(most.peak, most.peak_uncertainty) if most else None
    return _ranged(site, NAMES[4], (low, high), why, same=most is known.least)


def _not_down_to(sfr: EdgeSfr, level: float) -> Reason:
    """Why a crossing lies beyond the frequencies up to which the response is known."""
    if sfr.frequency[-1] < FREQUENCIES[-1]:
        return Reason(
            "print",
            f"the response is still over {level} where that of the edge itself is too low to be "
            "divided out",
        )
    return Reason("sampling", f"the response is still over {level} at the sampling frequency")


def _bound(site: Site, name: str, value: float, why: Reason) -> Measurement:
    return _value(site, name, value, None, why, status="at-least")


def _ranged(
    site: Site,
    name: str,
    ends: tuple[Crossing, Crossing | None],
    why: Reason | None,
    *,
    same: bool,
) -> Measurement:
    """A value, a bound from below or a range, with the uncertainty of its ends."""
    low, high = ends
    if same:
        return _value(site, name, low.frequency, low.uncertainty, why)
    if high is None or high.frequency < low.frequency:
        return _value(site, name, low.frequency, low.uncertainty, why, status="at-least")
    # One uncertainty stands for both ends: an end with more of it is moved outward by twice that.
    doubt = min(low.uncertainty, high.uncertainty)
    least = max(low.frequency - 2 * (low.uncertainty - doubt), 0.0)
    most = high.frequency + 2 * (high.uncertainty - doubt)
    middle = math.sqrt(low.frequency * high.frequency)
    return _value(site, name, middle, doubt, why, status="between", low=least, high=most)


def _value(
    site: Site,
    name: str,
    value: float,
    random: float | None,
    why: Reason | None,
    **bound: Any,
) -> Measurement:
    window = WINDOW * (DB_PER_SHARE if name == OF_SCAN[2] else value)
    return Measurement(
        name,
        value,
        None if random is None else math.hypot(random, window),
        reason=why.words if why else "",
        reason_kind=why.kind if why else None,
        channel="luma",
        shared=() if random is None else (Shared("rule", "window", window),),
        **bound,
        **at_edge(site.scan, site.kind, site.place),
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
    return f"{word}: {site.kind} edge at {x:.0f}, {y:.0f} mm"


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
