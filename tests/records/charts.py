"""Textbook control charts, individuals, EWMA and CUSUM against a baseline: a reference for ours.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, sections 6.3.2.2 to 6.3.2.4; run lengths:
Lucas & Saccucci, Technometrics 32(1), 1990 (EWMA); Hawkins & Olwell, Cumulative Sum Charts, 1998.
All functions take one value per check, in time order.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from scanqa.model import Floats
from scanqa.records.baseline import Baseline


@dataclass(frozen=True, slots=True, eq=False)
class Chart:
    """A plotted statistic with its limits.

    Attributes
    ----------
    values : (n,) float64
        What is plotted.
    lower, upper : (n,) float64
        Limits at each check.
    alarms : tuple of int
        Checks outside the limits.
    """

    values: Floats
    lower: Floats
    upper: Floats
    alarms: tuple[int, ...]


def individuals(values: ArrayLike, base: Baseline, *, limit_sigma: float = 3.0) -> Chart:
    """Individuals chart: each value against mean ± `limit_sigma` sigma (e-Handbook 6.3.2.2)."""
    x = np.asarray(values, np.float64)
    half = np.full(x.shape, limit_sigma * base.sigma)
    return _chart(x, base.mean - half, base.mean + half)


def ewma(
    values: ArrayLike,
    base: Baseline,
    *,
    weight: float = 0.2,
    limit_sigma: float = 2.962,
    settled: bool = False,
) -> Chart:
    """Exponentially weighted moving average (e-Handbook 6.3.2.4).

    Parameters
    ----------
    weight : float
        λ, weight of the newest value. λ 0.2 with L 2.962 gives an in-control run length of 500
        (Lucas & Saccucci 1990).
    limit_sigma : float
        L; limits are mean ± L σ sqrt(λ / (2 − λ)), narrower for the first checks.
    settled : bool
        Use the limits of a long series from the first check on.
    """
    x = np.asarray(values, np.float64)
    plotted = np.empty_like(x)
    level = base.mean
    for i, value in enumerate(x):
        level = weight * value + (1 - weight) * level
        plotted[i] = level
    share = np.ones(x.shape) if settled else 1 - (1 - weight) ** (2 * np.arange(1, len(x) + 1))
    half = limit_sigma * base.sigma * np.sqrt(weight / (2 - weight) * share)
    return _chart(plotted, base.mean - half, base.mean + half)


@dataclass(frozen=True, slots=True, eq=False)
class Cusum:
    """Upper and lower cumulative sums, both positive, in units of the values.

    Attributes
    ----------
    high, low : (n,) float64
        Evidence for a rise and for a fall.
    limit : float
        Decision limit.
    alarms : tuple of int
        Checks at which either sum is beyond the limit.
    began : tuple of int
        For each alarm, the first check of the run that led to it (an estimate of the change).
    """

    high: Floats
    low: Floats
    limit: float
    alarms: tuple[int, ...]
    began: tuple[int, ...]


def cusum(
    values: ArrayLike, base: Baseline, *, slack_sigma: float = 0.5, limit_sigma: float = 4.774
) -> Cusum:
    """Two-sided tabular CUSUM (e-Handbook 6.3.2.3).

    Parameters
    ----------
    slack_sigma : float
        k: half the shift, in sigma, that is to be found soonest.
    limit_sigma : float
        h. k 0.5 with h 4.774 gives a two-sided in-control run length of 370 (Hawkins & Olwell).
    """
    x = np.asarray(values, np.float64) - base.mean
    slack, limit = slack_sigma * base.sigma, limit_sigma * base.sigma
    high, low = np.zeros(x.shape), np.zeros(x.shape)
    since_high = since_low = 0
    alarms, began = [], []
    up = down = 0.0
    for i, value in enumerate(x):
        up, down = max(0.0, up + value - slack), max(0.0, down - value - slack)
        since_high = since_high if up > 0 else i + 1
        since_low = since_low if down > 0 else i + 1
        high[i], low[i] = up, down
        if max(up, down) > limit:
            alarms.append(i)
            began.append(since_high if up > limit else since_low)
    return Cusum(high, low, limit, tuple(alarms), tuple(began))


def _chart(values: Floats, lower: Floats, upper: Floats) -> Chart:
    outside = np.flatnonzero((values < lower) | (values > upper))
    return Chart(values, lower, upper, tuple(int(i) for i in outside))
