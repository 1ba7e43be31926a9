"""The edges of a scan, each measured on luma where it lies: those of a sheet, and any clean one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from scanqa.model import EdgeKind, EdgeResponse, Floats, Placement, Point, Reason
from scanqa.numeric.edge.sfr import EdgeSfr, divide, measure_edge
from scanqa.numeric.lightness import luma
from scanqa.reading.clean_edges import clean_edges
from scanqa.reading.edge_window import EdgeWindow, edge_window

MOST_ROUGH_MM = 0.03  # of an edge that nobody made for measuring: more is torn or hairy
LEAST_RESPONSE = 1e-6
BESIDE_MM, IN_WINDOW_MM = 3.0, 1.0  # from the sheet's border; from that of a window
MOST_BLUR_PX = 6.0  # sigma of such an edge: more is a shadow or a fold


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """One edge of one scan: where it lies and what was found.

    Attributes
    ----------
    plain : EdgeSfr or None
        As the scan shows it, where the response of the edge itself was divided out of `found`.
    curve_is_known : bool
        Whether the tone curve is stated, not assumed.
    """

    kind: EdgeKind
    scan: str
    place: EdgeWindow
    found: EdgeSfr | Reason
    plain: EdgeSfr | None = None
    curve_is_known: bool = True

    @property
    def divided(self) -> bool:
        """Whether the response of the edge itself was taken out."""
        return self.plain is not None

    @property
    def sfr(self) -> EdgeSfr:
        """The response, of a site that was measured; TypeError of another."""
        if isinstance(self.found, Reason):
            raise TypeError(f"not measured: {self.found.words}")
        return self.found

    @property
    def of_scan(self) -> EdgeSfr:
        """What the scan shows, the edge's own blur included; of a measured site."""
        return self.plain or self.sfr

    def last_cy_mm(self, sfr: EdgeSfr) -> float:
        """Up to which frequency on the paper a response of this edge is known."""
        return float(sfr.frequency[-1]) / self.place.mm_per_px

    def at(self, frequency_cy_mm: Floats, sfr: EdgeSfr) -> Floats:
        """A response of this edge at frequencies on the paper, never quite nothing."""
        known = sfr.frequency / self.place.mm_per_px
        return np.interp(frequency_cy_mm, known, np.maximum(sfr.sfr, LEAST_RESPONSE))

    @property
    def sfr50_cy_mm(self) -> float | None:
        """SFR50 on the paper."""
        if isinstance(self.found, Reason) or self.found.sfr50 is None:
            return None
        return self.found.sfr50.frequency / self.place.mm_per_px


def sites(placement: Placement, *, edge_response: EdgeResponse | None = None) -> list[Site]:
    """Measure, on luma, every edge of the located piece that lies in the image.

    Raises
    ------
    ValueError
        If no sheet was located in the scan.
    """
    if placement.piece is None:
        raise ValueError("no sheet was located in this scan")
    made = []
    known = not placement.light.assumed
    for edge in placement.piece.edges:
        place = edge_window(placement, edge)
        if place is not None:
            sfr, plain = _measured(placement, place), None
            if isinstance(sfr, EdgeSfr) and edge_response is not None and edge.kind == "printed":
                plain = sfr
                sfr = divide(sfr, edge_response(sfr.frequency / place.mm_per_px))
            made.append(
                Site(edge.kind, placement.scan.name, place, sfr, plain, curve_is_known=known)
            )
    return made


def found_sites(placement: Placement) -> Iterator[Site]:
    """Measure every clean edge of a scan without a sheet; those that are not sharp are passed over.

    Parameters
    ----------
    placement : Placement
        Of an edge card the edges are its cut ones; of anything else they are *found*.
    """
    kind: EdgeKind = "card" if placement.role == "edge-card" else "found"
    known = not placement.light.assumed
    for place in clean_edges(placement):
        sfr = _measured(placement, place)
        if isinstance(sfr, Reason):
            continue
        rough_mm = sfr.roughness.seen_px * place.mm_per_px
        if rough_mm < MOST_ROUGH_MM and sfr.sigma_px < MOST_BLUR_PX:
            yield Site(kind, placement.scan.name, place, sfr, curve_is_known=known)


def card_sites(placement: Placement) -> Iterator[Site]:
    """Edges of a card that lies beside a located sheet, or shows through one of its windows.

    Parameters
    ----------
    placement : Placement
        Of a sheet, with which the user says that an edge card was scanned.
    """
    for site in found_sites(placement):
        if not _of_sheet(placement, site.place.at_mm):
            yield replace(site, kind="card")


def _of_sheet(placement: Placement, at_mm: Point) -> bool:
    """Whether a place of the image belongs to the sheet: on it or near it, not in a window."""
    assert placement.piece is not None
    assert placement.to_px is not None
    linear, shift = placement.to_px[:, :2], placement.to_px[:, 2]
    at = np.asarray(np.linalg.solve(linear, np.array(placement.px(*at_mm)) - shift), np.float64)
    piece = placement.piece
    if any(_inside(at, np.asarray(hole)) > IN_WINDOW_MM for hole in piece.holes_mm):
        return False
    return _inside(at, np.asarray(piece.outline_mm)) > -BESIDE_MM


def _inside(at: Floats, corners: Floats) -> float:
    """Millimetres inside the nearest side of a convex outline, negative outside."""
    sides = np.roll(corners, -1, axis=0) - corners
    normals = np.stack([-sides[:, 1], sides[:, 0]], axis=1)
    normals /= np.hypot(*normals.T)[:, np.newaxis]
    distances = ((at - corners) * normals).sum(axis=1)
    middle = ((corners.mean(axis=0) - corners) * normals).sum(axis=1)
    return float((distances * np.sign(middle)).min())


def _measured(placement: Placement, place: EdgeWindow) -> EdgeSfr | Reason:
    codes = placement.scan.window(place.window)
    light = luma(placement.light.light(codes))
    # A pixel is at the end of the scale if any of its channels is: its luma is bent already.
    light[(codes >= placement.overview.top_code).any(axis=-1)] = 1.0
    light[(codes == 0).any(axis=-1)] = 0.0
    return measure_edge(light, place.line, place.reach_px)
