"""The pixels about an edge, solved: planes, place, width and shape together.

One weighted least-squares problem holds everything that is not known about an edge. The noise of
each side and the extra noise in the blur (roughness, quantisation) set the weights; pixels over
five standard deviations off (dust) are set aside with their neighbours. What follows from the
solution - the response and its uncertainty - is `scanqa.numeric.edge.sfr`.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats
from scanqa.numeric.edge.fine_profile import Basis, Posterior, average, basis
from scanqa.numeric.edge.fit import PIXEL_VARIANCE, EdgeFit, Patch, columns_of

_DUST_SIGMAS = 5.0
_FAR_SHARE = 0.23  # of the window's width: further out only level planes are expected
_SETTLED = 0.1  # relative change of the noise that does not matter
_CLEARLY_MORE = 1.25
_PARTS = np.array([0.1, 0.5, 0.9])  # of the order of residuals
_ENOUGH = 1500  # pixels for a quantile
_MOST_DUST = 0.05  # of the pixels of a side
_MIN_NOISE = 1e-4  # of the contrast; finer than any scanner, it keeps noise-free images solvable
_REACH_SHARE = 0.7  # of the clean distance is open to the shape correction, the rest sets levels


@dataclass(frozen=True, slots=True, eq=False)
class Terms:
    """What the model is made of at each of the n used pixels; nothing here depends on weights.

    Attributes
    ----------
    fit : EdgeFit
        The fit about which the model is linear.
    used : (rows, columns) bool
    row : (n,)
        Row of each used pixel.
    distance : (n,)
        Normal distance from the fitted line.
    value, slope : (n,)
        Of the Gaussian edge.
    columns : (10, n)
        Planes, position and width (`fit.columns_of`).
    light : (n,)
    inside : (m,)
        Used pixels within reach of the shape, in the order of their knots.
    first : (m,)
        First spline at each of them (shifted by 3).
    stack : (15, m)
        Their four splines, ten columns and light.
    """

    fit: EdgeFit
    shape: Basis
    used: NDArray[np.bool_]
    row: NDArray[np.int64]
    distance: Floats
    value: Floats
    slope: Floats
    columns: Floats
    light: Floats
    inside: NDArray[np.int64]
    first: NDArray[np.int64]
    stack: Floats

    def add_splines(self, out: Floats, coefficients: Floats) -> None:
        """Add the sum of the splines to values of the used pixels (n,), in place."""
        padded = np.concatenate([np.zeros(3), coefficients, np.zeros(3)])
        out[self.inside] += sum(self.stack[k] * padded[self.first + k] for k in range(4))


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """The normal equations of one weighting, solved.

    Attributes
    ----------
    noise : (dark, bright, jitter)
        Standard deviations that set the weights.
    weight : (n,)
        Inverse variance of each used pixel.
    residual : (n,)
    plain : (10,)
        Solution of the columns.
    inverse : (10, 10)
        Of their normal matrix.
    cross : (10, size)
        Products of columns and splines.
    matrix : (size, size)
        Normal matrix of the splines, the columns eliminated.
    """

    terms: Terms
    noise: tuple[float, float, float]
    weight: Floats
    residual: Floats
    plain: Floats
    inverse: Floats
    cross: Floats
    matrix: Floats
    posterior: Posterior


def solve_with_care(patch: Patch, fit: EdgeFit) -> Solution:
    """Solve, learn the noise and set dust aside, until nothing changes (at most four times)."""
    patch, noise = _far_noise(patch, fit)
    terms = _terms(patch, fit)
    solution = _solve(terms, noise)
    for _ in range(3):
        noise = _noise(solution)
        dust = _dust(solution, noise)
        settled = max(abs(n - o) for n, o in zip(noise, solution.noise, strict=True))
        if not dust.any() and settled < _SETTLED * max(noise):
            break
        if dust.any():
            patch = replace(patch, use=patch.use & ~_spread(dust))
            terms = _terms(patch, fit)
        solution = _solve(terms, noise)
    return solution


def _terms(patch: Patch, fit: EdgeFit) -> Terms:
    row = np.nonzero(patch.use)[0]
    distance = fit.distance(patch.x, patch.t)[patch.use]
    columns, value, slope = columns_of(fit, distance, patch.t[row])
    light = patch.light[patch.use]
    shape = basis(
        float(np.hypot(fit.sigma_px, np.sqrt(PIXEL_VARIANCE))), _REACH_SHARE * patch.x.shape[1] / 2
    )
    inside = np.flatnonzero(np.abs(distance) < shape.reach)
    first, splines = shape.weights(distance[inside])
    order = np.argsort(first.astype(np.int16), kind="stable")
    inside, first = inside[order], first[order]
    stack = np.concatenate([splines[:, order], columns[:, inside], light[None, inside]])
    return Terms(
        fit, shape, patch.use, row, distance, value, slope, columns, light, inside, first, stack
    )


def _solve(terms: Terms, noise: tuple[float, float, float]) -> Solution:
    """Weighted least squares of planes, position, width and shape together."""
    weight = 1 / _variance(noise, terms.value, terms.slope)
    weighted = terms.columns * weight
    inverse = np.asarray(np.linalg.inv(weighted @ terms.columns.T), np.float64)
    product = weighted @ terms.light
    gram, cross, right = _spline_sums(terms, weight[terms.inside])
    matrix = gram - cross.T @ inverse @ cross
    posterior = average(
        terms.shape, matrix, right - cross.T @ (inverse @ product), contrast=terms.fit.contrast
    )
    plain = np.asarray(inverse @ (product - cross @ posterior.coefficients), np.float64)
    residual = np.asarray(terms.light - plain @ terms.columns)
    terms.add_splines(residual, -posterior.coefficients)
    return Solution(terms, noise, weight, residual, plain, inverse, cross, matrix, posterior)


def _spline_sums(terms: Terms, weight: Floats) -> tuple[Floats, Floats, Floats]:
    """Weighted products of the splines with each other, with the columns and with the light.

    The pixels between two knots share their four splines and lie next to each other.
    """
    padded = terms.shape.size + 6
    sums = np.zeros((padded, 15))
    gram = np.zeros((padded, padded))
    heavy = terms.stack[:4] * weight
    ends = np.searchsorted(terms.first, np.arange(padded - 2))
    for knot, (start, end) in enumerate(itertools.pairwise(ends)):
        if start < end:
            block = heavy[:, start:end] @ terms.stack[:, start:end].T
            gram[knot : knot + 4, knot : knot + 4] += block[:, :4]
            sums[knot : knot + 4] += block
    keep = slice(3, -3)
    return gram[keep, keep], sums[keep, 4:14].T, sums[keep, 14]


# ------------------------------------------------------------------------------- noise, dust


def _variance(noise: tuple[float, float, float], value: Floats, slope: Floats) -> Floats:
    """Variance of pixels: from the dark side's to the bright side's, and a jitter of the edge."""
    return noise[0] ** 2 * (1 - value) + noise[1] ** 2 * value + (noise[2] * slope) ** 2


def _far_noise(patch: Patch, fit: EdgeFit) -> tuple[Patch, tuple[float, float, float]]:
    """Noise of each side from its outer pixels about a plane; dust there is set aside.

    Only pixels that no tail of the blur reaches: nearer to the edge dust is told from shape after
    the first solution.
    """
    distance = fit.distance(patch.x, patch.t)
    start = min(max(5 * fit.sigma_px + 2, _FAR_SHARE * patch.x.shape[1]), 0.35 * patch.x.shape[1])
    least = _MIN_NOISE * fit.contrast
    deviations = []
    off = np.zeros_like(patch.use)
    for side in (-1, 1):
        far = patch.use & (side * distance > start)
        light, terms = (
            patch.light[far],
            np.stack([np.ones(int(far.sum())), distance[far], patch.t[np.nonzero(far)[0]]]),
        )
        kept = np.ones(light.size, np.bool_)
        for _ in range(3):
            held = terms[:, kept]
            residual = light - np.linalg.solve(held @ held.T, held @ light[kept]) @ terms
            deviation, kept = _scale(residual, least)
        deviations.append(deviation)
        off[far] = ~kept
    return replace(patch, use=patch.use & ~_spread(off)), (deviations[0], deviations[1], 0.0)


def _scale(residual: Floats, least: float) -> tuple[float, NDArray[np.bool_]]:
    """Root mean square of residuals without dust, and which of them are not dust.

    The middle 80 % give the scale against which dust is judged, so that dust on a twentieth of the
    pixels does not matter. Where more pixels than dust could ever cover are off, they are not
    dust: with little noise most pixels share one code and the rest lie a whole code away.
    Of no residuals the scale is the least: a very sharp edge has no pixel on its flank.
    """
    if residual.size == 0:
        return least, np.ones(0, np.bool_)
    some = np.sort(residual[:: max(residual.size // _ENOUGH, 1)])
    low, middle, high = np.interp(_PARTS * (some.size - 1), np.arange(some.size), some)
    kept = np.abs(residual - middle) <= _DUST_SIGMAS * max((high - low) / 2.563, least)
    if np.count_nonzero(kept) < (1 - _MOST_DUST) * kept.size:
        kept = np.ones(residual.size, np.bool_)
    return max(float(np.sqrt(np.mean(residual[kept] ** 2))), least), kept


def _noise(solution: Solution) -> tuple[float, float, float]:
    """Noise of the dark side, of the bright side, and the jitter that follows the edge's slope.

    Where the light changes, rounding is noise even if the sides are one code each: a side's noise
    is at least that of its flank.
    """
    terms, residual = solution.terms, solution.residual
    least, steepest = _MIN_NOISE * terms.fit.contrast, float(terms.slope.max())
    sides = []
    for side in (-1, 1):
        mine = side * terms.distance > 0
        slope, rest = terms.slope[mine], residual[mine]
        own, _ = _scale(rest[slope < 0.01 * steepest], least)
        near, _ = _scale(rest[(slope >= 0.01 * steepest) & (slope < 0.15 * steepest)], least)
        sides.append(near if near > _CLEARLY_MORE * own else own)
    steep = terms.slope > 0.5 * steepest
    slope, value = terms.slope[steep], terms.value[steep]
    base = float(np.mean(_variance((sides[0], sides[1], 0.0), value, slope)))
    there, _ = _scale(residual[steep], least)
    extra = there**2 - base
    jitter = extra > 3 * np.sqrt(2 / slope.size) * base
    return sides[0], sides[1], float(np.sqrt(extra / np.mean(slope**2))) if jitter else 0.0


def _dust(solution: Solution, noise: tuple[float, float, float]) -> NDArray[np.bool_]:
    """Pixels far off the model in view of the noise of their place."""
    terms = solution.terms
    out = np.zeros_like(terms.used)
    variance = _variance(noise, terms.value, terms.slope)
    out[terms.used] = solution.residual**2 > _DUST_SIGMAS**2 * variance
    return out


def _spread(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The mask and its eight neighbours: a speck is blurred too."""
    if not mask.any():
        return mask
    padded = np.pad(mask, 1)
    high, wide = mask.shape
    shifted = [padded[i : i + high, j : j + wide] for i in range(3) for j in range(3)]
    return np.asarray(np.logical_or.reduce(shifted))
