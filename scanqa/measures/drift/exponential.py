"""Exponential approach to a level: a least-squares fit that needs no starting values.

The model is linear but for one rate: ``y = design(rate) @ coefficients``. For each rate of a
logarithmic grid the coefficients are solved for exactly and the residual sum of squares is taken;
the best grid interval is then narrowed down (variable projection: Golub & Pereyra 1973, from
memory). That finds the global minimum where iterations from a poor start go astray.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats
from scanqa.numeric.least_within import least_within

GRID = 200  # rates tried


@dataclass(frozen=True, slots=True, eq=False)
class RateFit:
    """A fit with one rate.

    Attributes
    ----------
    rate, rate_sd : float
        In 1 / unit of x, with its standard error.
    coefficients, coefficient_sds : (columns,)
        Of the columns of the design.
    rss : float
        Residual sum of squares.
    residual_sd : float
        √(rss / degrees of freedom); 0 without any.
    """

    rate: float
    rate_sd: float
    coefficients: Floats
    coefficient_sds: Floats
    rss: float
    residual_sd: float


def fit_rate(
    y: Floats, design: Callable[[float], Floats], slowest: float, fastest: float
) -> RateFit | None:
    """Least squares of ``y = design(rate) @ coefficients``.

    Parameters
    ----------
    y : (n,)
        At least as many values as unknowns (columns and rate).
    design : callable
        Rate to a matrix (n, columns).
    slowest, fastest : float
        Rates to look between, positive.

    Returns
    -------
    RateFit or None
        None if the best rate is one of the ends: the data do not show it.

    Raises
    ------
    ValueError
        With fewer values than unknowns.
    """
    unknowns = design(slowest).shape[1] + 1
    if len(y) < unknowns:
        raise ValueError(f"{len(y)} values for {unknowns} unknowns")

    def rss(log_rate: float) -> float:
        columns = design(float(np.exp(log_rate)))
        solution = np.linalg.lstsq(columns, y, rcond=None)[0]
        return float(np.sum((y - columns @ solution) ** 2))

    grid = np.linspace(np.log(slowest), np.log(fastest), GRID)
    best = int(np.argmin([rss(at) for at in grid]))
    if best in (0, GRID - 1):
        return None
    found = least_within(rss, float(grid[best - 1]), float(grid[best + 1]), near=1e-10)
    return _at(float(np.exp(found)), y, design)


def _at(rate: float, y: Floats, design: Callable[[float], Floats]) -> RateFit:
    """The fit at its best rate; errors from the Jacobian as for any non-linear least squares."""
    columns = design(rate)
    coefficients = np.linalg.lstsq(columns, y, rcond=None)[0]
    rss = float(np.sum((y - columns @ coefficients) ** 2))
    step = 1e-5 * rate
    slope = (design(rate + step) - design(rate - step)) @ coefficients / (2 * step)
    jacobian = np.column_stack([columns, slope])
    free = len(y) - jacobian.shape[1]
    variance = rss / free if free > 0 else 0.0
    scale = np.linalg.norm(jacobian, axis=0)  # the columns differ by powers of ten
    scale[scale == 0] = 1.0
    inverse = np.linalg.pinv((jacobian / scale).T @ (jacobian / scale))
    sds = np.sqrt(variance * np.diag(inverse)) / scale
    values = np.asarray(coefficients, np.float64)
    return RateFit(rate, float(sds[-1]), values, sds[:-1], rss, float(np.sqrt(variance)))


def settling(x: Floats) -> Callable[[float], Floats]:
    """Design of ``y = level + start exp(-rate x)``."""
    return lambda rate: np.column_stack([np.ones_like(x), np.exp(-rate * x)])
