"""Small multiples: one measure over the checks, with what is normal, what was done, what moved."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import numpy as np

from scanqa.report.draw.canvas import FAINT, INK, RULE, STROKES, new_figure, style, svg
from scanqa.report.draw.figures import Drawing

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN, HEIGHT_IN = 2.85, 1.15  # of the axes
AROUND_IN = (0.6, 0.25, 0.12, 0.2)  # left, below, right, above: the same, so that axes line up
NORMAL = "#ece8dc"


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
        Checks that are off the normal; drawn as filled squares.
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


def draw_trace(trace: Trace, name: str) -> Drawing:
    """Draw a small multiple; `name` goes before every id in the SVG."""
    from matplotlib.transforms import Bbox

    with style():
        figure, axes = new_figure(WIDTH_IN, HEIGHT_IN)
        _plot(axes, trace)
        _time_axis(axes, trace)
        left, below, right, above = AROUND_IN
        box = Bbox([[1 - left, 1 - below], [1 + WIDTH_IN + right, 1 + HEIGHT_IN + above]])
        return Drawing(svg(figure, name, box=box), "")


def _plot(axes: Axes, trace: Trace) -> None:
    x = _days(trace.dates)
    y = np.array(trace.values)
    blue, orange = STROKES[0][0], STROKES[1][0]
    if trace.normal is not None:
        axes.axhspan(*trace.normal, color=NORMAL, linewidth=0, zorder=0)
    axes.plot(x, y, color=blue, linewidth=0.7, alpha=0.55, zorder=2)
    off = np.isin(np.arange(len(x)), trace.changed)
    many = len(x) > 80
    size = 1.4 if many else 2.8
    errors = np.array([u or 0.0 for u in trace.uncertainties])
    if not many and np.any(errors > 0):
        axes.vlines(x, y - errors, y + errors, color=FAINT, linewidth=0.6, zorder=1)
    axes.plot(x[~off], y[~off], "o", color=blue, markersize=size, zorder=3)
    axes.plot(x[off], y[off], "s", color=orange, markersize=size * 1.15, zorder=3)
    if trace.trend is not None:
        (begin, low), (end, high) = trace.trend
        axes.plot(_days((begin, end)), [low, high], color=INK, linewidth=1.0, linestyle=(0, (4, 2)))
    if trace.limit is not None:
        axes.axhline(trace.limit, color=STROKES[3][0], linewidth=0.9, linestyle=(0, (1, 1.5)))
    if np.ptp(y) == 0 and trace.normal is None:
        axes.set_ylim(y[0] - max(abs(y[0]) * 0.05, 0.5), y[0] + max(abs(y[0]) * 0.05, 0.5))
    for at, mark in trace.events:
        moment = _days((at,))[0]
        axes.axvline(moment, color=FAINT, linewidth=0.8, linestyle=(0, (2, 2)), zorder=1)
        axes.annotate(
            mark, (moment, 1), xycoords=("data", "axes fraction"), xytext=(0, 3),
            textcoords="offset points", ha="center", fontsize=8, fontweight="bold",
        )  # fmt: skip


def _time_axis(axes: Axes, trace: Trace) -> None:
    from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator

    first, last = _days(trace.span)
    room = max(0.02 * (last - first), 0.5)
    axes.set_xlim(first - room, last + room)
    ticks = _month_ticks(first, last)
    axes.xaxis.set_major_locator(FixedLocator([t for t, _ in ticks]))
    words = dict(ticks)
    axes.xaxis.set_major_formatter(FuncFormatter(lambda v, _: words.get(v, "")))
    axes.yaxis.set_major_locator(MaxNLocator(4, min_n_ticks=2))
    axes.tick_params(axis="both", labelsize=8)
    axes.grid(axis="y", color=RULE, linewidth=0.5, zorder=0)
    axes.set_axisbelow(True)


def _days(moments: tuple[str, ...]) -> Any:
    """Days since an epoch."""
    return np.array([datetime.fromisoformat(m).timestamp() / 86400 for m in moments])


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
