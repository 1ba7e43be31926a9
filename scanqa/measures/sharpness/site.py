"""The edges of a located piece, each measured on luma where it lies in the scan."""

from __future__ import annotations

from dataclasses import dataclass

from scanqa.model import Edge, EdgeResponse, Placement, Reason
from scanqa.numeric.edge.sfr import EdgeSfr, divide, measure_edge
from scanqa.numeric.lightness import luma
from scanqa.reading.edge_window import EdgeWindow, edge_window


@dataclass(frozen=True, slots=True, eq=False)
class Site:
    """One edge of one scan: where it lies and what was found."""

    edge: Edge
    scan: str
    place: EdgeWindow
    found: EdgeSfr | Reason
    divided: bool = False  # whether the response of the edge itself was taken out

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


def _measured(placement: Placement, place: EdgeWindow) -> EdgeSfr | Reason:
    codes = placement.scan.window(place.window)
    light = luma(placement.light.light(codes))
    # A pixel is at the end of the scale if any of its channels is: its luma is bent already.
    light[(codes >= placement.overview.top_code).any(axis=-1)] = 1.0
    light[(codes == 0).any(axis=-1)] = 0.0
    return measure_edge(light, place.line, place.reach_px)
