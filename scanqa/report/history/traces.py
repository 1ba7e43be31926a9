"""Small multiples: one measure over the checks, with what is normal, what was done, what moved."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime

from scanqa.report.draw.figures import Drawing
from scanqa.report.draw.svg import drawing, element, line, rect, short, text
from scanqa.words.numbers import MINUS

WIDTH, HEIGHT = 340.0, 158.0
LEFT, TOP, RIGHT, BELOW = (
    52.0,
    18.0,
    10.0,
    22.0,
)  # px about the axes, always the same
MANY = 80  # checks, from which on dots are small and without their doubt
STEPS = (1, 2, 2.5, 5, 10)


@dataclass(frozen=True, slots=True)
class Trace:
    """A measure over time.

    Attributes
    ----------
    dates : tuple of str
        ISO 8601.
    normal : (low, high) or None
        Band of normal scatter.
    events : tuple of (date, mark)
        What was done, each with its letter.
    changed : tuple of int
        Checks that are off the normal; drawn as squares.
    trend : ((date, value), (date, value)) or None
        Ends of a straight trend.
    span : (first, last)
        The time shown: the same for all measures of a scanner.
    """

    title: str
    caption: str
    alt: str
    state: str
    dates: tuple[str, ...]
    values: tuple[float, ...]
    uncertainties: tuple[float | None, ...]
    normal: tuple[float, float] | None
    events: tuple[tuple[str, str], ...]
    changed: tuple[int, ...]
    trend: tuple[tuple[str, float], tuple[str, float]] | None
    limit: float | None
    span: tuple[str, str]


@dataclass(frozen=True, slots=True)
class _Axes:
    """Days and values to pixels."""

    first: float
    last: float
    low: float
    high: float

    def x(self, day: float) -> float:
        """Pixel of a day."""
        share = (day - self.first) / (self.last - self.first)
        return LEFT + share * (WIDTH - LEFT - RIGHT)

    def y(self, value: float) -> float:
        """Pixel of a value."""
        share = (value - self.low) / (self.high - self.low)
        return TOP + (1 - share) * (HEIGHT - TOP - BELOW)


def draw_trace(trace: Trace) -> Drawing:
    """Draw a small multiple."""
    axes = _axes(trace)
    parts = [*_frame(axes), *_marks(trace, axes), *_checks(trace, axes)]
    return Drawing(drawing(WIDTH, HEIGHT, *parts), "")


def _axes(trace: Trace) -> _Axes:
    first, last = map(_day, trace.span)
    room = max(0.03 * (last - first), 0.5)
    errors = [u or 0.0 for u in trace.uncertainties] if len(trace.values) <= MANY else []
    spread = [*errors, *[0.0] * (len(trace.values) - len(errors))]
    ends = [v + s * u for v, u in zip(trace.values, spread, strict=True) for s in (-1, 1)]
    ends += [*(trace.normal or ()), *([trace.limit] if trace.limit is not None else [])]
    low, high = min(ends), max(ends)
    if high - low <= 1e-12 * max(abs(high), 1.0):
        low, high = low - max(abs(low) * 0.05, 0.5), high + max(abs(high) * 0.05, 0.5)
    margin = 0.06 * (high - low)
    return _Axes(first - room, last + room, low - margin, high + margin)


def _frame(axes: _Axes) -> list[str]:
    """Rules at round values, with their numbers; months below."""
    parts = []
    step = _step((axes.high - axes.low) / 3)
    digits = max(0, -math.floor(math.log10(step) + 1e-9))
    digits += step * 10**digits % 1 > 1e-6  # 2.5 needs one more
    for n in range(math.ceil(axes.low / step), math.floor(axes.high / step) + 1):
        y = axes.y(n * step)
        words = f"{n * step:.{digits}f}".replace("-", MINUS)
        parts.append(line(LEFT, y, WIDTH - RIGHT, y, "grid"))
        parts.append(text(words, LEFT - 5, y + 4, text_anchor="end", class_="note"))
    base = HEIGHT - BELOW
    parts.append(line(LEFT, base, WIDTH - RIGHT, base, "scale"))
    for day, words in _month_ticks(axes.first, axes.last):
        x = axes.x(day)
        parts.append(line(x, base, x, base + 4, "scale"))
        at = min(max(x, LEFT + 22), WIDTH - RIGHT - 24)
        parts.append(text(words, at, base + 16, text_anchor="middle", class_="note"))
    return parts


def _marks(trace: Trace, axes: _Axes) -> list[str]:
    """The normal, a limit, what was done, a trend."""
    parts = []
    if trace.normal is not None:
        low, high = (axes.y(v) for v in trace.normal)
        parts.append(rect(LEFT, high, WIDTH - LEFT - RIGHT, low - high, "normal"))
    if trace.limit is not None:
        y = axes.y(trace.limit)
        parts.append(line(LEFT, y, WIDTH - RIGHT, y, "limit-line"))
    for at, mark in trace.events:
        x = axes.x(_day(at))
        parts.append(line(x, TOP, x, HEIGHT - BELOW, "event"))
        parts.append(text(mark, x, TOP - 5, text_anchor="middle", class_="mark"))
    if trace.trend is not None:
        (begin, low), (end, high) = trace.trend
        ends = (axes.x(_day(begin)), axes.y(low), axes.x(_day(end)), axes.y(high))
        parts.append(line(*ends, "trend"))
    return parts


def _checks(trace: Trace, axes: _Axes) -> list[str]:
    """A dot for each check, a square where it is off the normal, with its doubt."""
    points = [(axes.x(_day(d)), axes.y(v)) for d, v in zip(trace.dates, trace.values, strict=True)]
    path = "L".join(f"{short(x)} {short(y)}" for x, y in points)
    parts = [element("path", d=f"M{path}", class_="trace")]
    many = len(points) > MANY
    radius = 1.4 if many else 2.6
    off = set(trace.changed)
    per_unit = axes.y(0.0) - axes.y(1.0)
    for at, ((x, y), doubt) in enumerate(zip(points, trace.uncertainties, strict=True)):
        if doubt and not many:
            reach = doubt * per_unit
            parts.append(line(x, y - reach, x, y + reach, "error"))
        if at in off:
            parts.append(rect(x - radius, y - radius, 2 * radius, 2 * radius, "check off"))
        else:
            parts.append(element("circle", cx=x, cy=y, r=radius, class_="check"))
    return parts


def _step(wanted: float) -> float:
    """A round step of about this size."""
    power = 10.0 ** math.floor(math.log10(wanted))
    return next(step * power for step in STEPS if step * power >= wanted * 0.999)


def _day(moment: str) -> float:
    """Days since an epoch."""
    return datetime.fromisoformat(moment).timestamp() / 86400


def _month_ticks(first: float, last: float) -> list[tuple[float, str]]:
    """First days of months in even steps, at most five, as ``Mar 2026``; days for short spans."""
    begin, end = (datetime.fromtimestamp(86400 * day, UTC) for day in (first, last))
    months = (end.year - begin.year) * 12 + end.month - begin.month
    if months < 2:
        return [(day, f"{at.day} {at:%b}") for day, at in ((first, begin), (last, end))][
            : 1 if last - first < 5 else 2
        ]
    step = next(s for s in (1, 2, 3, 6, 12, 24, 60, 120, 600) if months / s <= 4.5)
    ticks: list[tuple[float, str]] = []
    count = begin.year * 12 + begin.month - 1
    count += -count % step
    while True:
        at = datetime(count // 12, count % 12 + 1, 1, tzinfo=UTC)
        if at > end:
            return ticks
        if at >= begin:
            ticks.append((at.timestamp() / 86400, f"{at:%b %Y}" if step < 12 else f"{at:%Y}"))
        count += step
