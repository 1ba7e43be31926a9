"""Charts that need no long baseline: each check is judged by those before it.

Q-statistics (Quesenberry, Journal of Quality Technology 23(3), 1991; Hawkins, The Statistician
36(4), 1987): the Student t of the newest value against mean and standard deviation of the earlier
ones, turned into a standard normal score. For steady normal values the scores are independent and
exactly standard normal from the third value on, so the run lengths of ordinary charts hold without
knowing mean or sigma beforehand.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from scanqa.model import Floats

FIRST_SCORED = 2  # two values give a mean and a standard deviation; the third can be judged
EWMA_WEIGHT = 0.2  # for shifts of one to two sigma
SMALLEST_SPREAD = 1e-9  # of the magnitude: repeated equal values must not divide by zero


def q_scores(values: ArrayLike, *, floor: float | Floats = 0.0) -> Floats:
    """Standard normal scores of values by their predecessors.

    Parameters
    ----------
    values : (…, n)
        In time order; the last axis is time.
    floor : float or (…, 1)
        Smallest believable standard deviation, for values that are rounded or very steady.

    Returns
    -------
    (…, n) float64
        0 for the first two, then Φ⁻¹(T(√((i−1)/i) (xᵢ − mean) / s)) with i − 2 degrees of freedom.
    """
    x = np.asarray(values, np.float64)
    scores = np.zeros(x.shape)
    count = x.shape[-1]
    if count <= FIRST_SCORED:
        return scores
    # Means and spreads of the values before each one, as running sums about the first value.
    before = np.arange(FIRST_SCORED, count)
    away = x - x[..., :1]
    total = np.cumsum(away, axis=-1)[..., before - 1]
    squares = np.cumsum(away**2, axis=-1)[..., before - 1]
    mean = total / before
    spread = np.sqrt(np.maximum(squares - total * mean, 0.0) / (before - 1))
    largest = np.maximum.accumulate(np.abs(x), axis=-1)[..., before - 1]
    least = np.maximum(np.maximum(floor, np.finfo(float).tiny), SMALLEST_SPREAD * largest)
    gap = away[..., before] - mean
    t = np.sqrt(before / (before + 1)) * gap / np.maximum(spread, least)
    scores[..., before] = _normal_of_t(t, (before - 1).astype(np.float64))
    return scores


def _normal_of_t(t: Floats, degrees: Floats) -> Floats:
    """Normal scores of the same tail area; tails are kept exact by working in the lower one."""
    tail = special.stdtr(degrees, -np.abs(t))
    return np.asarray(np.copysign(-special.ndtri(np.maximum(tail, 1e-300)), t))


@cache
def cusum_limit(run_length: float, *, slack_sigma: float = 0.5) -> float:
    """Decision limit h of a two-sided CUSUM for a wanted in-control run length.

    Siegmund's approximation (Sequential Analysis, 1985): one-sided run length
    (exp(2kb) − 2kb − 1) / (2k²) with b = h + 1.166; two-sided is half of it.
    """
    k = slack_sigma

    def excess(h: float) -> float:
        b = h + 1.166
        return (math.exp(2 * k * b) - 2 * k * b - 1) / (4 * k * k) - run_length

    return float(optimize.brentq(excess, 0.1, 40.0 / k))


@cache
def ewma_limit(run_length: float, *, weight: float = EWMA_WEIGHT) -> float:
    """Limit L of an EWMA chart for a wanted in-control run length, limits settled from the start.

    Inverts `ewma_run_length`; L 2.962 gives 500 with weight 0.2 (Lucas & Saccucci 1990).
    """
    return float(
        optimize.brentq(lambda limit: math.log(ewma_run_length(limit, weight) / run_length), 0.3, 6)
    )


def ewma_run_length(limit: float, weight: float, *, shift: float = 0.0) -> float:
    """Mean number of checks until an EWMA chart alarms, for a shift in sigma from the start.

    Solves the integral equation of the run length (Crowder, Technometrics 29(4), 1987) at
    Gauss-Legendre nodes; the chart starts at its target and has settled limits.
    """
    half = limit * math.sqrt(weight / (2 - weight))
    nodes, weights = np.polynomial.legendre.leggauss(64)
    nodes, weights = nodes * half, weights * half

    def reaches(start: Floats) -> Floats:
        z = (nodes - (1 - weight) * start[:, None]) / weight - shift
        density = np.exp(-0.5 * np.minimum(z**2, 1400.0)) / math.sqrt(2 * math.pi)
        return np.asarray(density * weights / weight)

    lengths = np.linalg.solve(np.eye(len(nodes)) - reaches(nodes), np.ones(len(nodes)))
    return float(1 + reaches(np.zeros(1))[0] @ lengths)


def shewhart_limit(run_length: float) -> float:
    """Limit in sigma of an individuals chart for a wanted in-control run length."""
    return -float(special.ndtri(0.5 / run_length))
