"""Profiles that run inwards from a border: the level they settle at, and where they reach it.

The level further in is a straight line, because light that falls off gently is not a shadow. It
goes through the medians of two halves of a far zone, so that dust and streaks do not pull it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from scanqa.model import Floats

FAR_ZONE_MM = (20.0, 45.0)  # beyond any edge shadow, near enough that falloff is straight
FAR_ZONE_SHARE = 0.45  # of the extent at most: the zone never crosses the middle
MIN_ZONE_MM = 3.0
SPECK_MM = 0.5  # dips narrower than half of this do not count
CLEAR_MM = 2.0  # a shadow has ended when this much in a row is clear of it
INNERMOST = 0.1  # of the profiles: the level that they end at
UNSETTLED = 2.0  # times the limit: a far zone that still rises by more is not a level


def far_zone_mm(extent_mm: float) -> tuple[float, float] | None:
    """Where the level further in is taken, or None if the image is too narrow for that."""
    end = min(FAR_ZONE_MM[1], FAR_ZONE_SHARE * extent_mm)
    start = end * FAR_ZONE_MM[0] / FAR_ZONE_MM[1]
    return (start, end) if end - start >= MIN_ZONE_MM else None


def far_line(at_mm: Floats, profiles: Floats, zone_mm: tuple[float, float]) -> Floats:
    """Level further in, continued to the border as a straight line.

    Parameters
    ----------
    at_mm : (n,)
        Distance from the border, rising.
    profiles : (bands, n)
        One profile for each band along the side.
    zone_mm : (start, end)
        From `far_zone_mm`.

    Returns
    -------
    (bands, n)
        The line at each position.

    Raises
    ------
    ValueError
        If fewer than two positions lie in the zone.
    """
    start, end = np.searchsorted(at_mm, zone_mm)
    middle = (start + end) // 2
    if middle == start or end == middle:
        raise ValueError("fewer than two positions in the far zone")
    near_mm, far_mm = at_mm[start:middle].mean(), at_mm[middle:end].mean()
    near = np.median(profiles[:, start:middle], axis=1)
    far = np.median(profiles[:, middle:end], axis=1)
    slope = (far - near) / (far_mm - near_mm)
    return np.asarray(near[:, None] + slope[:, None] * (at_mm - near_mm), np.float64)


@dataclass(frozen=True, slots=True, eq=False)
class Shadow:
    """A border shadow, band by band and as a whole.

    Attributes
    ----------
    at_mm : (n,)
        Positions up to the far zone.
    depth : float
        Of the median over bands; NaN if it does not end before the far zone, or if the far zone
        itself has not settled.
    depths : (bands,)
        Of each band; NaN likewise.
    deepest : float
        As `depth`, but against the level where the profiles end, not the line continued: where
        the level further in falls toward the border, nobody knows what of that is shadow. Not
        under `depth`.
    """

    at_mm: Floats
    depth: float
    depths: Floats
    deepest: float


def shadow(at_mm: Floats, profiles: Floats, zone_mm: tuple[float, float], limit: float) -> Shadow:
    """How deep the shadow at a border is.

    Parameters
    ----------
    at_mm, profiles, zone_mm
        As in `far_line`.
    limit : float
        A position is in shadow if it lies lower than the far line by more than this (in the unit
        of the profiles).
    """
    line = far_line(at_mm, profiles, zone_mm)
    count, end = np.searchsorted(at_mm, zone_mm)
    # The line climbs over the whole zone twice as far as from the middle of one half to the other.
    climb = np.abs(line[:, end - 1] - line[:, count]) / 2
    lack = line - profiles
    pitch = float(at_mm[1] - at_mm[0])
    speck = 2 * round(SPECK_MM / pitch / 2) + 1
    lack = ndimage.median_filter(lack[:, :count], size=(1, speck), mode="nearest")
    both = np.vstack([np.median(lack, axis=0), lack])
    settled = np.concatenate([[np.median(climb)], climb]) <= UNSETTLED * limit
    depths = np.where(settled, depths_below(both, pitch, limit), np.nan)
    inside = max(round(INNERMOST * len(at_mm)), 1)
    level = np.maximum(line[:, end - 1], np.median(profiles[:, -inside:], axis=1))
    whole = np.median(level[:, None] - profiles, axis=0)[None]
    whole = ndimage.median_filter(whole, size=(1, speck), mode="nearest")
    deep = float(depths_below(whole, pitch, limit)[0])
    deepest = float(at_mm[-1]) if np.isnan(deep) else max(deep, float(depths[0]))
    return Shadow(at_mm[:count], float(depths[0]), depths[1:], deepest)


def depths_below(lack: Floats, pitch_mm: float, limit: float) -> Floats:
    """First place from which `CLEAR_MM` in a row are clear, between samples by proportion."""
    dark = lack > limit
    run = min(max(1, round(CLEAR_MM / pitch_mm)), lack.shape[1])
    ahead = np.cumsum(np.pad(dark, ((0, 0), (1, 0))), axis=1)
    clear = ahead[:, run:] == ahead[:, :-run]
    first = np.argmax(clear, axis=1)
    before = np.maximum(first - 1, 0)
    rows = np.arange(len(lack))
    high, low = lack[rows, before] - limit, lack[rows, first] - limit
    drop = np.where(high - low > 0, high - low, 1.0)
    depth = np.where(first == 0, 0.0, (before + 0.5 + high / drop) * pitch_mm)
    return np.where(clear.any(axis=1), depth, np.nan)
