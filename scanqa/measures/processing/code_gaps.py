"""How far levels were stretched after digitising, from codes that never or too often occur.

A gain of g > 1 on whole codes leaves a share 1 - 1/g of the codes empty, at even distances; a gain
below 1 puts two codes on one, and a share 1/g - 1 stands out to twice the height. A tone curve does
both in different places. Each code is compared with the nearest filled ones on both sides, so that
the flanks of a narrow histogram are neither gaps nor crests; a code is no gap where these fall so
steeply toward it that little was to be expected there: a valley between two greys of a page.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats

NEAR = 4  # codes to each side among which a filled one must be
EMPTY = 0.1  # of the smaller neighbour
DOUBLE = 1.6  # times the larger neighbour
FEWEST_COUNTS = 50.0  # count below which a code is not filled, and a gap may be chance
FEWEST_CODES = 40


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
    left, right = _filled_before(inner), _filled_before(inner[::-1])[::-1]
    judged = (left > 0) & (right > 0)
    if judged.sum() < FEWEST_CODES:
        return None
    number = int(judged.sum())
    expected = np.minimum(_foretold(inner), _foretold(inner[::-1])[::-1])
    hidden = expected < FEWEST_COUNTS
    empty = int(np.sum(judged & ~hidden & (inner < EMPTY * expected)))
    doubled = int(np.sum(judged & (inner > DOUBLE * np.maximum(left, right))))
    filled = number - empty
    gain = number / (filled + doubled)
    # binomial, both counts; half a code is the resolution of either
    variance = empty * (1 - empty / number) + doubled * (1 - doubled / number) + 0.25
    return Stretch(gain, float(np.sqrt(variance)) / number * gain, empty, doubled, number)


def _foretold(counts: Floats) -> Floats:
    """Count of each code by the nearest two filled ones before it, where they fall (as exp)."""
    place = np.arange(len(counts))
    filled = np.where(counts >= FEWEST_COUNTS, place, -1)
    nearest = np.maximum.accumulate(np.concatenate([[-1], filled[:-1]]))
    second = np.where(nearest >= 0, nearest[nearest], -1)
    near = (nearest >= 0) & (place - nearest <= NEAR)
    both = near & (second >= 0) & (nearest - second <= NEAR)
    logs = np.log(np.maximum(counts, 1.0))
    fall = np.where(both, (logs[nearest] - logs[second]) / np.maximum(nearest - second, 1), 0.0)
    foretold = np.exp(logs[nearest] + np.minimum(fall, 0.0) * (place - nearest))
    return np.where(near, foretold, 0.0)


def _filled_before(counts: Floats) -> Floats:
    """Count of the nearest filled code before each, 0 if none is near."""
    before = np.zeros(len(counts))
    for step in range(NEAR, 0, -1):
        shifted = np.concatenate([np.zeros(step), counts[:-step]])
        before = np.where(shifted >= FEWEST_COUNTS, shifted, before)
    return before
