"""A straight line through checks, and when it will cross a limit.

Ordinary least squares; the crossing's interval is Fieller's (Draper & Smith, Applied Regression
Analysis, inverse regression): all times at which the limit lies inside the confidence band of the
line. It may have no end, and then says so.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from scanqa.model.history import Crossing


@dataclass(frozen=True, slots=True)
class Line:
    """y = intercept + slope x, with standard errors.

    Attributes
    ----------
    middle, middle_sd : float
        Mean of x, and the standard error of the line there.
    residual_sd : float
        Scatter about the line.
    degrees : int
        Degrees of freedom, n − 2.
    """

    intercept: float
    slope: float
    slope_sd: float
    middle: float
    middle_sd: float
    residual_sd: float
    degrees: int

    def at(self, x: float) -> float:
        """The line at x."""
        return self.intercept + self.slope * x

    @property
    def p_value(self) -> float:
        """Two-sided probability of a slope at least this steep if there is none."""
        if self.slope_sd == 0:
            return 0.0 if self.slope else 1.0
        return 2 * student_tail(-abs(self.slope / self.slope_sd), self.degrees)

    def slope_interval(self, confidence: float = 0.95) -> tuple[float, float]:
        """Confidence interval of the slope."""
        half = student_width(confidence, self.degrees) * self.slope_sd
        return self.slope - half, self.slope + half


def fit_line(x: ArrayLike, y: ArrayLike) -> Line:
    """Least-squares line.

    Raises
    ------
    ValueError
        With fewer than three points, or when all x are the same.
    """
    xs, ys = np.asarray(x, np.float64), np.asarray(y, np.float64)
    n = len(xs)
    if n < 3 or float(np.ptp(xs)) == 0.0:
        raise ValueError("a line with a scatter needs three points at different times")
    middle, height = float(xs.mean()), float(ys.mean())
    dx = xs - middle
    sxx = float(dx @ dx)
    slope = float(dx @ (ys - height)) / sxx
    intercept = height - slope * middle
    residual = ys - height - slope * dx
    sd = math.sqrt(float(residual @ residual) / (n - 2))
    return Line(
        intercept,
        slope,
        sd / math.sqrt(sxx),
        middle,
        sd / math.sqrt(n),
        sd,
        n - 2,
    )


def crossing(line: Line, limit: float, *, confidence: float = 0.95) -> Crossing | None:
    """Where the line meets `limit`, with Fieller's interval; None if the slope is not significant.

    Parameters
    ----------
    confidence : float
        Of the interval, and of the significance of the slope.
    """
    t = student_width(confidence, line.degrees)
    if abs(line.slope) <= t * line.slope_sd:
        return None
    gap = limit - line.at(line.middle)  # height to go from the middle of the data
    # |gap − slope u| ≤ t sqrt(middle_sd² + slope_sd² u²), solved for u = x − middle.
    a = line.slope**2 - (t * line.slope_sd) ** 2
    b = -2 * gap * line.slope
    c = gap**2 - (t * line.middle_sd) ** 2
    root = math.sqrt(max(b * b - 4 * a * c, 0.0))
    low, high = (-b - root) / (2 * a), (-b + root) / (2 * a)
    return Crossing(line.middle + gap / line.slope, line.middle + low, line.middle + high)


def student_width(confidence: float, degrees: float) -> float:
    """Half width of a two-sided Student interval, in standard errors (normal if degrees is inf)."""
    share = 0.5 + confidence / 2
    return float(special.ndtri(share) if degrees == math.inf else special.stdtrit(degrees, share))


def student_tail(t: float, degrees: float) -> float:
    """Probability of a Student t below `t` (normal if degrees is inf)."""
    return float(special.ndtr(t) if degrees == math.inf else special.stdtr(degrees, t))
