"""Where a function of one number is least between two bounds.

SciPy has the same (`scipy.optimize.fminbound`), but loading that module takes a tenth of what
measuring two blanks does. The test holds this against it.
"""

from __future__ import annotations

import math
from collections.abc import Callable

GOLDEN = (3.0 - math.sqrt(5.0)) / 2.0
SMALLEST = math.sqrt(2.2e-16)  # of the place: a minimum is no better known; digits as SciPy has
MOST_STEPS = 500


def least_within(of: Callable[[float], float], low: float, high: float, near: float) -> float:
    """Place of the least value, by parabolas and golden sections.

    Source: the procedure ``fmin`` of Forsythe, Malcolm & Moler, *Computer Methods for Mathematical
    Computations* (1977), ch. 8, after Brent 1973.

    Parameters
    ----------
    of : callable
        With one minimum between the bounds, or one of several is found.
    low, high : float
        Bounds.
    near : float
        How near the minimum the place must be.
    """
    best = second = third = low + GOLDEN * (high - low)
    at_best = at_second = at_third = of(best)
    step = before = 0.0
    for _ in range(MOST_STEPS):
        middle = (low + high) / 2
        least = SMALLEST * abs(best) + near / 3
        if abs(best - middle) <= 2 * least - (high - low) / 2:
            break
        golden = True
        if abs(before) > least:  # a parabola through the three best
            r = (best - second) * (at_best - at_third)
            q = (best - third) * (at_best - at_second)
            p = (best - third) * q - (best - second) * r
            q = 2 * (q - r)
            p, q = (-p, q) if q > 0 else (p, -q)
            last, before = before, step
            if abs(p) < abs(q * last / 2) and q * (low - best) < p < q * (high - best):
                golden, step = False, p / q
                if min(best + step - low, high - best - step) < 2 * least:
                    step = math.copysign(least, middle - best)
        if golden:
            before = (low if best >= middle else high) - best
            step = GOLDEN * before
        place = best + math.copysign(max(abs(step), least), step)
        value = of(place)
        if value <= at_best:
            low, high = (best, high) if place >= best else (low, best)
            third, at_third, second, at_second = second, at_second, best, at_best
            best, at_best = place, value
            continue
        low, high = (low, place) if place >= best else (place, high)
        if value <= at_second or second == best:
            third, at_third, second, at_second = second, at_second, place, value
        elif value <= at_third or third in (best, second):
            third, at_third = place, value
    return best
