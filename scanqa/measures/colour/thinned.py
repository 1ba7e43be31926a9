"""Whether colour is coarser than light in a scan: JPEG of any quality, or colour smoothed.

Red, green and blue are sensed apart, so each has noise of its own, and the finest grain of colour
(Cr, ITU-T T.871) is that of three noises. JPEG halves the dpi of colour and rounds it coarsely,
also where it leaves luma as it was (from a quality of 92 on): then the three share their finest
grain.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats

CR = np.array([0.5, -0.4187, -0.0813])  # ITU-T T.871
GRAIN = 0.04  # squared codes of 255: less is none to judge by
# Share of the colour noise that three noises would make, and squared codes, below which both colour
# is thinned: 0.036 is what rounding three channels to whole codes leaves by itself.
THINNED = ((0.2, 0.1), (0.6, 0.03))
BRIGHT = 60  # per cent of a window that is darker than its paper


def colour_is_thinned(windows: Sequence[NDArray[Any]]) -> bool:
    """Whether the channels share their finest grain on paper.

    Parameters
    ----------
    windows : sequence of (rows, columns, 3)
        Codes about edges on paper.
    """
    found = np.array([_squares(window) for window in windows if min(window.shape[:2]) > 2])
    if not len(found):
        return False
    colour, *channels = np.median(found, axis=0)
    due = float(np.square(CR) @ channels)
    thinned = any(colour < min(share * due, least) for share, least in THINNED)
    return bool(np.mean(channels) > GRAIN and thinned)


def _squares(window: NDArray[Any]) -> list[float]:
    """Mean square of the finest grain of Cr, red, green and blue on the bright part."""
    codes = window * (255.0 / np.iinfo(window.dtype).max)
    sums = codes.sum(axis=-1)
    bright = (sums >= np.percentile(sums, BRIGHT))[1:, 1:]
    planes = [codes @ CR, *np.moveaxis(codes, -1, 0)]
    return [float(np.mean(np.square(_finest(plane)[bright]))) for plane in planes]


def _finest(plane: Floats) -> Floats:
    """Finest diagonal wavelet (Haar): the variance of white noise, nought of what is smooth."""
    return np.asarray((plane[1:, 1:] - plane[1:, :-1] - plane[:-1, 1:] + plane[:-1, :-1]) / 2)
