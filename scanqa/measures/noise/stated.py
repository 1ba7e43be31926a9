"""How noise is stated: the median over windows with its error, or why it is not known."""

from __future__ import annotations

import math

from scanqa.model import (
    Channel,
    Floats,
    Measurement,
    Placement,
    Reason,
    Results,
    not_measurable,
)
from scanqa.numeric.scatter import MEDIAN_TO_MEAN, OF_INTERVAL


def error_of_median(values: Floats) -> float:
    """Standard error of the median of windows, (n,), from their standard deviation; 0 for one.

    Few windows know their own scatter badly: 1.96 of it hold 95 % all the same (Student).
    """
    from scipy.special import stdtrit

    if len(values) < 2:
        return 0.0
    few = float(stdtrit(len(values) - 1, 0.975)) / OF_INTERVAL
    return few * MEDIAN_TO_MEAN * float(values.std(ddof=1)) / math.sqrt(len(values))


def missing(placement: Placement, why: Reason, *names: str, channel: Channel = "luma") -> Results:
    """Measures of a scan that cannot be told."""
    scan = placement.scan.name
    return Results(tuple(not_measurable(name, why, scan, channel=channel) for name in names))


def of_channel(
    name: str, value: float, error: float, placement: Placement, channel: Channel
) -> Measurement:
    """A value of one channel."""
    return Measurement(name, value, error, scan=placement.scan.name, channel=channel)
