"""The pixels about an edge, solved: planes, place, width and shape together.

One weighted least-squares problem holds everything that is not known about an edge. The noise of
each side and the extra noise in the blur (roughness, quantisation) set the weights; pixels over
five standard deviations off (dust) are set aside with their neighbours. What follows from the
solution - the response and its uncertainty - is `scanqa.numeric.edge`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from scanqa.numeric.edge_fit import (
    PIXEL_VARIANCE,
    EdgeFit,
    Floats,
    Patch,
    columns_of,
    pixel_edge,
)
from scanqa.numeric.edge_profile import Basis, Posterior, average, basis

_DUST_SIGMAS = 5.0
_FAR_SHARE = 0.23  # of the window's width: further out only level planes are expected
_SETTLED = 0.1  # relative change of the noise that does not matter
_CLEARLY_MORE = 1.25
_MOST_DUST = 0.05  # of the pixels of a side
_MIN_NOISE = 1e-4  # of the contrast; finer than any scanner, it keeps noise-free images solvable
_REACH_SHARE = 0.7  # of the clean distance is open to the shape correction, the rest sets levels


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Normal equations of one weighting, solved."""

    fit: EdgeFit
    shape: Basis
    posterior: Posterior
    used: NDArray[np.bool_]  # (rows, columns)
    distance: Floats  # (n,) of the used pixels
    rows: NDArray[np.int64]  # of each used pixel
    row_count: int
    columns: Floats  # (10, n)
    inside: NDArray[np.int64]  # used pixels within reach of the shape
    first: NDArray[np.int64]
    splines: Floats  # (4, inside)
    weight: Floats  # (n,) inverse variance
    residual: Floats  # (n,)
    plain: Floats  # (10,) solution of the columns
    inverse: Floats  # (10, 10)
    cross: Floats  # (10, size)
    matrix: Floats  # (size, size), columns eliminated
    noise: tuple[float, float, float]  # dark, bright and extra standard deviation


def solve_with_care(patch: Patch, fit: EdgeFit) -> Solution:
    """Solve, learn the noise and set dust aside, until nothing changes (at most four times)."""
    patch, noise = _far_noise(patch, fit)
    solution = _solve(patch, fit, noise)
    for _ in range(3):
        noise = _noise(solution)
        dust = _dust(solution, noise)
        settled = max(abs(n - o) for n, o in zip(noise, solution.noise, strict=True))
        if not dust.any() and settled < _SETTLED * max(noise):
            break
        patch = replace(patch, use=patch.use & ~_spread(dust))
        solution = _solve(patch, fit, noise)
    return solution


def _solve(patch: Patch, fit: EdgeFit, noise: tuple[float, float, float]) -> Solution:
    """Weighted least squares of planes, position, width and shape together."""
    distance = fit.distance(patch.x, patch.t)
    d = distance[patch.use]
    rows = np.nonzero(patch.use)[0]
    _, columns = columns_of(fit, d, patch.t[rows])
    value, slope, _ = pixel_edge(d, fit.sigma_px)
    weight = 1 / _variance(noise, value, slope)
    target = patch.light[patch.use]

    shape = basis(
        float(np.hypot(fit.sigma_px, np.sqrt(PIXEL_VARIANCE))), _REACH_SHARE * patch.x.shape[1] / 2
    )
    inside = np.flatnonzero(np.abs(d) < shape.reach)
    first, splines = shape.weights(d[inside])
    weighted = columns * weight
    inverse = np.linalg.inv(weighted @ columns.T)
    product = weighted @ target
    gram, cross, right = _spline_sums(
        shape, first, splines, weight[inside], columns[:, inside], target[inside]
    )
    matrix = gram - cross.T @ inverse @ cross
    posterior = average(shape, matrix, right - cross.T @ (inverse @ product), contrast=fit.contrast)
    plain = inverse @ (product - cross @ posterior.coefficients)
    model = plain @ columns
    model[inside] += spline_sum(posterior.coefficients, first, splines)
    return Solution(
        fit, shape, posterior, patch.use, d, rows, patch.t.size, columns, inside, first, splines,
        weight, np.asarray(target - model), plain, inverse, cross, matrix, noise,
    )  # fmt: skip


def spline_sum(coefficients: Floats, first: NDArray[np.int64], splines: Floats) -> Floats:
    """Sum of splines at pixels, (n,), from their `Basis.weights`."""
    padded = np.concatenate([np.zeros(3), coefficients, np.zeros(3)])
    return np.asarray(sum(splines[k] * padded[first + k] for k in range(4)), np.float64)


def _spline_sums(
    shape: Basis,
    first: NDArray[np.int64],
    splines: Floats,
    weight: Floats,
    columns: Floats,
    target: Floats,
) -> tuple[Floats, Floats, Floats]:
    """Weighted products of the splines with each other, with the columns and with the light."""
    padded = shape.size + 6
    gram = np.zeros((padded, padded))
    cross = np.zeros((columns.shape[0], padded))
    right = np.zeros(padded)
    for a in range(4):
        heavy = weight * splines[a]
        for b in range(a, 4):
            band = np.bincount(first, heavy * splines[b], padded)
            at = np.arange(padded - 3)
            gram[at + a, at + b] += band[: padded - 3]
            if b > a:
                gram[at + b, at + a] += band[: padded - 3]
        right += np.roll(np.bincount(first, heavy * target, padded), a)
        for k, column in enumerate(columns):
            cross[k] += np.roll(np.bincount(first, heavy * column, padded), a)
    keep = slice(3, -3)
    return gram[keep, keep], cross[:, keep], right[keep]


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
    """
    low, middle, high = np.quantile(residual, (0.1, 0.5, 0.9))
    kept = np.abs(residual - middle) <= _DUST_SIGMAS * max((high - low) / 2.563, least)
    if kept.mean() < 1 - _MOST_DUST:
        kept = np.ones(residual.size, np.bool_)
    return max(float(np.sqrt(np.mean(residual[kept] ** 2))), least), kept


def _noise(solution: Solution) -> tuple[float, float, float]:
    """Noise of the dark side, of the bright side, and the extra that follows the edge's slope.

    Where the light changes, rounding is noise even if the sides are one code each: a side's noise
    is at least that of its flank. The extra is what a jitter of the edge looks like.
    """
    fit, residual = solution.fit, solution.residual
    value, slope, _ = pixel_edge(solution.distance, fit.sigma_px)
    least, steepest = _MIN_NOISE * fit.contrast, float(slope.max())
    level = slope < 0.01 * steepest
    flank = (slope >= 0.01 * steepest) & (slope < 0.15 * steepest)
    sides = []
    for here in (value < 0.5, value >= 0.5):
        own, _ = _scale(residual[here & level], least)
        near, _ = _scale(residual[here & flank], least)
        sides.append(near if near > _CLEARLY_MORE * own else own)
    steep = slope > 0.5 * steepest
    power = float(np.mean(slope[steep] ** 2))
    base = float(np.mean(_variance((sides[0], sides[1], 0.0), value[steep], slope[steep])))
    there, _ = _scale(residual[steep], least)
    extra = there**2 - base
    significant = extra > 3 * np.sqrt(2 / steep.sum()) * base
    return sides[0], sides[1], float(np.sqrt(extra / power)) if significant else 0.0


def _dust(solution: Solution, noise: tuple[float, float, float]) -> NDArray[np.bool_]:
    """Pixels far off the model in view of the noise of their place."""
    value, slope, _ = pixel_edge(solution.distance, solution.fit.sigma_px)
    out = np.zeros_like(solution.used)
    out[solution.used] = solution.residual**2 > _DUST_SIGMAS**2 * _variance(noise, value, slope)
    return out


def _spread(mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """The mask and its eight neighbours: a speck is blurred too."""
    if not mask.any():
        return mask
    padded = np.pad(mask, 1)
    high, wide = mask.shape
    shifted = [padded[i : i + high, j : j + wide] for i in range(3) for j in range(3)]
    return np.asarray(np.logical_or.reduce(shifted))
