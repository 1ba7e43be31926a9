import numpy as np
import pytest
from scipy.signal import savgol_filter

from scanqa.measures.shading.local_fit import quadratic_smoother


@pytest.mark.parametrize("count", [7, 8, 30])
def test_equals_the_savitzky_golay_filter_of_scipy(count):
    values = np.random.default_rng(2).normal(size=count)
    smooth = quadratic_smoother(count, 7) @ values
    np.testing.assert_allclose(smooth, savgol_filter(values, 7, 2, mode="interp"), atol=1e-12)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5, 20])
def test_a_parabola_passes_unchanged(count):
    at = np.arange(count)
    values = 3 - 0.5 * at + 0.25 * at**2
    np.testing.assert_allclose(quadratic_smoother(count, 7) @ values, values, atol=1e-9)
