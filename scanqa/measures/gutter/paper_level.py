"""The level of bare paper among paper and print."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats

ENVELOPE_PERCENT = 85.0
CLUSTER_L = 1.5  # what is this near to the paper level is paper
SHIFTS = 6  # mean shifts; the start is near already


def paper_level(lightness: NDArray[Any]) -> Floats:
    """Mean of the bright cluster of each column.

    An upper percentile alone lies above noisy paper; from there the mean is shifted to the
    values about it until it stays (mean shift: Fukunaga & Hostetler 1975, from memory).

    Parameters
    ----------
    lightness : (n, columns)
        L*; a fifth of it or more is bare paper.

    Returns
    -------
    (columns,)
    """
    level = np.percentile(lightness, ENVELOPE_PERCENT, axis=0)
    for _ in range(SHIFTS):
        near = np.abs(lightness - level) <= CLUSTER_L
        count = near.sum(axis=0)
        mean = (lightness * near).sum(axis=0) / np.maximum(count, 1)
        level = np.where(count > 0, mean, level)
    return np.asarray(level, np.float64)
