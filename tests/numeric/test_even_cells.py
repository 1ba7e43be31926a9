"""Cells of one size from end to end of an axis: what their definition says, for any sizes."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from scanqa.numeric.even_cells import even_cells


@given(st.integers(1, 40), st.integers(1, 30), st.integers(0, 200))
def test_cells_reach_from_end_to_end_and_do_not_overlap(size, count, more):
    length = size * count + more
    found = even_cells(length, count, size)
    assert found.shape == (count, size)
    assert np.all(np.diff(found, axis=1) == 1)
    assert found[0, 0] == 0
    assert count == 1 or found[-1, -1] == length - 1
    apart = np.diff(found[:, 0])
    assert np.all(apart >= size)
    assert count == 1 or np.ptp(apart) <= 1
