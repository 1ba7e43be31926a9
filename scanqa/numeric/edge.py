"""Spatial frequency response of a slanted edge, at the statistical limit.

Method
------
ISO 12233 takes the response from an edge that crosses the pixel grid at a small angle: the rows
sample one profile at many phases. Its usual estimator sorts pixels into quarter-pixel bins,
differentiates and transforms. Phases fill the bins unevenly at some angles (exactly 5° is one),
which bends the response by up to 0.013, and a window of noise is transformed along with the edge.
Here a model is fitted to the unbinned pixels instead:

    y = P (1 - E) + Q E + shift, turn, bow, width + D

a Gaussian edge averaged over the pixel between two planes of light (`edge_fit`), plus a smooth
correction D of its shape with a measured prior (`edge_profile`). All terms are solved together by
weighted least squares, and the response is the exact transform of the fitted profile,

    SFR(f) = | exp(-2π²σ²f²) pixel(f) + i2πf D̂(f) / contrast |,   f in cycles/px along the normal.

Weights and dust: `edge_solve`.

Bound
-----
For a Gaussian edge of width σ px with noise s per pixel (relative to the contrast) and n rows the
Fisher information on σ is ``n/s² ∫ (∂Φ(d/σ)/∂σ)² dd = n / (s² 4√π σ)``, because the integral of
``(d/σ²)² φ(d/σ)²`` is ``1/(4√π σ)``. No unbiased estimate of σ has a standard deviation below
``s √(4√π σ / n)``, and as f50 ∝ 1/σ the relative bound on SFR50 is ``s √(4√π / (σ n))``. With the
pixel in the blur the same integral is done numerically (`crossing_bound`).

Uncertainty
-----------
Standard uncertainties are the root of a noise part and a shape part. The noise part is measured,
not assumed: each row's contribution to the result is formed with the actual residuals, and their
variance along the edge is taken with the autocovariance that they show (Newey & West 1987), so that
resampled, sharpened or rough edges get the larger uncertainty that they deserve. The shape part is
what the prior leaves open.

Failure: `Unmeasured` with its reason for too few pixels, no edge, clipped light, or an edge that is
not where it should be.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.numeric.edge_clip import DOUBT, clipped
from scanqa.numeric.edge_fit import (
    EdgeFit,
    Floats,
    Line,
    Patch,
    Unmeasured,
    first_guess,
    gather,
    pixel_edge,
    pixel_response,
    refine,
)
from scanqa.numeric.edge_profile import FREQUENCIES
from scanqa.numeric.edge_rough import Roughness, roughness
from scanqa.numeric.edge_solve import Solution, solve_with_care

_LEAST_EDGE_RESPONSE = 0.2


@dataclass(frozen=True, slots=True)
class Crossing:
    """Frequency at which the response first falls to a level, cycles/px, and its uncertainty."""

    frequency: float
    uncertainty: float


@dataclass(frozen=True, slots=True, eq=False)
class EdgeSfr:
    """A measured edge.

    Attributes
    ----------
    fit : EdgeFit
        Line, planes and width of the edge, as fitted.
    frequency, sfr, uncertainty : (201,)
        0 to 1 cycles/px along the normal, the response, its standard uncertainty.
    sfr50, sfr10 : Crossing or None
        None if the response does not fall that far within 1 cycle/px.
    peak, peak_uncertainty : float
        Highest response up to half the sampling frequency; 1 where nothing exceeds it.
    roughness : Roughness
        Of the edge along its normal, see `edge_rough`.
    noise : float
        Standard deviation of the pixels beside the edge, relative to the contrast.
    distance_px, edge : (121,)
        Edge profile, 0 dark to 1 bright, at distances from the line.
    dust_share : float
        Share of the pixels that were set aside.
    note : str
        What to say beside the result.
    """

    fit: EdgeFit
    frequency: Floats
    sfr: Floats
    uncertainty: Floats
    sfr50: Crossing | None
    sfr10: Crossing | None
    peak: float
    peak_uncertainty: float
    roughness: Roughness
    noise: float
    distance_px: Floats
    edge: Floats
    dust_share: float
    note: str = ""


def measure_edge(window: NDArray[Any], line: Line, reach_px: float) -> EdgeSfr | Unmeasured:
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
    if isinstance(found, Unmeasured):
        return found
    patch, fit, note = found
    result = _result(solve_with_care(patch, fit))
    if not note:
        return result
    return replace(result, note=note, sfr50=_doubted(result.sfr50), sfr10=_doubted(result.sfr10))


def _doubted(crossing: Crossing | None) -> Crossing | None:
    """The crossing with what clipping may have done to it in its uncertainty."""
    if crossing is None:
        return None
    doubt = DOUBT * crossing.frequency
    return replace(crossing, uncertainty=float(np.hypot(crossing.uncertainty, doubt)))


def usable_edge(
    window: NDArray[Any], line: Line, reach_px: float
) -> tuple[Patch, EdgeFit, str] | Unmeasured:
    """A located edge that the end of the scale does not bend, and what to say about it."""
    found = locate_edge(window, line, reach_px)
    if isinstance(found, Unmeasured):
        return found
    why, note = clipped(*found)
    return Unmeasured(why) if why else (*found, note)


def locate_edge(
    window: NDArray[Any], line: Line, reach_px: float
) -> tuple[Patch, EdgeFit] | Unmeasured:
    """Pixels about the edge and its line; the guess may be a few px or degrees wrong."""
    patch = gather(window, line, reach_px)
    if isinstance(patch, Unmeasured):
        return patch
    guess = first_guess(patch)
    if isinstance(guess, Unmeasured):
        return guess
    fit = refine(patch, guess)
    if isinstance(fit, Unmeasured):
        return fit
    here = fit.line[0] + fit.line[1] * patch.t
    if np.abs(here - patch.x.mean(axis=1)).max() > 1.5:  # the guess was off: take pixels about it
        return _again(window, patch, fit, reach_px)
    return patch, fit


def _again(
    window: NDArray[Any], patch: Patch, fit: EdgeFit, reach_px: float
) -> tuple[Patch, EdgeFit] | Unmeasured:
    ends = [
        (fit.line[0] + fit.line[1] * t, patch.middle + patch.half_rows * t) for t in (-1.0, 1.0)
    ]
    if patch.transposed:
        ends = [(y, x) for x, y in ends]
    off = float(np.abs(fit.line[0] + fit.line[1] * patch.t - patch.x.mean(axis=1)).max())
    second = gather(window, (ends[0], ends[1]), max(reach_px - off, 1.0))
    if isinstance(second, Unmeasured):
        return second
    again = refine(second, fit)
    return again if isinstance(again, Unmeasured) else (second, again)


# ------------------------------------------------------------------------------- the response


@dataclass(frozen=True, slots=True, eq=False)
class _Response:
    """The response and its gradients with respect to the columns and the splines."""

    sfr: Floats  # (frequencies,)
    on_columns: Floats  # (frequencies, 10)
    on_splines: Floats  # (frequencies, size)


def _response(solution: Solution) -> _Response:
    fit, f = solution.terms.fit, FREQUENCIES
    sigma = fit.sigma_px
    gauss = np.exp(-2 * (np.pi * sigma * f) ** 2) * pixel_response(f, fit.cos)
    turn = 2j * np.pi * f
    on_columns = np.zeros((f.size, 10), np.complex128)
    on_columns[:, 0], on_columns[:, 3] = -gauss, gauss
    on_columns[:, 6] = -fit.sign * fit.cos * fit.contrast * turn * gauss
    on_columns[:, 9] = -fit.contrast * (2 * np.pi * sigma * f) ** 2 * gauss
    on_splines = turn[:, None] * solution.terms.shape.fourier
    contrast = solution.plain[3] - solution.plain[0]
    value = on_columns @ solution.plain + on_splines @ solution.posterior.coefficients
    value = value / contrast
    size = np.maximum(np.abs(value), 1e-12)
    phase = (np.conj(value) / size)[:, None] / contrast
    on_columns[:, 0] += value
    on_columns[:, 3] -= value
    return _Response(size, (phase * on_columns).real, (phase * on_splines).real)


def _influence(solution: Solution, columns: Floats, splines: Floats) -> tuple[Floats, Floats]:
    """Weights on the normal equations' right-hand sides that give these functionals, (k, …)."""
    reduced = splines - columns @ solution.inverse @ solution.cross
    on_splines = reduced @ solution.posterior.gain
    on_columns = (columns - on_splines @ solution.cross.T) @ solution.inverse
    return on_columns, on_splines


def _white_variance(solution: Solution, response: _Response) -> Floats:
    """Variance of the response if the pixels' noise were independent and as weighted."""
    p, c = _influence(solution, response.on_columns, response.on_splines)
    gram = solution.matrix + solution.cross.T @ solution.inverse @ solution.cross
    normal = np.linalg.inv(solution.inverse)
    return np.asarray(
        ((p @ normal) * p).sum(1) + 2 * ((p @ solution.cross) * c).sum(1) + ((c @ gram) * c).sum(1)
    )


def _shape_variance(solution: Solution, response: _Response) -> Floats:
    """Variance that the prior of the shape leaves open beyond the noise."""
    reduced = response.on_splines - response.on_columns @ solution.inverse @ solution.cross
    noise = solution.posterior.gain @ solution.matrix @ solution.posterior.gain
    left_open = ((reduced @ (solution.posterior.covariance - noise)) * reduced).sum(axis=1)
    return np.asarray(np.maximum(left_open, 0.0))


def _row_sums(solution: Solution, columns: Floats, splines: Floats) -> Floats:
    """Contribution of each row's residuals to one functional, (rows,)."""
    p, c = _influence(solution, columns[None], splines[None])
    pull = p[0] @ solution.terms.columns
    solution.terms.add_splines(pull, c[0])
    sums = np.bincount(
        solution.terms.row, pull * solution.weight * solution.residual, len(solution.terms.used)
    )
    return np.asarray(sums, np.float64)


def long_run_variance(series: Floats) -> float:
    """Variance of the sum of a series whose neighbours may be alike (Newey & West 1987).

    Bartlett weights; the number of lags follows Andrews (1991) for a first-order process whose
    autocorrelation is what the series shows beyond its own standard error.
    """
    n = series.size
    power = float(series @ series)
    if power == 0:
        return 0.0
    alike = max(float(series[1:] @ series[:-1]) / power - 1 / np.sqrt(n), 0.0)
    spread = 4 * alike**2 / ((1 - alike) * (1 + alike)) ** 2
    lags = min(int(np.ceil(1.1447 * (spread * n) ** (1 / 3))), n // 4) if alike else 0
    for lag in range(1, lags + 1):
        power += 2 * (1 - lag / (lags + 1)) * float(series[lag:] @ series[:-lag])
    return max(power, 0.0)


def _result(solution: Solution) -> EdgeSfr:
    response = _response(solution)
    white = _white_variance(solution, response)
    open_shape = _shape_variance(solution, response)
    crossings: list[Crossing | None] = []
    ratios = [1.0]
    rows = len(solution.terms.used)
    for level in (0.5, 0.1):
        at = _falls_to(response.sfr, level)
        if at is None:
            crossings.append(None)
            continue
        below, part = int(at), at - int(at)
        mix = np.array([1 - part, part])
        noise = long_run_variance(
            _row_sums(
                solution,
                mix @ response.on_columns[below : below + 2],
                mix @ response.on_splines[below : below + 2],
            )
        )
        noise *= rows / max(rows - 4, 1)
        ratios.append(noise / float(mix @ white[below : below + 2]))
        frequency, slope = _exactly(response.sfr, level, below)
        spread = np.sqrt(noise + float(mix @ open_shape[below : below + 2]))
        crossings.append(Crossing(frequency, float(spread / abs(slope))))
    ratio = ratios[1] if len(ratios) > 1 else 1.0
    uncertainty = np.sqrt(white * ratio + open_shape)
    peak, peak_uncertainty = _peak(response.sfr, uncertainty)
    distance = np.linspace(-6, 6, 121) * max(1.0, solution.terms.fit.sigma_px)
    contrast = solution.plain[3] - solution.plain[0]
    return EdgeSfr(
        fit=solution.terms.fit,
        frequency=FREQUENCIES,
        sfr=response.sfr,
        uncertainty=uncertainty,
        sfr50=crossings[0],
        sfr10=crossings[1],
        peak=peak,
        peak_uncertainty=peak_uncertainty,
        roughness=roughness(solution, FREQUENCIES, response.sfr),
        noise=float(np.hypot(solution.noise[0], solution.noise[1]) / np.sqrt(2) / contrast),
        distance_px=distance,
        edge=_profile(solution, distance) / contrast,
        dust_share=1 - float(solution.terms.used.mean()),
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
