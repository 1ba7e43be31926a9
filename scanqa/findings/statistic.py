"""From summaries to the one number that a limit is held against.

``pick`` says which summaries stand for the scanner: luma where there is one, since that is what
the eye sees, and of a measure that depends on the dpi those of the finest. ``figure`` makes one
number of them by a named statistic: medians are those of `scanqa.summary`, with their bounds;
lowest and highest are single values, each with its own. ``holds`` says whether a number keeps a
limit, so far as its bounds can tell.
"""

from __future__ import annotations

import math
import operator
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

from scanqa.catalogue import rows_of
from scanqa.model import (
    DIRECTIONS,
    LIKE_DPI,
    MM_PER_INCH,
    Measurement,
    ReasonKind,
    ScanFacts,
    Status,
)
from scanqa.summary import Summary, ends, joined, summarise, value_of

OPERATORS: dict[str, Callable[[float, float], bool]] = {
    ">=": operator.ge,
    ">": operator.gt,
    "<=": operator.le,
    "<": operator.lt,
}


@dataclass(frozen=True, slots=True)
class Figure:
    """One number out of many measurements.

    Attributes
    ----------
    uncertainty : float or None
        Standard uncertainty of the measurement that decided, or of the median.
    least, most : float
        What it may be at least and at most; infinite where that is not known.
    count : int
        How many measurements it is chosen from.
    why : str or None
        Kind of the reason for which it is only a bound.
    """

    value: float
    uncertainty: float | None
    least: float
    most: float
    count: int
    why: ReasonKind | None = None

    @property
    def bound(self) -> Status:
        """Its status."""
        if self.least == self.value == self.most:
            return "ok"
        if math.isinf(self.most):
            return "at-least"
        return "at-most" if math.isinf(self.least) else "between"

    @property
    def range(self) -> tuple[float, float] | None:
        """Both ends of a number that lies between them."""
        return (self.least, self.most) if self.bound == "between" else None


def holds(found: Figure, sign: str, limit: float) -> bool | None:
    """Whether a number keeps a limit; None if its bounds cannot tell."""
    least, most = (OPERATORS[sign](end, limit) for end in (found.least, found.most))
    return least if least == most else None


# ------------------------------------------------------------------------- which summaries


def known(summaries: Sequence[Summary], measure: str) -> tuple[Summary, ...]:
    """Summaries with a value of a measure or of a family, luma where there is one.

    Edges that lie there by chance count where there are no others.

    A family is named like its members without their last part: ``geometry.dpi`` takes
    ``geometry.dpi_across``.
    """
    names = {row.name for row in rows_of(measure)}
    found = [s for s in summaries if s.value is not None and s.key.name in names]
    luma = [s for s in found if s.key.channel == "luma"] or found
    made_to_measure = [s for s in luma if s.key.edge_kind != "found"]
    return tuple(made_to_measure or luma)


def pick(summaries: Sequence[Summary], measure: str) -> tuple[Summary, ...]:
    """Those that stand for the scanner: of what depends on the dpi, the finest that is known.

    A measure that depends on the dpi says at a coarser one what that dpi can hold, not what the
    scanner can; a mean of both says nothing.
    """
    found = known(summaries, measure)
    return at_dpi(found, max((s.key.dpi for s in found), default=0))


def at_dpi(found: Sequence[Summary], dpi: int) -> tuple[Summary, ...]:
    """Summaries of scans at a dpi; 0 for what does not depend on it."""
    return tuple(s for s in found if LIKE_DPI * dpi <= s.key.dpi <= dpi / LIKE_DPI)


def members(found: Sequence[Summary]) -> tuple[Measurement, ...]:
    """All measurements with a value behind summaries."""
    return tuple(m for s in found for m in s.known)


def quoted(found: Sequence[Measurement]) -> tuple[str, ...]:
    """What measurements say of themselves, each once."""
    return tuple(dict.fromkeys(m.reason for m in found if m.reason))


# ------------------------------------------------------------------------- many to one


def _as_figure(chosen: Measurement | Summary, count: int) -> Figure:
    why = None
    if chosen.status != "ok":
        behind = chosen.known if isinstance(chosen, Summary) else (chosen,)
        kinds = [m.reason_kind for m in behind if m.status != "ok"]
        why = max(kinds, key=kinds.count, default=None)
    return Figure(value_of(chosen), chosen.uncertainty, *ends(chosen), count, why)


def _median(found: Sequence[Summary]) -> Figure | None:
    whole = joined(found)
    return None if whole.value is None else _as_figure(whole, whole.count)


def _lowest(found: Sequence[Summary]) -> Figure:
    single = members(found)
    return _as_figure(min(single, key=value_of), len(single))


def _highest(found: Sequence[Summary]) -> Figure:
    single = members(found)
    return _as_figure(max(single, key=value_of), len(single))


def _largest_magnitude(found: Sequence[Summary]) -> Figure | None:
    single = members(found)
    largest = _as_figure(max(single, key=lambda m: abs(value_of(m))), len(single))
    least, most = sorted((abs(largest.least), abs(largest.most)))
    if largest.least < 0 < largest.most:
        least = 0.0
    if least == 0.0 and math.isinf(most):  # a bound that leaves both signs open says nothing
        return None
    return replace(largest, value=abs(largest.value), least=least, most=most)


def _per_direction(found: Sequence[Summary]) -> Iterator[Figure]:
    for direction in (*DIRECTIONS, ""):
        middle = of_all_edges([s for s in found if s.key.direction == direction])
        if middle is not None:
            yield middle


def of_all_edges(found: Sequence[Summary]) -> Figure | None:
    """What all kinds of edge together tell of one quantity, or None of nothing.

    Each kind has its own median and so its own bounds: the many printed edges must not outvote the
    few cut ones. Bounds are taken together, the largest lower and the smallest upper one; a value
    stands where the bounds allow it. Where they contradict each other by more than twice their
    uncertainty, all edges count alike.

    Parameters
    ----------
    found : sequence of Summary
        Of one measure and direction.
    """
    kinds = dict.fromkeys(s.key.edge_kind for s in found)
    of_kind = {kind: _median(_of_kind(found, kind)) for kind in kinds}
    middles = [middle for middle in of_kind.values() if middle is not None]
    if len(middles) < 2:
        return middles[0] if middles else None
    low = max(middles, key=lambda each: each.least)
    high = min(middles, key=lambda each: each.most)
    slack = 2 * math.hypot(low.uncertainty or 0.0, high.uncertainty or 0.0)
    if low.least > high.most + slack:
        return _median(found)
    sure = {kind for kind, middle in of_kind.items() if middle and middle.bound == "ok"}
    if sure:
        return _median([s for s in found if s.key.edge_kind in sure])
    doubt = max((each.uncertainty or 0.0 for each in (low, high)), default=None)
    count = sum(each.count for each in middles)
    if math.isinf(high.most) or math.isinf(low.least):
        end = low if math.isinf(high.most) else high
        return replace(end, count=count)
    most = max(high.most, low.least)
    value = min(max(high.value, low.least), most)
    return Figure(value, doubt, low.least, most, count, high.why)


def _of_kind(found: Sequence[Summary], kind: str) -> list[Summary]:
    return [s for s in found if s.key.edge_kind == kind]


STATISTICS: dict[str, Callable[[Sequence[Summary]], Figure | None]] = {
    "median": _median,
    "lowest": _lowest,
    "highest": _highest,
    "largest magnitude": _largest_magnitude,
    "median of the worse direction": lambda found: min(
        _per_direction(found), key=lambda f: f.value, default=None
    ),
    "median of the worse direction, upwards": lambda found: max(
        _per_direction(found), key=lambda f: f.value, default=None
    ),
}


def figure(
    summaries: Sequence[Summary],
    measure: str,
    statistic: str,
    *,
    relative: str = "",
    scans: Sequence[ScanFacts] = (),
) -> Figure | None:
    """One number for a measure by a named statistic, or None when nothing is known of it.

    Parameters
    ----------
    summaries : sequence of Summary
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
    found = pick(summaries, measure)
    if relative:
        changed = (_against_dpi(m, scans, RELATIVE[relative]) for m in members(found))
        found = summarise([m for m in changed if m is not None], scans)
    return STATISTICS[statistic](found) if found else None


# ------------------------------------------------- what a scan's own dpi makes of a value


def _departure_percent(value: float, dpi: float) -> float:
    return 100 * (value / dpi - 1)


def _share_percent(value: float, dpi: float) -> float:
    return 100 * value / (dpi / MM_PER_INCH / 2)


RELATIVE: dict[str, Callable[[float, float], float]] = {
    "departure from the stated dpi": _departure_percent,
    "share of half the sampling": _share_percent,
}


def _against_dpi(
    m: Measurement, scans: Sequence[ScanFacts], change: Callable[[float, float], float]
) -> Measurement | None:
    """A value changed by the dpi that the file of its scan states, in %; None without one."""
    facts = next((f for f in scans if f.file == m.scan), None)
    if facts is None or facts.dpi is None or facts.dpi_source != "file":
        return None
    down = m.direction == "travel" or m.name.endswith("_travel")
    dpi, old = facts.dpi[1 if down else 0], value_of(m)
    value = change(old, dpi)

    def step(size: float) -> float:  # changes are linear in the value
        return change(old + size, dpi) - value

    return replace(
        m,
        value=value,
        uncertainty=None if m.uncertainty is None else step(m.uncertainty),
        low=None if m.low is None else change(m.low, dpi),
        high=None if m.high is None else change(m.high, dpi),
        shared=tuple(replace(part, size=step(part.size)) for part in m.shared),
        unit="%",
    )
