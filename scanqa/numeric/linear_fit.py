"""Linear least squares that a few wild points cannot pull.

Source: Beaton & Tukey 1974 (biweight); Holland & Welsch 1977 (tuning constant 4.685 for 95 %
efficiency on Gaussian errors); both from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats
from scanqa.numeric.spread import sigma_about_zero

TUNING = 4.685
ROUNDS = 30


@dataclass(frozen=True, slots=True, eq=False)
class LinearFit:
    """What a fit found.

    Attributes
    ----------
    solution : (unknowns,)
        Coefficients.
    residuals : (points,)
        Values less the fit, of every point.
    weights : (points,)
        0 (set aside) to 1.
    sd : float
        Standard deviation of the residuals that count, corrected for the unknowns.
    covariance : (unknowns, unknowns)
        Of the solution, from `sd`.
    """

    solution: Floats
    residuals: Floats
    weights: Floats
    sd: float
    covariance: Floats


def robust_least_squares(design: Floats, values: Floats) -> LinearFit:
    """Solve ``design @ solution = values`` with Tukey's biweight on the residuals.

    Parameters
    ----------
    design : (points, unknowns)
        At least as many points as unknowns, of full rank.
    values : (points,)
        Finite.

    Returns
    -------
    LinearFit
        The plain least-squares fit if the residuals are all but zero.

    Raises
    ------
    ValueError
        With fewer points than unknowns.
    """
    points, unknowns = design.shape
    if points < unknowns:
        raise ValueError(f"{points} points for {unknowns} unknowns")
    weights = np.ones(points)
    solution = _solve(design, values, weights)
    for _ in range(ROUNDS):
        residuals = values - design @ solution
        scale = float(sigma_about_zero(residuals))
        if scale <= 1e-12 * (1 + float(np.abs(values).max())):
            break
        weights = np.clip(1 - (residuals / (TUNING * scale)) ** 2, 0, None) ** 2
        if np.count_nonzero(weights) < unknowns:
            weights = np.ones(points)
            break
        update = _solve(design, values, weights)
        moved = float(np.abs(design @ (update - solution)).max())
        solution = update
        if moved < 1e-3 * scale:
            break
    residuals = values - design @ solution
    free = max(float(weights.sum()) - unknowns, 1.0)
    sd = float(np.sqrt((weights * residuals**2).sum() / free))
    normal = (design * weights[:, None]).T @ design
    covariance = np.asarray(sd**2 * np.linalg.pinv(normal))
    return LinearFit(solution, residuals, weights, sd, covariance)


def _solve(design: Floats, values: Floats, weights: Floats) -> Floats:
    root = np.sqrt(weights)
    return np.asarray(np.linalg.lstsq(design * root[:, None], values * root, rcond=None)[0])
