"""The fine unevenness from column to column that every row of a scan has in common."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from scanqa.model import Measurement, Placement, Reason, Streak, not_measurable
from scanqa.numeric.line_fit import local_pattern
from scanqa.reading.profiles import Profiles

NAME = "streaks.column_pattern"
REACH_MM = 2.5  # the column pattern is what is finer than about this
FEWEST_COLUMNS = 64


def no_pattern(placement: Placement, why: Reason) -> Measurement:
    """The column pattern of a scan that does not show it."""
    return not_measurable(NAME, why, placement.scan.name, direction="across", channel="luma")


def column_pattern(placement: Placement, bed: Profiles, streaks: Sequence[Streak]) -> Measurement:
    """Rms of what odd and even bands have in common, % of luma, streaks left out.

    The noise of a column mean differs between the two halves, so the mean product of their
    residuals is the variance of the pattern alone.
    """
    bands = bed.stack.shape[1]
    reach = max(round(REACH_MM / bed.pitch_mm), 8)
    if bands < 2 or bed.stack.shape[2] < 4 * reach:
        why = "the scan is too small to tell pattern from noise"
        return no_pattern(placement, Reason("too-small", why))
    fine, gain = local_pattern(bed.stack[0], reach)
    x_mm = bed.at_mm(np.arange(fine.shape[1]) + float(reach))
    keep = np.ones(x_mm.size, bool)
    for streak in streaks:
        keep &= np.abs(x_mm - streak.at_mm) > 1.5 * streak.width_um / 1000 + 2 * bed.pitch_mm
    if np.count_nonzero(keep) < FEWEST_COLUMNS:
        return no_pattern(placement, Reason("too-few", "streaks cover the whole width"))
    halves = [
        np.average(fine[start::2], axis=0, weights=bed.weights[start::2])[keep] / gain
        for start in (0, 1)
    ]
    product = halves[0] * halves[1]
    variance = max(float(product.mean()), 0.0)
    error = float(product.std()) / math.sqrt(product.size)
    rms = math.sqrt(variance)
    return Measurement(
        NAME,
        100 * rms,
        # √(v + u) − √v: u/2√v for a clear pattern, √u where there is none
        uncertainty=100 * (math.sqrt(variance + error) - rms),
        scan=placement.scan.name,
        direction="across",
        channel="luma",
    )
