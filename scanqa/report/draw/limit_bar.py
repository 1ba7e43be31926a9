"""A value against its limit as a short bar: where the limit lies, how far the value may reach."""

from __future__ import annotations

from scanqa.report.draw.svg import drawing, element, line, rect, short
from scanqa.report.view import Bar

WIDTH, HEIGHT = 150, 18
MIDDLE, THICK = 9, 6
ROOM = 1.25  # the axis goes on beyond what is largest on it


def bar(of: Bar) -> str:
    """The bar: a pale strip where the limit is kept, the value, what it may be, the limit."""
    top = ROOM * max(of.limit, of.value, *(end for end in (of.low, of.high) if end is not None))
    scale = (WIDTH - 8) / top if top > 0 else 0.0

    def x(value: float) -> float:
        return 2 + min(max(value, 0.0), top) * scale

    kept = (x(of.limit), WIDTH - 2) if of.higher else (2.0, x(of.limit))
    parts = [
        line(2, MIDDLE, WIDTH - 2, MIDDLE, "axis"),
        rect(kept[0], 2, kept[1] - kept[0], HEIGHT - 4, "kept"),
        rect(2, MIDDLE - THICK / 2, x(of.value) - 2, THICK, f"value {of.tone}"),
    ]
    low = x(of.low) if of.low is not None else 2.0
    high = x(of.high) if of.high is not None else WIDTH - 3.0
    if high - low > 1:
        parts.append(line(low, MIDDLE, high, MIDDLE, "doubt"))
        parts += [_end(low, of.low is None, -1), _end(high, of.high is None, 1)]
    parts.append(line(x(of.limit), 0, x(of.limit), HEIGHT, "limit"))
    return drawing(WIDTH, HEIGHT, *parts, class_="bar")


def _end(x: float, goes_on: bool, way: int) -> str:
    """An end of what is possible: a stop, or an arrow where it goes on."""
    if not goes_on:
        return line(x, MIDDLE - 4, x, MIDDLE + 4, "doubt")
    tip, back = short(x), short(x - 5 * way)
    return element(
        "path", d=f"M{back} {MIDDLE - 4}L{tip} {MIDDLE}L{back} {MIDDLE + 4}", class_="doubt"
    )
