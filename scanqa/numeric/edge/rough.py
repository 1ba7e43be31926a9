"""How rough an edge is, and how much of that a scan no longer shows.

In each row the residuals' matched filter reads how far the edge strays from its line. The spectrum
of these displacements along the edge is the edge's own, times the square of the response *along*
the edge, plus noise. The noise is read by the same filter beside the edge, where it sees pixels
alone, correlated or not. The response along the edge is taken to be the one measured across it.

With that the variance of the edge is known up to the frequency where its response has fallen to
`BAND_RESPONSE`. What lies beyond is not seen but still blurs: it is taken to go on as densely as in
the upper half of the band, up to the finest structure that the maker of the edge leaves (the
caller's knowledge: toner grains, say). For toner that strays independently from grain to grain
this is the physics; for smooth edges the density is nothing and so is the sum.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats
from scanqa.numeric.edge.solve import Solution

BAND_RESPONSE = 0.35


@dataclass(frozen=True, slots=True)
class Roughness:
    """Roughness of an edge along its normal.

    Attributes
    ----------
    seen_px : float
        Standard deviation of the edge about its line (or bow) from row to row, noise removed.
    seen_uncertainty_px : float
    band_px2 : float
        Variance up to frequency `band`, the scan's blur along the edge undone.
    band : float
        Cycles per px along the edge.
    density, density_uncertainty : float
        Variance per cycle/px in the upper half of the band, px² px.
    """

    seen_px: float
    seen_uncertainty_px: float
    band_px2: float
    band: float
    density: float
    density_uncertainty: float

    def whole_px2(self, finest: float) -> tuple[float, float]:
        """Variance with structure up to `finest` cycles/px, and its standard uncertainty."""
        beyond = max(finest - self.band, 0.0)
        value = max(self.band_px2 + self.density * beyond, 0.0)
        seen = 2 * self.seen_px * self.seen_uncertainty_px
        return value, float(np.hypot(seen, self.density_uncertainty * beyond))


def roughness(solution: Solution, frequency: Floats, sfr: Floats) -> Roughness:
    """Roughness of a solved edge.

    Parameters
    ----------
    frequency, sfr : (frequencies,)
        Its response, cycles/px.
    """
    place, beside = _displacements(solution)
    rows = place.size
    k = np.fft.rfftfreq(rows)[1:]
    power = 2 / rows * np.abs(np.fft.rfft(place)[1:]) ** 2  # per cycle/px: its sum / rows is σ²
    noise = 2 / rows * np.mean(np.abs(np.fft.rfft(beside, axis=1)[:, 1:]) ** 2, axis=0)
    strayed = power - noise
    along = np.interp(k, frequency, sfr)
    band = float(k[np.argmax(along < BAND_RESPONSE)]) if along.min() < BAND_RESPONSE else 0.5
    held = k <= band
    own = strayed[held] / along[held] ** 2
    top = own[k[held] > band / 2]
    variance = float(strayed.sum()) / rows
    # each frequency's power scatters by itself: the sum by the root of its squares
    spread = float(np.sqrt((power**2).sum() + (noise**2).sum() / 2)) / rows
    seen = float(np.sqrt(max(variance, 0.0)))
    return Roughness(
        seen_px=seen,
        seen_uncertainty_px=spread / max(2 * seen, float(np.sqrt(2 * spread)), 1e-12),
        band_px2=float(own.sum()) / rows,
        band=band,
        density=float(top.mean()),
        density_uncertainty=float(top.std()) / np.sqrt(top.size),
    )


def _displacements(solution: Solution) -> tuple[Floats, Floats]:
    """Displacement of the edge in each row (rows,), and what noise alone reads (2, rows), px."""
    terms, fit = solution.terms, solution.terms.fit
    shape = terms.used.shape[0], terms.used.shape[1]
    slope, residual = np.zeros(shape), np.zeros(shape)
    slope[terms.used] = terms.slope
    residual[terms.used] = solution.residual
    scale = fit.contrast * (slope**2).sum(axis=1).mean()
    aside = int(min(4 * fit.sigma_px + 3, 0.25 * shape[1]))
    beside = np.stack([np.roll(slope, (0, way * aside), axis=(0, 1)) for way in (-1, 1)])
    return (slope * residual).sum(axis=1) / scale, (beside * residual).sum(axis=2) / scale
