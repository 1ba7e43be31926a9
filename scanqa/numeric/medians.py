"""Medians: of many rows at once, and of what is known, where NaN does not count."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Array


def medians(values: NDArray[Any], axis: int = -1) -> NDArray[Any]:
    """Medians along an axis; none of the values may be NaN.

    The same as NumPy's, of rows of some hundred values in a third of its time: rows that lie
    together are parted once, not at three places.
    """
    rows = np.array(np.moveaxis(values, axis, -1), order="C")
    half = rows.shape[-1] // 2
    rows.partition(half, axis=-1)
    above = rows[..., half].astype(np.result_type(rows, 1.0))  # no sum of whole numbers
    if rows.shape[-1] % 2:
        return above
    return np.asarray((rows[..., :half].max(axis=-1) + above) / 2)


def known_medians(values: Array, axis: int = -1) -> tuple[Array, Array]:
    """Medians along an axis, NaN where nothing is known, and how many values each rests on."""
    rising = np.sort(values, axis=axis)  # NaN come last
    count = np.isfinite(rising).sum(axis=axis, keepdims=True)
    most = np.maximum(count - 1, 0)
    low, high = (np.take_along_axis(rising, at // 2, axis) for at in (most, most + 1))
    return np.squeeze((low + high) / 2, axis), np.squeeze(count, axis)


def running_median(values: Array, reach: int) -> Array:
    """Median over `reach` neighbours on each side; 0 where none of them is known.

    Parameters
    ----------
    values : (n,)
        Mirrored at the ends, or, where they are fewer than `reach`, repeated.
    """
    padded = np.pad(values, reach, mode="reflect" if len(values) > reach else "edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1)
    medians, count = known_medians(windows)
    return np.asarray(np.where(count > 0, medians, 0.0))
