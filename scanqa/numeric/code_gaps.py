"""How far levels were stretched after digitising, from codes that never or too often occur.

A gain of g > 1 on whole codes leaves a share 1 - 1/g of the codes empty, at even distances; a gain
below 1 puts two codes on one, and a share 1/g - 1 stands out to twice the height. A tone curve does
both in different places. The counts must be smooth otherwise, so each is compared with the median
of its neighbours.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats

NEAR = 5  # codes on each side whose median is taken as usual
EMPTY, DOUBLE = 0.1, 1.6  # against the usual count
FEWEST_COUNTS = 50.0  # usual count below which a gap may be chance
FEWEST_CODES = 20


@dataclass(frozen=True, slots=True)
class Stretch:
    """Gain of the levels, 1 if untouched, with its standard uncertainty."""

    gain: float
    gain_error: float
    empty: int
    doubled: int
    judged: int


def level_stretch(counts: NDArray[np.int_]) -> Stretch | None:
    """Gain from a histogram, or None if too few codes are filled to tell.

    Parameters
    ----------
    counts : (256,)
        Number of samples at each code. The two end codes, where clipping gathers, are left out.
    """
    inner = np.asarray(counts[1:-1], np.float64)
    usual = _usual(inner)
    judged = usual >= FEWEST_COUNTS
    if judged.sum() < FEWEST_CODES:
        return None
    number = int(judged.sum())
    empty = int(np.sum(judged & (inner < EMPTY * usual)))
    doubled = int(np.sum(judged & (inner > DOUBLE * usual)))
    filled = number - empty
    gain = number / (filled + doubled)
    # binomial, both counts; half a code is the resolution of either
    variance = empty * (1 - empty / number) + doubled * (1 - doubled / number) + 0.25
    return Stretch(gain, float(np.sqrt(variance)) / number * gain, empty, doubled, number)


def _usual(counts: Floats) -> Floats:
    """Median of the filled neighbours of each code, itself left out."""
    padded = np.pad(counts, NEAR, mode="edge")
    sides = [k for k in range(2 * NEAR + 1) if k != NEAR]
    near = np.array([padded[k : k + len(counts)] for k in sides])
    filled = np.where(near > 0, near, np.nan)
    some = (near > 0).sum(axis=0) >= 3
    usual = np.zeros(len(counts))
    if some.any():
        usual[some] = np.nanmedian(filled[:, some], axis=0)
    return usual
