"""Medians of many rows against NumPy's, a reference library."""

import numpy as np
import pytest

from scanqa.numeric.medians import medians, percentiles

RNG = np.random.default_rng(4)


@pytest.mark.parametrize("kind", [np.float64, np.float32, np.uint8, np.uint16, bool])
@pytest.mark.parametrize(("shape", "axis"), [((7, 9), 0), ((7, 8), 1), ((3, 6, 10), 1), ((11,), 0)])
def test_medians_are_those_of_numpy_to_the_last_digit(kind, shape, axis):
    values = (RNG.uniform(0, 1, shape) * (2 if kind is bool else 250)).astype(kind)
    before = values.copy()
    found = medians(values, axis)
    assert np.array_equal(found, np.median(values, axis=axis))
    assert found.dtype == np.median(values, axis=axis).dtype
    assert np.array_equal(values, before)


@pytest.mark.parametrize("kind", [np.float64, np.uint8])
@pytest.mark.parametrize("percent", [0, 10, 50, 85, 90, 100])
@pytest.mark.parametrize("count", [1, 2, 7, 1225])
def test_percentiles_are_those_of_numpy_to_the_last_digit(kind, percent, count):
    values = RNG.uniform(0, 250, (3, count)).astype(kind)
    assert np.array_equal(percentiles(values, percent), np.percentile(values, percent, axis=1))
    assert np.array_equal(percentiles(values.T, percent, 0), percentiles(values, percent))
