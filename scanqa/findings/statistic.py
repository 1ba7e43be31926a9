"""Many sites, one number, against a limit: the few summaries that limits are put on."""

from __future__ import annotations

import operator
import statistics
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from scanqa.model import MM_PER_INCH, Direction, Measurement, Results, ScanFacts

OPERATORS: dict[str, Callable[[float, float], bool]] = {
    ">=": operator.ge,
    ">": operator.gt,
    "<=": operator.le,
    "<": operator.lt,
}


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


@dataclass(frozen=True, slots=True)
class _Value:
    """A measurement that has a value, or what a scan's own dpi makes of it."""

    value: float
    uncertainty: float | None
    unit: str
    direction: Direction | None
    at_least: bool


def holds(found: Summary, sign: str, limit: float) -> bool | None:
    """Whether a number keeps a limit; None if it is a lower bound that cannot tell."""
    kept = OPERATORS[sign](found.value, limit)
    if found.at_least and kept != (sign in (">=", ">")):
        return None
    return kept


# ------------------------------------------------------------------------- many to one


def _one(values: Sequence[_Value], key: Callable[[float], float]) -> Summary:
    """The one that is largest by `key`."""
    chosen = max(values, key=lambda v: key(v.value))
    size = key(chosen.value) if key is abs else chosen.value
    return Summary(size, chosen.uncertainty, chosen.unit, len(values), chosen.at_least)


def _median(values: Sequence[_Value]) -> Summary:
    numbers = [v.value for v in values]
    middle = statistics.median(numbers)
    if len(numbers) > 1:
        # Standard error of a median of scattered values: 1.2533 s / sqrt(n) (normal scatter).
        spread: float | None = 1.2533 * statistics.stdev(numbers) / len(numbers) ** 0.5
    else:
        spread = values[0].uncertainty
    bounded = sum(v.at_least for v in values) * 2 > len(values)
    return Summary(middle, spread, values[0].unit, len(numbers), bounded)


def _per_direction(values: Sequence[_Value]) -> list[Summary]:
    groups = (
        [v for v in values if v.direction == direction] for direction in ("across", "travel", None)
    )
    return [_median(group) for group in groups if group]


STATISTICS: dict[str, Callable[[Sequence[_Value]], Summary]] = {
    "median": _median,
    "lowest": lambda values: _one(values, lambda value: -value),
    "highest": lambda values: _one(values, lambda value: value),
    "largest magnitude": lambda values: _one(values, abs),
    "median of the worse direction": lambda values: min(
        _per_direction(values), key=lambda s: s.value
    ),
    "median of the worse direction, upwards": lambda values: max(
        _per_direction(values), key=lambda s: s.value
    ),
}


# ------------------------------------------------- what a scan's own dpi makes of a value


def _departure_percent(value: float, dpi: float) -> float:
    return 100 * (value / dpi - 1)


def _share_percent(value: float, dpi: float) -> float:
    return 100 * value / (dpi / MM_PER_INCH / 2)


RELATIVE: dict[str, Callable[[float, float], float]] = {
    "departure from the stated dpi": _departure_percent,
    "share of half the sampling": _share_percent,
}


def _relative(
    m: Measurement, scans: Sequence[ScanFacts], change: Callable[[float, float], float]
) -> _Value | None:
    """A value changed by the dpi that the file of its scan states, in %; None without one."""
    facts = next((f for f in scans if f.file == m.scan), None)
    if m.value is None or facts is None or facts.dpi_source != "file":
        return None
    down = m.direction == "travel" or m.name.endswith("_travel")
    dpi = facts.dpi[1 if down else 0]
    spread = None
    if m.uncertainty is not None:
        spread = change(m.value + m.uncertainty, dpi) - change(m.value, dpi)
    return _Value(change(m.value, dpi), spread, "%", m.direction, m.status == "lower-bound")


def matching(results: Results, measure: str) -> list[Measurement]:
    """Measurements of a name, or of a family (``geometry.dpi`` takes ``geometry.dpi_across``)."""
    return [
        m
        for m in results.measurements
        if m.value is not None and (m.name == measure or m.name.startswith(measure + "_"))
    ]


def _luma_if_any(found: list[Measurement]) -> list[Measurement]:
    """What the eye sees, where single channels were measured besides."""
    luma = [m for m in found if m.channel == "luma"]
    return luma or found


def summarise(
    results: Results,
    measure: str,
    statistic: str,
    *,
    relative: str = "",
    scans: Sequence[ScanFacts] = (),
) -> Summary | None:
    """One number for a measure by a named statistic, or None when nothing was measured.

    Parameters
    ----------
    results : Results
        Everything measured.
    measure, statistic : str
        A measure or family; one of `STATISTICS`.
    relative : str
        One of `RELATIVE`: each value is first set against the dpi that its file states.
    scans : sequence of ScanFacts
        For `relative`; scans whose files state no (believable) dpi are left out.

    Raises
    ------
    KeyError
        If a statistic or a relation has no such name.
    """
    found = _luma_if_any(matching(results, measure))
    if relative:
        changed = (_relative(m, scans, RELATIVE[relative]) for m in found)
        values = [value for value in changed if value is not None]
    else:
        values = [
            _Value(m.value, m.uncertainty, m.unit, m.direction, m.status == "lower-bound")
            for m in found
            if m.value is not None
        ]
    return STATISTICS[statistic](values) if values else None
