"""Whether the paper was moved between two blank scans, seen by its own texture.

In each preview the scanner's own pattern is taken out: a smooth field, and what whole rows and
columns share (shading, streaks). What is left is the paper's texture, dust and noise. Where the
paper lay still the two remainders agree in place (correlation toward 1); where it was moved they
do not. Dust on the glass agrees in both cases, so the few strongest blocks are cut down first.
Grain at the preview's scale was not known for a driver's noise reduction: the limit is a choice.
"""

from __future__ import annotations

import numpy as np

from scanqa.model import Floats, Overview
from scanqa.numeric.lightness import mean_of_channels
from scanqa.numeric.spread import sigma_about_zero

STILL = 0.5  # correlation
CUT = 3.0  # scatters
SMOOTH = 8  # blocks
MARGIN = 0.1  # of each side: edge shadows
SEEN_CODES = 1e-3  # of the top code in the preview; below, there is no texture to compare


def lay_still(before: Overview, after: Overview) -> bool | None:
    """Whether paper lay still between two scans; None if that cannot be told."""
    if before.preview.shape != after.preview.shape:
        return None
    one, two = _texture(before), _texture(after)
    if one is None or two is None:
        return None
    return bool(np.mean(one * two) > STILL)


def _texture(overview: Overview) -> Floats | None:
    """What is left without shading, rows and columns, cut at some scatters; mean square 1."""
    grey = mean_of_channels(overview.preview)
    rows, columns = (int(side * MARGIN) for side in grey.shape)
    grey = grey[rows : grey.shape[0] - rows, columns : grey.shape[1] - columns]
    if min(grey.shape) < 4 * SMOOTH:
        return None
    level = float(np.median(grey))
    rest = grey - _smooth(grey)
    rest -= np.median(rest, axis=0)
    rest -= np.median(rest, axis=1)[:, None]
    scatter = float(sigma_about_zero(rest.ravel()))
    if scatter <= SEEN_CODES * 0.01 * max(level, 1.0):
        return None
    rest = np.clip(rest, -CUT * scatter, CUT * scatter)
    rest -= rest.mean()
    return np.asarray(rest / np.sqrt(np.mean(rest**2)))


def _smooth(grey: Floats) -> Floats:
    """Mean over a square of blocks around each block, by running sums."""
    half = SMOOTH // 2
    padded = np.pad(grey, half, mode="edge")
    sums = np.pad(padded.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    side = 2 * half + 1
    total = sums[side:, side:] - sums[:-side, side:] - sums[side:, :-side] + sums[:-side, :-side]
    return np.asarray(total / side**2)
