"""Charts that need no long baseline: each check is judged by those before it.

Q-statistics (Quesenberry, Journal of Quality Technology 23(3), 1991; Hawkins, The Statistician
36(4), 1987): the Student t of the newest value against mean and standard deviation of the earlier
ones, turned into a standard normal score. For steady normal values the scores are independent and
exactly standard normal from the third value on, so the run lengths of ordinary charts hold without
knowing mean or sigma beforehand.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy import optimize, special

from scanqa.model import Floats

FIRST_SCORED = 2  # two values give a mean and a standard deviation; the third can be judged
SMALLEST_SPREAD = 1e-9  # of the magnitude: repeated equal values must not divide by zero


def q_scores(values: ArrayLike, *, floor: float = 0.0) -> Floats:
    """Standard normal scores of values by their predecessors.

    Parameters
    ----------
    values : (n,)
        In time order.
    floor : float
        Smallest believable standard deviation, for values that are rounded or very steady.

    Returns
    -------
    (n,) float64
        0 for the first two, then Φ⁻¹(T(√((i−1)/i) (xᵢ − mean) / s)) with i − 2 degrees of freedom.
    """
    x = np.asarray(values, np.float64)
    scores = np.zeros(x.shape)
    for i in range(FIRST_SCORED, len(x)):
        before = x[:i]
        least = max(floor, SMALLEST_SPREAD * float(np.abs(before).max()), np.finfo(float).tiny)
        spread = max(float(before.std(ddof=1)), least)
        t = math.sqrt(i / (i + 1)) * (x[i] - float(before.mean())) / spread
        scores[i] = _normal_of_t(t, i - 1)
    return scores


def _normal_of_t(t: float, degrees: int) -> float:
    """The normal score of the same tail area; tails are kept exact by working in the lower one."""
    tail = float(special.stdtr(degrees, -abs(t)))
    score = -float(special.ndtri(max(tail, 1e-300)))
    return math.copysign(score, t)


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


def shewhart_limit(run_length: float) -> float:
    """Limit in sigma of an individuals chart for a wanted in-control run length."""
    return -float(special.ndtri(0.5 / run_length))
