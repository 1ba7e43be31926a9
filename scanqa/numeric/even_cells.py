"""Cells of one size, evenly spread along an axis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray


def even_cells(length: int, count: int, size: int) -> NDArray[np.int64]:
    """Indices of the samples of each cell, (count, size), the outermost at the ends of the axis."""
    starts = np.linspace(0, length - size, count).round().astype(np.int64)
    return starts[:, None] + np.arange(size)
