"""The response of a solved edge, and how far noise and an unknown shape may move it.

Everything that is reported is a linear functional of the solution (to first order): weights on the
columns and on the splines. What a weight on the solution means for the pixels (`_influence`) gives
its variance: under noise as weighted (`white_variance`), from the residuals as they are, row by row
(`row_sums`), and from what the prior of the shape leaves open (`shape_variance`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats
from scanqa.numeric.edge.fine_profile import FREQUENCIES
from scanqa.numeric.edge.fit import pixel_response
from scanqa.numeric.edge.solve import Solution


@dataclass(frozen=True, slots=True, eq=False)
class Response:
    """The response and its gradients with respect to the columns and the splines."""

    sfr: Floats  # (frequencies,)
    on_columns: Floats  # (frequencies, 10)
    on_splines: Floats  # (frequencies, size)


def response(solution: Solution) -> Response:
    """The modulus of the fitted profile's transform at `FREQUENCIES`, and its gradients."""
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
    return Response(size, (phase * on_columns).real, (phase * on_splines).real)


def _influence(solution: Solution, columns: Floats, splines: Floats) -> tuple[Floats, Floats]:
    """Weights on the normal equations' right-hand sides that give these functionals, (k, …)."""
    reduced = splines - columns @ solution.inverse @ solution.cross
    on_splines = reduced @ solution.posterior.gain
    on_columns = (columns - on_splines @ solution.cross.T) @ solution.inverse
    return on_columns, on_splines


def white_variance(solution: Solution, of: Response) -> Floats:
    """Variance of the response if the pixels' noise were independent and as weighted."""
    p, c = _influence(solution, of.on_columns, of.on_splines)
    gram = solution.matrix + solution.cross.T @ solution.inverse @ solution.cross
    normal = np.linalg.inv(solution.inverse)
    return np.asarray(
        ((p @ normal) * p).sum(1) + 2 * ((p @ solution.cross) * c).sum(1) + ((c @ gram) * c).sum(1)
    )


def shape_variance(solution: Solution, of: Response) -> Floats:
    """Variance that the prior of the shape leaves open beyond the noise."""
    reduced = of.on_splines - of.on_columns @ solution.inverse @ solution.cross
    noise = solution.posterior.gain @ solution.matrix @ solution.posterior.gain
    left_open = ((reduced @ (solution.posterior.covariance - noise)) * reduced).sum(axis=1)
    return np.asarray(np.maximum(left_open, 0.0))


def row_sums(solution: Solution, columns: Floats, splines: Floats) -> Floats:
    """Contribution of each row's residuals to one functional, (rows,)."""
    p, c = _influence(solution, columns[None], splines[None])
    pull = p[0] @ solution.terms.columns
    solution.terms.add_splines(pull, c[0])
    sums = np.bincount(
        solution.terms.row, pull * solution.weight * solution.residual, len(solution.terms.used)
    )
    return np.asarray(sums, np.float64)
