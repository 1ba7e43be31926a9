"""Many sites, one number: the few summaries that limits are put on."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scanqa.model import Measurement, Results


@dataclass(frozen=True, slots=True)
class Summary:
    """One number out of many measurements.

    Attributes
    ----------
    uncertainty : float or None
        Standard uncertainty of the measurement that decided, or of the median.
    count : int
        How many measurements went in.
    at_least : bool
        Whether the number is only a lower bound (the printed edge limits, for instance).
    """

    value: float
    uncertainty: float | None
    unit: str
    count: int
    at_least: bool


def _one(measurements: Sequence[Measurement], key: Callable[[float], float]) -> Summary:
    """The measurement whose value is largest by `key`."""
    chosen = max(measurements, key=lambda m: key(m.value or 0.0))
    return Summary(
        key(chosen.value or 0.0) if key is abs else (chosen.value or 0.0),
        chosen.uncertainty,
        chosen.unit,
        len(measurements),
        chosen.status == "lower-bound",
    )


def _median(measurements: Sequence[Measurement]) -> Summary:
    values = [m.value for m in measurements if m.value is not None]
    middle = statistics.median(values)
    if len(values) > 1:
        # Standard error of a median of scattered values: 1.2533 s / sqrt(n) (normal scatter).
        spread: float | None = 1.2533 * statistics.stdev(values) / len(values) ** 0.5
    else:
        spread = measurements[0].uncertainty
    bounded = sum(m.status == "lower-bound" for m in measurements) * 2 > len(measurements)
    return Summary(middle, spread, measurements[0].unit, len(values), bounded)


def _per_direction(measurements: Sequence[Measurement]) -> list[Summary]:
    groups = (
        [m for m in measurements if m.direction == direction]
        for direction in ("across", "travel", None)
    )
    return [_median(group) for group in groups if group]


def _worse(measurements: Sequence[Measurement]) -> Summary:
    return min(_per_direction(measurements), key=lambda s: s.value)


def _worse_upwards(measurements: Sequence[Measurement]) -> Summary:
    return max(_per_direction(measurements), key=lambda s: s.value)


STATISTICS: dict[str, Callable[[Sequence[Measurement]], Summary]] = {
    "median": _median,
    "lowest": lambda ms: _one(ms, lambda value: -value),
    "highest": lambda ms: _one(ms, lambda value: value),
    "largest magnitude": lambda ms: _one(ms, abs),
    "median of the worse direction": _worse,
    "median of the worse direction, upwards": _worse_upwards,
}


def matching(results: Results, measure: str) -> list[Measurement]:
    """Measurements of a name, or of a family (``geometry.dpi`` takes ``geometry.dpi_across``)."""
    return [
        m
        for m in results.measurements
        if m.value is not None and (m.name == measure or m.name.startswith(measure + "_"))
    ]


def summarise(results: Results, measure: str, statistic: str) -> Summary | None:
    """One number for a measure by a named statistic, or None when nothing was measured.

    Raises
    ------
    KeyError
        If the statistic has no such name.
    """
    found = matching(results, measure)
    return STATISTICS[statistic](found) if found else None
