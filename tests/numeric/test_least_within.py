"""The least value between bounds against `scipy.optimize.fminbound`, a reference library."""

import math

import pytest
from scipy.optimize import minimize_scalar

from scanqa.numeric.least_within import least_within

CURVES = {
    "a parabola": (lambda x: (x - 0.7) ** 2, -1.0, 3.0),
    "a sine": (math.sin, 0.0, 6.0),
    "a corner": (lambda x: abs(x - 1.234), 0.0, 5.0),
    "several": (lambda x: math.sin(5 * x) + 0.1 * x * x, -3.0, 3.0),
    "least at a bound": (math.exp, -2.0, 1.0),
    "level": (lambda x: 1.0, 2.0, 3.0),
    "a flat bottom": (lambda x: (x - 2) ** 8, 0.0, 7.0),
}


@pytest.mark.parametrize("near", [1e-3, 1e-10])
@pytest.mark.parametrize("name", CURVES)
def test_the_place_is_that_of_scipy_to_the_last_digit(name, near):
    of, low, high = CURVES[name]
    theirs = minimize_scalar(of, bounds=(low, high), method="bounded", options={"xatol": near})
    assert theirs.success
    assert least_within(of, low, high, near) == pytest.approx(theirs.x, rel=1e-14, abs=1e-14)
