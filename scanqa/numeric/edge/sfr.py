"""Spatial frequency response of a slanted edge, at the statistical limit.

Method
------
ISO 12233 takes the response from an edge that crosses the pixel grid at a small angle: the rows
sample one profile at many phases. Its usual estimator sorts pixels into quarter-pixel bins,
differentiates and transforms. Phases fill the bins unevenly at some angles (exactly 5° is one),
which bends the response by up to 0.013, and a window of noise is transformed along with the edge.
Here a model is fitted to the unbinned pixels instead:

    y = P (1 - E) + Q E + shift, turn, bow, width + D

a Gaussian edge averaged over the pixel between two planes of light (`fit`), plus a smooth
correction D of its shape with a measured prior (`fine_profile`). All terms are solved together by
weighted least squares, and the response is the exact transform of the fitted profile,

    SFR(f) = | exp(-2π²σ²f²) pixel(f) + i2πf D̂(f) / contrast |,   f in cycles/px along the normal.

Weights and dust: `solve`.

Bound
-----
For a Gaussian edge of width σ px with noise s per pixel (relative to the contrast) and n rows the
Fisher information on σ is ``n/s² ∫ (∂Φ(d/σ)/∂σ)² dd = n / (s² 4√π σ)``, because the integral of
``(d/σ²)² φ(d/σ)²`` is ``1/(4√π σ)``. No unbiased estimate of σ has a standard deviation below
``s √(4√π σ / n)``, and as f50 ∝ 1/σ the relative bound on SFR50 is ``s √(4√π / (σ n))``. With the
pixel in the blur the same integral is done numerically (`tests.accuracy.sharpness`).

Uncertainty
-----------
Standard uncertainties are the root of a noise part and a shape part. The noise part is measured,
not assumed: each row's contribution to the result is formed with the actual residuals, and their
variance along the edge is taken with the autocovariance that they show (Newey & West 1987), so that
resampled, sharpened or rough edges get the larger uncertainty that they deserve. The shape part is
what the prior leaves open.

Failure: a `Reason` for too few pixels, no edge, clipped light, or an edge that is
not where it should be.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats, Reason
from scanqa.numeric.edge.clip import DOUBT
from scanqa.numeric.edge.find import usable_edge
from scanqa.numeric.edge.fine_profile import FREQUENCIES
from scanqa.numeric.edge.fit import Line, pixel_edge
from scanqa.numeric.edge.rough import Roughness, roughness
from scanqa.numeric.edge.solve import Solution, solve_with_care
from scanqa.numeric.edge.transform import response, row_sums, shape_variance, white_variance
from scanqa.numeric.scatter import long_run_variance

_LEAST_EDGE_RESPONSE = 0.2


@dataclass(frozen=True, slots=True)
class Crossing:
    """Frequency at which the response first falls to a level, cycles/px, and its uncertainty."""

    frequency: float
    uncertainty: float

    def times(self, factor: float) -> Crossing:
        """In another unit, or moved by a factor."""
        return Crossing(self.frequency * factor, self.uncertainty * factor)

    def less_certain(self, share: float) -> Crossing:
        """With a share of the frequency more in its uncertainty."""
        doubt = float(np.hypot(self.uncertainty, share * self.frequency))
        return Crossing(self.frequency, doubt)


@dataclass(frozen=True, slots=True, eq=False)
class EdgeSfr:
    """A measured edge.

    Attributes
    ----------
    frequency, sfr, uncertainty : (201,)
        0 to 1 cycles/px along the normal, the response, its standard uncertainty.
    sfr50, sfr10 : Crossing or None
        None if the response does not fall that far within 1 cycle/px.
    peak, peak_uncertainty : float
        Highest response up to half the sampling frequency; 1 where nothing exceeds it.
    roughness : Roughness
        Of the edge along its normal, see `rough`.
    sigma_px : float
        Width of the Gaussian edge beneath, the pixel's own apart.
    distance_px, edge : (121,)
        Edge profile, 0 dark to 1 bright, at distances from the line.
    note : Reason or None
        What to say beside the result.
    """

    frequency: Floats
    sfr: Floats
    uncertainty: Floats
    sfr50: Crossing | None
    sfr10: Crossing | None
    peak: float
    peak_uncertainty: float
    roughness: Roughness
    sigma_px: float
    distance_px: Floats
    edge: Floats
    note: Reason | None = None

    def with_crossings(self, change: Callable[[Crossing], Crossing]) -> EdgeSfr:
        """The same with its crossings changed, so far as there are any."""
        return replace(
            self,
            sfr50=change(self.sfr50) if self.sfr50 else None,
            sfr10=change(self.sfr10) if self.sfr10 else None,
        )


def measure_edge(window: NDArray[Any], line: Line, reach_px: float) -> EdgeSfr | Reason:
    """Response of the edge along `line`.

    Parameters
    ----------
    window : (rows, columns)
        Linear light, 1 at the highest code.
    line : ((x, y), (x, y))
        Ends of the usable edge in px of the window, good to a few px.
    reach_px : float
        Clean distance on each side.
    """
    found = usable_edge(window, line, reach_px)
    if isinstance(found, Reason):
        return found
    patch, fit, note = found
    result = _result(solve_with_care(patch, fit))
    if note is None:
        return result
    # What clipping may have done is in the uncertainty.
    return replace(result, note=note).with_crossings(lambda each: each.less_certain(DOUBT))


def _result(solution: Solution) -> EdgeSfr:
    found = response(solution)
    white = white_variance(solution, found)
    open_shape = shape_variance(solution, found)
    crossings: list[Crossing | None] = []
    ratios = [1.0]
    rows = len(solution.terms.used)
    for level in (0.5, 0.1):
        at = _falls_to(found.sfr, level)
        if at is None:
            crossings.append(None)
            continue
        below, part = int(at), at - int(at)
        mix = np.array([1 - part, part])
        noise = long_run_variance(
            row_sums(
                solution,
                mix @ found.on_columns[below : below + 2],
                mix @ found.on_splines[below : below + 2],
            )
        )
        noise *= rows / max(rows - 4, 1)
        ratios.append(noise / float(mix @ white[below : below + 2]))
        frequency, slope = _exactly(found.sfr, level, below)
        spread = np.sqrt(noise + float(mix @ open_shape[below : below + 2]))
        crossings.append(Crossing(frequency, float(spread / abs(slope))))
    ratio = ratios[1] if len(ratios) > 1 else 1.0
    uncertainty = np.sqrt(white * ratio + open_shape)
    peak, peak_uncertainty = _peak(found.sfr, uncertainty)
    distance = np.linspace(-6, 6, 121) * max(1.0, solution.terms.fit.sigma_px)
    contrast = solution.plain[3] - solution.plain[0]
    return EdgeSfr(
        frequency=FREQUENCIES,
        sfr=found.sfr,
        uncertainty=uncertainty,
        sfr50=crossings[0],
        sfr10=crossings[1],
        peak=peak,
        peak_uncertainty=peak_uncertainty,
        roughness=roughness(solution, FREQUENCIES, found.sfr),
        sigma_px=solution.terms.fit.sigma_px,
        distance_px=distance,
        edge=_profile(solution, distance) / contrast,
    )


def _falls_to(sfr: Floats, level: float) -> float | None:
    """Place in the grid, with a fraction, at which the response first falls to a level."""
    under = np.flatnonzero((sfr[1:] < level) & (sfr[:-1] >= level))
    if under.size == 0:
        return None
    first = int(under[0])
    return float(first + (sfr[first] - level) / (sfr[first] - sfr[first + 1]))


def _exactly(sfr: Floats, level: float, below: int) -> tuple[float, float]:
    """Frequency and slope of the crossing, on the cubic through the four points about it."""
    start = min(max(below - 1, 0), sfr.size - 4)  # (FREQUENCIES has more points than that)
    f = FREQUENCIES[start : start + 4]
    cubic = np.polynomial.Polynomial.fit(f, sfr[start : start + 4], 3)
    slope = cubic.deriv()
    at = float(np.interp(level, sfr[below : below + 2][::-1], FREQUENCIES[below : below + 2][::-1]))
    for _ in range(4):
        at -= float((cubic(at) - level) / slope(at))
    return at, float(slope(at))


def _peak(sfr: Floats, uncertainty: Floats) -> tuple[float, float]:
    """Highest response up to half the sampling frequency and its uncertainty.

    Where the response only falls the peak is its start, 1; its uncertainty is then that of the
    plateau, where a peak would have shown.
    """
    held = FREQUENCIES[: sfr.size] <= 0.5
    top = int(np.argmax(sfr[held]))
    if top > 0:
        return float(sfr[top]), float(uncertainty[top])
    plateau = held & (sfr > 0.9)
    return 1.0, float(uncertainty[plateau].max())


def _profile(solution: Solution, distance: Floats) -> Floats:
    """Edge profile without the planes' slopes, light above the dark side."""
    terms, plain = solution.terms, solution.plain
    fit = terms.fit
    value, slope, wider = pixel_edge(distance, fit.sigma_px, fit.cos)
    light = (
        (plain[3] - plain[0]) * value
        - fit.sign * fit.cos * fit.contrast * plain[6] * slope
        + fit.contrast * fit.sigma_px * plain[9] * wider
    )
    return np.asarray(light + terms.shape.sum(distance, solution.posterior.coefficients))


def divide(found: EdgeSfr, response: Floats) -> EdgeSfr:
    """A response with the known response of the edge itself divided out.

    Parameters
    ----------
    found : EdgeSfr
        As measured.
    response : (frequencies,)
        Of the edge, at ``found.frequency``; where it is under 0.2 nothing can be recovered and the
        result ends (`sfr10` may be None then).
    """
    held = np.logical_and.accumulate(np.asarray(response) >= _LEAST_EDGE_RESPONSE)
    sfr = found.sfr[held] / response[held]
    uncertainty = found.uncertainty[held] / response[held]
    crossings: list[Crossing | None] = []
    for level in (0.5, 0.1):
        at = _falls_to(sfr, level)
        if at is None or sfr.size < 4:
            crossings.append(None)
            continue
        frequency, slope = _exactly(sfr, level, int(at))
        spread = float(np.interp(frequency, found.frequency[held], uncertainty) / abs(slope))
        crossings.append(Crossing(frequency, spread))
    peak, peak_uncertainty = _peak(sfr, uncertainty)
    return replace(
        found,
        frequency=found.frequency[held],
        sfr=sfr,
        uncertainty=uncertainty,
        sfr50=crossings[0],
        sfr10=crossings[1],
        peak=peak,
        peak_uncertainty=peak_uncertainty,
    )
