"""Means over square blocks of a plane."""

from __future__ import annotations

import numpy as np

from scanqa.model import Floats


def block_means(plane: Floats, per: int) -> Floats:
    """Means over `per` × `per` blocks, (rows, columns) of whole ones."""
    rows, columns = (n // per for n in plane.shape)
    cut = plane[: rows * per, : columns * per].reshape(rows, per, columns, per)
    return np.asarray(cut.mean(axis=(1, 3)), np.float64)
