"""Printer or scanner: whether the edges themselves are what limits the result.

A rough edge is blurred by its own roughness: a variance r² along the normal costs ``r²/2σ²`` of
SFR50, σ² being the variance of the whole blur. r² is read from each edge
(`scanqa.numeric.edge.rough`), structure too fine for the scan included by extrapolation up to
`FINEST_CY_MM`, and its median over the edges of one kind and direction counts: a printer is the
same everywhere. Where windows were cut out of the sheet, the printed edges beside each are compared
with its cut ones, and that decides. What costs more than `LIMIT` limits the result.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.measures.sharpness.site import Site
from scanqa.model import Direction, EdgeKind, Reason
from scanqa.numeric.edge.sfr import EdgeSfr

LIMIT = 0.02  # of SFR50: an edge that costs more limits the result
FINEST_CY_MM = 25.0  # toner grains pile up to some 20 µm: finer structure is not expected
MIN_CUT = 2  # cut edges in a direction that can judge the printed ones
GAUSS_50 = 0.187391  # σ f50 of a Gaussian: exp(-2π² · 0.187391²) = 0.5


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

    def exceeded(self, sfr50_cy_mm: float) -> Reason | None:
        """Why a site of this SFR50 is limited by its edge, or None if it is not."""
        if self.beside_cut is not None:
            loss, spread = self.beside_cut
            if loss - 2 * spread > LIMIT:
                return Reason(
                    "print",
                    f"the printed edges measure {100 * loss:.0f} % less than the cut windows "
                    "beside them: the print is the limit, not the scanner",
                )
            if loss + 2 * spread < LIMIT:
                return None
        if self.loss(sfr50_cy_mm) <= LIMIT:
            return None
        maker = "printed edges are" if self.kind == "printed" else "knife's cuts are"
        return Reason(
            "print" if self.kind == "printed" else "cut",
            f"the {maker} rough (about {1000 * self.rough_mm:.0f} µm) and limit this value, "
            "not the scanner alone",
        )

    def loss(self, sfr50_cy_mm: float | None) -> float:
        """Share of SFR50 that the roughness costs a site of this SFR50."""
        return 0.0 if sfr50_cy_mm is None else (self.rough_mm * sfr50_cy_mm / GAUSS_50) ** 2 / 2


def print_limits(found: Sequence[Site]) -> dict[tuple[EdgeKind, Direction], Limit]:
    """What the edges of each kind and direction cost."""
    groups: dict[tuple[EdgeKind, Direction], list[tuple[Site, EdgeSfr]]] = {}
    for site in found:
        if isinstance(site.found, EdgeSfr):
            key = (site.kind, site.place.direction)
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
