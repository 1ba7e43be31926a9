"""A difference with its interval as a strip that fits a table row, to the scale of what matters."""

from __future__ import annotations

import math

from scanqa.catalogue import CATALOGUE
from scanqa.model.compared import Difference

WIDTH, HEIGHT = 120, 16
REACH = 20.0  # of a strip, in limits of what matters; what lies beyond ends in an arrow
COLOURS = {"first is better": "#c2570c", "second is better": "#0b4f7d"}
OTHER = "#545c61"


def strip(row: Difference) -> str:
    """An ``<svg>`` without letters: the words stand in the row. Empty where nothing is compared.

    To the right the second side is better, to the left the first; for measures that have no better
    way, the second is higher to the right. The band is what does not matter.
    """
    if row.difference is None or row.low is None or row.high is None:
        return ""
    turn = -1.0 if CATALOGUE[row.key.name].better == "lower" else 1.0
    scale = row.matters or max(abs(row.low), abs(row.high), 1e-12) / 3
    low, middle, high = sorted(turn * v / scale for v in (row.low, row.difference, row.high))
    colour = COLOURS.get(row.verdict, OTHER)
    hollow = row.verdict in ("no difference shown", "too small to matter")
    parts = [
        f'<svg class="strip" viewBox="0 0 {WIDTH} {HEIGHT}" aria-hidden="true" focusable="false">'
    ]
    if row.matters:
        left, right = _x(-1), _x(1)
        parts.append(f'<rect x="{left}" y="0" width="{right - left}" height="16" fill="#ece8dc"/>')
    parts.append(f'<path d="M{_x(0)} 0V16" stroke="#a8a499" stroke-width="1"/>')
    parts.append(f'<path d="M{_x(low)} 8H{_x(high)}" stroke="{colour}" stroke-width="2"/>')
    parts += _arrow(low, high, colour)
    fill = "#fcfbf7" if hollow else colour
    if row.verdict == "first is better":
        parts.append(f'<rect x="{_x(middle) - 3.5}" y="4.5" width="7" height="7" fill="{fill}"/>')
    else:
        parts.append(
            f'<circle cx="{_x(middle)}" cy="8" r="3.6" fill="{fill}" stroke="{colour}" '
            'stroke-width="1.5"/>'
        )
    return "".join([*parts, "</svg>"])


def _x(value: float) -> float:
    """Position of a difference in limits of what matters: squeezed outwards, kept inside."""
    share = max(-1.0, min(1.0, math.asinh(value) / math.asinh(REACH)))
    return round(WIDTH / 2 + share * (WIDTH / 2 - 8), 1)


def _arrow(low: float, high: float, colour: str) -> list[str]:
    """Arrow heads where the interval goes on beyond the strip."""
    heads = []
    if low < -REACH:
        heads.append(f'<path d="M8 3L1 8L8 13Z" fill="{colour}"/>')
    if high > REACH:
        heads.append(f'<path d="M112 3L119 8L112 13Z" fill="{colour}"/>')
    return heads
