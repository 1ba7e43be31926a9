"""Many values of one measure become one number, here and nowhere else.

``summarise`` puts together what may be put together: values of one name, direction, channel and
edge kind, and of one dpi where the measure depends on it. Findings, uses, legibility, report,
records, news and comparison read the `Summary` that it returns.

The number is the median over the members. Its doubt:

- *Random part*: the larger of the median's own standard error, 1.2533 s / √n for normal scatter
  (the ratio √(π/2) of the errors of median and mean), and the typical stated one over √n.
- *Shared parts* do not shrink: of one origin they are taken whole (median of their sizes, times
  the share of members that have it); of several origins they add in quadrature.
- *Bounds*: the median is monotone in every member, so the median of all lower ends and that of
  all upper ends enclose it (``at-least`` has no upper end, ``at-most`` no lower). Where both ends
  meet the value the status is ``ok``; a range no wider than the random part is added to it (as an
  even distribution, its width over √12); else the status says which end is open, and the number of
  a bound is the end that is not.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from scanqa.catalogue import CATALOGUE, Definition
from scanqa.model import Key, Measurement, ReasonKind, ScanFacts, Shared, Status

MEDIAN_OVER_MEAN = math.sqrt(math.pi / 2)  # standard error, normal scatter


@dataclass(frozen=True, slots=True)
class Summary:
    """One number out of the values of one key.

    Attributes
    ----------
    value : float or None
        The median; None if no member has a value.
    random : float or None
        Random part of its standard uncertainty; None if nothing is known of it.
    shared : tuple of Shared
        Parts that it has in common with other values, one for each kind and origin.
    status, low, high :
        As for `scanqa.model.Measurement`.
    members : tuple of Measurement
        All of them, those without a value too.
    """

    key: Key
    value: float | None
    random: float | None
    shared: tuple[Shared, ...]
    status: Status
    low: float | None
    high: float | None
    members: tuple[Measurement, ...]

    @property
    def definition(self) -> Definition:
        """The measure's row of the catalogue."""
        return CATALOGUE[self.key.name]

    @property
    def unit(self) -> str:
        """Unit of the value."""
        return self.definition.unit

    @property
    def known(self) -> tuple[Measurement, ...]:
        """Members that have a value."""
        return tuple(m for m in self.members if m.value is not None)

    @property
    def count(self) -> int:
        """How many values went in."""
        return len(self.known)

    @property
    def uncertainty(self) -> float | None:
        """Standard uncertainty, shared parts included."""
        if self.random is None and not self.shared:
            return None
        return math.hypot(self.random or 0.0, *(part.size for part in self.shared))

    @property
    def span(self) -> tuple[float, float] | None:
        """Lowest and highest value."""
        numbers = [value_of(m) for m in self.known]
        return (min(numbers), max(numbers)) if numbers else None

    @property
    def worst(self) -> Measurement | None:
        """The member to worry about, or None where neither end is the worse one."""
        return worst(self.known, self.definition)

    @property
    def reasons(self) -> tuple[tuple[ReasonKind, str], ...]:
        """Kinds and words of the members' reasons, each once, the most frequent first."""
        said = [(m.reason_kind, m.reason) for m in self.members if m.reason and m.reason_kind]
        return tuple(sorted(dict.fromkeys(said), key=lambda each: -said.count(each)))


def summarise(
    measures: Iterable[Measurement], scans: Sequence[ScanFacts] = ()
) -> tuple[Summary, ...]:
    """One `Summary` for each key, in order of first appearance.

    Parameters
    ----------
    measures : iterable of Measurement
        Any, with and without values.
    scans : sequence of ScanFacts
        The scans that they come from, for their dpi. What was put together from several scans
        counts for the coarsest of them.
    """
    sampled = {facts.file: round(facts.dpi[0]) if facts.dpi else 0 for facts in scans}
    usual = min(filter(None, sampled.values()), default=0)
    groups: dict[Key, list[Measurement]] = {}
    for m in measures:
        dpi = sampled.get(m.scan, usual) if CATALOGUE[m.name].per != "bed" else 0
        key = Key(m.name, m.direction or "", m.channel or "", m.edge_kind or "", dpi)
        groups.setdefault(key, []).append(m)
    return tuple(_summary(key, tuple(group)) for key, group in groups.items())


def joined(summaries: Sequence[Summary]) -> Summary:
    """One summary of the members of several, where what tells them apart does not matter.

    Its key is empty (or 0) in the fields in which they differ.
    """
    keys = [summary.key for summary in summaries]
    key = Key(
        keys[0].name,
        _alike([key.direction for key in keys]),
        _alike([key.channel for key in keys]),
        _alike([key.edge_kind for key in keys]),
        keys[0].dpi if len({key.dpi for key in keys}) == 1 else 0,
    )
    return _summary(key, tuple(m for s in summaries for m in s.members))


def _alike(words: Sequence[str]) -> str:
    return words[0] if len(set(words)) == 1 else ""


def value_of(m: Measurement | Summary) -> float:
    """Value of a measurement that has one."""
    assert m.value is not None
    return m.value


def worst(members: Sequence[Measurement], definition: Definition) -> Measurement | None:
    """The member with a value to worry about, or None where neither end is the worse one."""
    if not members:
        return None
    if definition.by_size:
        return max(members, key=lambda m: abs(value_of(m)))
    if definition.better == "higher":
        return min(members, key=value_of)
    if definition.better == "lower":
        return max(members, key=value_of)
    return None


def ends(m: Measurement | Summary) -> tuple[float, float]:
    """Lowest and highest possible value of a measurement that has one; infinite where open."""
    value = value_of(m)
    if m.status == "between" and m.low is not None and m.high is not None:
        return m.low, m.high
    low = -math.inf if m.status == "at-most" else value
    high = math.inf if m.status == "at-least" else value
    return low, high


def _summary(key: Key, members: tuple[Measurement, ...]) -> Summary:
    known = [m for m in members if m.value is not None]
    if not known:
        return Summary(key, None, None, (), "not-measurable", None, None, members)
    value = statistics.median(map(value_of, known))
    random = _random(known)
    low = statistics.median(ends(m)[0] for m in known)
    high = statistics.median(ends(m)[1] for m in known)
    status = _status(low, value, high)
    if status == "not-measurable":
        return Summary(key, None, None, (), status, None, None, members)
    if status in ("at-least", "at-most"):  # the end that is known, which others may have moved
        value = low if status == "at-least" else high
    if status == "between" and random is not None and high - low <= random:
        random, status = math.hypot(random, (high - low) / math.sqrt(12)), "ok"
    between = status == "between"
    return Summary(
        key, value, random, _shared(known), status, low if between else None,
        high if between else None, members,
    )  # fmt: skip


def _status(low: float, value: float, high: float) -> Status:
    if low == value == high:
        return "ok"
    if math.isinf(high) and math.isinf(low):
        return "not-measurable"  # as many bounds from below as from above: nothing is known
    if math.isinf(high):
        return "at-least"
    if math.isinf(low):
        return "at-most"
    return "between"


def _random(known: Sequence[Measurement]) -> float | None:
    n = len(known)
    stated = [u for m in known if (u := m.random) is not None]
    if n == 1:
        return stated[0] if stated else None
    spread = MEDIAN_OVER_MEAN * statistics.stdev(map(value_of, known)) / math.sqrt(n)
    typical = statistics.median(stated) / math.sqrt(n) if stated else 0.0
    return max(spread, typical)


def _shared(known: Sequence[Measurement]) -> tuple[Shared, ...]:
    sizes: dict[tuple[str, str], list[Shared]] = {}
    for m in known:
        for part in m.shared:
            sizes.setdefault((part.kind, part.of), []).append(part)
    return tuple(
        Shared(
            parts[0].kind,
            parts[0].of,
            statistics.median(part.size for part in parts) * len(parts) / len(known),
        )
        for parts in sizes.values()
    )
