"""Many values of one measure as a row: median, lowest and highest, and where the worst is."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from statistics import median

from scanqa.catalogue import CATALOGUE
from scanqa.model import Channel, Direction, EdgeKind, Measurement, ScanFacts
from scanqa.report.numbers import label, number, place, printed, value_text, with_unit

DIRECTION_WORDS = {"across": "across", "travel": "along travel"}
# Signed measures whose size is what matters, whichever way it points.
BY_SIZE = frozenset({"colour.registration", "geometry.skew", "geometry.orthogonality"})


@dataclass(frozen=True, slots=True)
class Group:
    """Values of one measure that may be put together: same direction, channel, edge and dpi."""

    name: str
    direction: Direction | None
    channel: Channel | None
    edge_kind: EdgeKind | None
    dpi: int | None
    members: tuple[Measurement, ...]

    @property
    def known(self) -> tuple[Measurement, ...]:
        """Members with a value."""
        return tuple(m for m in self.members if m.value is not None)


def groups(measurements: Iterable[Measurement], scans: Sequence[ScanFacts]) -> list[Group]:
    """Put values together; in the order of the catalogue, luma first."""
    dpi = {facts.file: round(facts.dpi[0]) for facts in scans}
    found: dict[tuple[str, str, str, str, int], list[Measurement]] = {}
    for m in measurements:
        key = (m.name, m.direction or "", m.channel or "", m.edge_kind or "", dpi.get(m.scan, 0))
        found.setdefault(key, []).append(m)
    order = {name: at for at, name in enumerate(CATALOGUE)}
    channels = ("", "luma", "red", "green", "blue")
    rows = sorted(
        found.items(),
        key=lambda row: (order[row[0][0]], channels.index(row[0][2]), *row[0][1:2], *row[0][3:]),
    )
    return [
        Group(ms[0].name, ms[0].direction, ms[0].channel, ms[0].edge_kind, key[4] or None, (*ms,))
        for key, ms in rows
    ]


def title(group: Group, *, with_dpi: bool = False, with_kind: bool = True) -> str:
    """What a group is, in words."""
    words = label(group.name)
    if group.direction and not words.endswith(DIRECTION_WORDS[group.direction]):
        words += f" {DIRECTION_WORDS[group.direction]}"
    if group.channel and group.channel != "luma":
        words += f", {group.channel}"
    if group.edge_kind and with_kind:
        words += f", {group.edge_kind} edges"
    if with_dpi and group.dpi:
        words += f", at {group.dpi} dpi"
    return words


def worst(group: Group) -> Measurement | None:
    """The member to worry about, or None where neither end is the worse one."""
    better = CATALOGUE[group.name].better
    known = [(m.value, m) for m in group.known if m.value is not None]
    if not known:
        return None
    if group.name in BY_SIZE:
        return max(known, key=lambda row: abs(row[0]))[1]
    if better == "higher":
        return min(known, key=lambda row: row[0])[1]
    if better == "lower":
        return max(known, key=lambda row: row[0])[1]
    return None


def middle_text(group: Group) -> str:
    """The value, or the median of several."""
    known = group.known
    if not known:
        return "not measurable"
    if len(known) == 1:
        return value_text(known[0])
    row = CATALOGUE[group.name]
    values = [m.value for m in known if m.value is not None]
    bound = any(m.status == "lower-bound" for m in known)
    text = with_unit(number(median(values), row.digits), row.unit)
    return f"at least {text}" if bound else text


def notes(group: Group, marks: dict[str, str]) -> tuple[str, ...]:
    """Lines below the value of `middle_text`: of how many, how far apart, the worst, the reason."""
    known, missing = group.known, len(group.members) - len(group.known)
    lines = []
    if len(known) > 1:
        what = "places" if all(m.at_mm for m in known) else "values"
        span = span_text(group)
        lines.append(f"median of {len(known)} {what}, {span}")
        sigmas = [m.uncertainty for m in known if m.uncertainty]
        if sigmas:
            lines[0] += f", each\u00a0{_plus_minus(group.name, median(sigmas))}"
        if not span.startswith("all") and (found := worst_text(group, marks)):
            lines.append(found)
    if known and missing:
        lines.append(f"{missing} more not measurable")
    if reason := common_reason(group.members):
        lines.append(reason)
    elif len(known) == 1 and known[0].reason:  # words on a good value: how it was come by
        lines.append(known[0].reason)
    return tuple(lines)


def span_text(group: Group) -> str:
    """From the lowest to the highest, or that they are all the same."""
    row = CATALOGUE[group.name]
    values = sorted(m.value for m in group.known if m.value is not None)
    low, high = (number(v, row.digits) for v in (values[0], values[-1]))
    return with_unit(f"all {low}" if low == high else f"{low} to {high}", row.unit)


def worst_text(group: Group, marks: dict[str, str]) -> str:
    """Where the worst of several is."""
    found = worst(group)
    if found is None:
        return ""
    if found.at_mm:
        return f"worst at {place(found.at_mm)}"
    return f"worst in scan {marks[found.scan]}" if found.scan in marks else ""


def common_reason(members: Iterable[Measurement]) -> str:
    """The commonest reason among those that have one."""
    reasons = Counter(m.reason for m in members if m.status != "ok" and m.reason)
    return reasons.most_common(1)[0][0] if reasons else ""


def _plus_minus(name: str, uncertainty: float) -> str:
    text = printed(0.0, uncertainty, name)
    return text[text.index("±") :]
