"""Curves: lines, bands and points over one axis."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from scanqa.model import Curve, Floats
from scanqa.report.draw.canvas import FAINT, RULE, STROKES, new_figure, point_out
from scanqa.report.view import Lines
from scanqa.words.numbers import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDE_IN, NARROW_IN = 6.2, 2.9  # of axes; with their labels about 650 and 340 px
FEW_POINTS = 12  # of a curve: then each is shown
COLUMNS = 600  # of an envelope: a line with more points is drawn as lowest and highest per column
POINTS = ("o", "^", "s", "D")
BAND = ["least", "most"]  # two curves of these names are the edges of one band
# A channel's own colour, in shades that stay apart for the colour-blind.
CHANNEL_STROKES = {"red": 1, "green": 2, "blue": 0}


def lines(picture: Lines, width_in: float) -> Figure:
    """Curves drawn for a page of this width."""
    figure, axes = new_figure(width_in, 2.2 if width_in == WIDE_IN else 1.95)
    columns = round(COLUMNS * width_in / WIDE_IN)
    if [curve.label for curve in picture.curves] == BAND:
        least, most = picture.curves
        axes.fill_between(least.x, least.y, most.y, color=STROKES[0][0], linewidth=0.5)
    else:
        for at, curve in enumerate(picture.curves):
            _curve(axes, curve, at, columns, scattered=picture.scattered)
    for height, words in picture.levels:
        axes.axhline(height, color=RULE, linewidth=0.8, zorder=0)
        axes.annotate(
            words,
            (1, height),
            xycoords=("axes fraction", "data"),
            xytext=(-2, 2),
            textcoords="offset points",
            ha="right",
            color=FAINT,
            fontsize=7.4,
        )
    axes.margins(x=0.01)
    axes.set_xlabel(textwrap.fill(plain(picture.x_label), int(14 * width_in)))
    axes.set_ylabel(textwrap.fill(plain(picture.y_label), 30))
    used_pt = point_out(axes, picture.pointers, width_in)
    _legend(figure, axes, width_in, used_pt)
    return figure


def _curve(axes: Axes, curve: Curve, at: int, columns: int, *, scattered: bool) -> None:
    """A line; or points, where there is nothing between one and the next."""
    colour, dash = STROKES[CHANNEL_STROKES.get(curve.label, at) % len(STROKES)]
    label = textwrap.fill(plain(curve.label), 44)
    if scattered:
        mark = POINTS[at % len(POINTS)]
        axes.plot(curve.x, curve.y, mark, color=colour, label=label, markersize=3.2)
        return
    x, y = envelope(curve.x, curve.y, columns)
    dense = len(curve.x) > columns
    axes.plot(
        x,
        y,
        color=colour,
        linestyle="-" if dense and at == 0 else dash,
        linewidth=0.8 if dense else 1.3,
        marker="o" if len(x) <= FEW_POINTS else "",
        markersize=3.2,
        label=label,
    )


def _legend(figure: Figure, axes: Axes, width_in: float, used_pt: float) -> None:
    """Keys above the axes and what is marked there, in as many columns as surely fit."""
    from matplotlib.transforms import offset_copy

    handles, labels = axes.get_legend_handles_labels()
    if len(labels) < 2:
        return
    longest = max(len(line) for label in labels for line in label.splitlines())
    columns = max(1, min(len(labels), int(width_in / (0.067 * longest + 0.52))))
    above = offset_copy(axes.transAxes, figure, y=used_pt + 5, units="points")
    axes.legend(
        handles,
        labels,
        loc="lower left",
        bbox_to_anchor=(0.0, 1.0),
        bbox_transform=above,
        ncols=columns,
        handlelength=2.6,
        columnspacing=1.4,
        borderpad=0,
        borderaxespad=0,
    )


def envelope(x: Floats, y: Floats, columns: int) -> tuple[Floats, Floats]:
    """A line with at most two points per column: the lowest and the highest, in their order.

    Parameters
    ----------
    x, y : (n,) float64
        Finite; a line whose x does not rise is thinned evenly instead.
    columns : int
        Columns it will be drawn in.
    """
    if len(x) <= 2 * columns:
        return x, y
    if np.any(np.diff(x) < 0):
        keep = np.linspace(0, len(x) - 1, 2 * columns).round().astype(int)
        return x[keep], y[keep]
    chosen: list[int] = []
    for part in np.array_split(np.arange(len(x)), columns):
        low, high = part[np.argmin(y[part])], part[np.argmax(y[part])]
        chosen += sorted({int(low), int(high)})
    return x[chosen], y[chosen]
