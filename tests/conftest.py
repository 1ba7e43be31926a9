"""Numbers that are not numbers fail the test that made them."""

import numpy as np
import pytest


@pytest.fixture(autouse=True)
def _strict_numpy():
    with np.errstate(divide="raise", invalid="raise", over="raise"):
        yield
