"""From an edge of a located sheet to the pixels about it, and from pixels back to millimetres."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from scanqa.model import MM_PER_INCH, Direction, Edge, EdgeKind, Placement, Point, Window

MARGIN_PX = 8  # beyond the reach, for a sheet that lies a little off
MIN_SHARE = 0.4  # of an edge must lie in the image


@dataclass(frozen=True, slots=True)
class EdgeWindow:
    """Pixels to read for one edge.

    Attributes
    ----------
    window : Window
        Inside the image.
    line : ((x, y), (x, y))
        Ends of the edge in px of the window.
    reach_px : float
        Clean distance on each side along the normal.
    at_mm : (x, y)
        Middle of the edge in image mm.
    direction : str
        The axis along which the edge is measured.
    mm_per_px : float
        Millimetres on the paper for one pixel along the edge's normal.
    dpi : float
        Of that axis.
    """

    window: Window
    line: tuple[Point, Point]
    reach_px: float
    at_mm: Point
    direction: Direction
    mm_per_px: float
    dpi: float


def edge_window(placement: Placement, edge: Edge) -> EdgeWindow | None:
    """Pixels of an edge of a located sheet, or None if too little of it lies in the image.

    Raises
    ------
    ValueError
        If no sheet was located in the scan.
    """
    start, end = placement.sheet_px(np.array([edge.start_mm, edge.end_mm])).tolist()
    return line_window(placement, (tuple(start), tuple(end)), edge.reach_mm)


def line_window(
    placement: Placement, line_px: tuple[Point, Point], reach_mm: float
) -> EdgeWindow | None:
    """Pixels about a line of the image, or None if too little of it lies in the image.

    Parameters
    ----------
    line_px : ((x, y), (x, y))
        Ends of the edge.
    reach_mm : float
        Clean distance on each side.
    """
    (x0, y0), (x1, y1) = line_px
    across = abs(x1 - x0) <= abs(y1 - y0)
    dpi = placement.dpi[0 if across else 1]
    per_px = _mm_per_normal_px(placement, (x1 - x0, y1 - y0), across)
    reach = reach_mm / per_px
    pad = reach + MARGIN_PX
    left, right = max(math.floor(min(x0, x1) - pad), 0), math.ceil(max(x0, x1) + pad)
    top, bottom = max(math.floor(min(y0, y1) - pad), 0), math.ceil(max(y0, y1) + pad)
    right = min(right, placement.scan.width_px - 1)
    bottom = min(bottom, placement.scan.height_px - 1)
    if not _enough((y0, y1) if across else (x0, x1), (top, bottom) if across else (left, right)):
        return None
    if not left <= (x0 + x1) / 2 <= right or not top <= (y0 + y1) / 2 <= bottom:
        return None
    return EdgeWindow(
        window=Window(top, left, bottom - top + 1, right - left + 1),
        line=((x0 - left, y0 - top), (x1 - left, y1 - top)),
        reach_px=reach,
        at_mm=placement.mm((x0 + x1) / 2, (y0 + y1) / 2),
        direction="across" if across else "travel",
        mm_per_px=per_px,
        dpi=dpi,
    )


def at_edge(scan: str, kind: EdgeKind, place: EdgeWindow) -> dict[str, Any]:
    """Fields of a `Measurement` that say at which edge of a scan it was made."""
    return {
        "scan": scan,
        "at_mm": place.at_mm,
        "direction": place.direction,
        "edge_kind": kind,
    }


def _enough(along: tuple[float, float], held: tuple[int, int]) -> bool:
    start, end = sorted(along)
    return min(end, held[1]) - max(start, held[0]) >= MIN_SHARE * (end - start)


def _mm_per_normal_px(placement: Placement, step: Point, across: bool) -> float:
    """Normal distances scale with the dpi of the measured axis; unequal dpi change the slant."""
    along = [MM_PER_INCH / dpi for dpi in placement.dpi]
    own, other = along if across else along[::-1]
    slope = step[0] / step[1] if across else step[1] / step[0]
    return own * math.hypot(1, slope) / math.hypot(1, slope * own / other)
