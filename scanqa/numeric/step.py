"""Where profiles across a border of ink and paper pass from the one to the other.

The place is that of a sharp step with the same total light (in a window about it). Unlike the
half-way point between two samples it does not depend on how the border lies between the pixels:
a pixel that collects all light that falls on it keeps the total. It matters where a border runs
along the rows, and wherever places of many rows are compared.
"""

from __future__ import annotations

import numpy as np

from scanqa.model import Floats

STEP_PX = 0.5  # along a profile; a whole fraction of a pixel, so that sums of light are exact
LEAST_CONTRAST = 0.25  # of ink against paper, in light


def crossings(
    plane: Floats, base: Floats, outward: Floats, *, reach_px: float, middle_px: float
) -> Floats | None:
    """Distance of the border from each base point, along one direction.

    Parameters
    ----------
    plane : (rows, columns)
        Linear light.
    base : (points, 2)
        Places (x, y) near the border, in order along it.
    outward : (2,)
        Unit vector from ink to paper.
    reach_px, middle_px : float
        Length of the profiles to either side, and of the part whose light is summed; the ends
        beyond a fifth of the profile give the levels of ink and paper.

    Returns
    -------
    (points,) or None
        NaN where there is no crossing within the middle; None if a profile leaves the plane.
    """
    steps = int(np.ceil(reach_px / STEP_PX))
    s = STEP_PX * np.arange(-steps, steps + 1)
    at = base[:, None, :] + s[None, :, None] * outward
    if at.min() < 0 or np.any(at.max(axis=(0, 1)) > np.array(plane.shape[::-1]) - 1):
        return None
    profiles = sampled(plane, at)
    fifth = max(len(s) // 5, 1)
    dark, bright = _level(profiles[:, :fifth]), _level(profiles[:, -fifth:])
    if np.any(bright - dark < LEAST_CONTRAST * bright):
        return np.full(len(base), np.nan)
    inner = np.abs(s) <= middle_px
    share = (profiles[:, inner] - dark[:, None]) / (bright - dark)[:, None]
    end = s[inner][-1]
    place = end - np.trapezoid(share, dx=STEP_PX, axis=1)
    return np.where(np.abs(place) < end, place, np.nan)


def sampled(plane: Floats, at: Floats) -> Floats:
    """Bilinear samples of (rows, columns) at (…, 2) positions (x, y) inside it."""
    last = np.array(plane.shape[::-1]) - 2
    cell = np.minimum(np.floor(at).astype(np.intp), last)
    fx, fy = np.moveaxis(at - cell, -1, 0)
    x, y = np.moveaxis(cell, -1, 0)
    top = plane[y, x] * (1 - fx) + plane[y, x + 1] * fx
    bottom = plane[y + 1, x] * (1 - fx) + plane[y + 1, x + 1] * fx
    return np.asarray(top * (1 - fy) + bottom * fy)


def _level(samples: Floats) -> Floats:
    """Straight line through the medians of both halves of a border's samples, at each point.

    Uneven light along the border then does not tilt it.
    """
    points = len(samples)
    first, second = np.median(samples[: points // 2]), np.median(samples[points // 2 :])
    return np.asarray((first + second) / 2 + (second - first) * np.linspace(-1, 1, points))
