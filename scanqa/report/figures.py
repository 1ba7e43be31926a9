"""Pictures to SVG: the same bytes each time, words as words, ids of their own.

Each picture is drawn once or twice: `wide` for a desk and for paper, `narrow` for a phone, both
with letters of the same size. matplotlib is imported inside the functions: it is slow to load.
"""

from __future__ import annotations

import io
import re
import textwrap
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from scanqa.catalogue import SIDES
from scanqa.model import Curve, Floats, Pixels, Point
from scanqa.report.numbers import plain
from scanqa.report.view import (
    Crop,
    Lines,
    Map,
    Margins,
    Picture,
    Pointer,
    Sites,
    Spots,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDE_IN, NARROW_IN = 6.2, 2.9  # axes of curves; with their labels about 650 and 340 px wide
BED_IN, ALONE_IN = 2.45, 2.75  # axes with and without a colour bar at their side
TALLEST_IN = 4.2
FONT_PT = 8.2
FEW_POINTS = 12  # of a curve: then each is shown
COLUMNS = 600  # of an envelope: a line with more points is drawn as lowest and highest per column
MAP_CELLS = 220
MOST_STEPS = 5  # of marks above axes
INK, FAINT, RULE = "#22282c", "#5f686d", "#d5d2ca"
PAPER, SHADE, DEAD = "#f4efdf", "#b9b3a2", "#22282c"
# Dark to light and of different dash, so that they differ in grey and to any eye.
STROKES = (
    ("#0b4f7d", "-"),
    ("#c2570c", (0, (5, 1.6))),
    ("#0f8a6d", (0, (1.2, 1.4))),
    ("#9a4a86", (0, (6, 1.5, 1.2, 1.5))),
    ("#5a5a5a", (0, (3, 1, 1, 1, 1, 1))),
    ("#b08900", (0, (9, 2))),
    ("#4aa3d8", (0, (2.5, 1.2))),
    ("#111111", (0, (1, 2.5))),
)
POINTS = ("o", "^", "s", "D")
SIGNED, UNSIGNED = "PuOr", "cividis"  # both safe for the colour-blind
BAND = ["least", "most"]  # two curves of these names are the edges of one band
# A channel's own colour, in shades that stay apart for the colour-blind.
CHANNEL_STROKES = {"red": 1, "green": 2, "blue": 0}


@dataclass(frozen=True, slots=True)
class Drawing:
    """SVG of a picture; `narrow` is empty where one drawing serves all screens."""

    wide: str
    narrow: str


def draw(picture: Picture, name: str) -> Drawing:
    """Draw a picture.

    Parameters
    ----------
    picture : Picture
        What to draw.
    name : str
        Unique on the page; goes before every id in the SVG.

    Returns
    -------
    Drawing
        One or two ``<svg>`` elements without XML header, deterministic byte for byte.
    """
    with _style():
        match picture:
            case Lines():
                narrow = _svg(_lines(picture, NARROW_IN), f"{name}n")
                if not picture.wide:
                    return Drawing(narrow, "")
                return Drawing(_svg(_lines(picture, WIDE_IN), f"{name}w"), narrow)
            case Map():
                figure = _map(picture)
            case Crop():
                figure = _crop(picture)
            case Sites():
                figure = _sites(picture)
            case Margins():
                figure = _margins(picture)
            case Spots():
                figure = _spots(picture)
        return Drawing(_svg(figure, name), "")


@contextmanager
def _style() -> Iterator[None]:
    import matplotlib

    rules: Any = {
        "svg.fonttype": "none",
        "svg.hashsalt": "scanqa",
        "text.parse_math": False,
        "font.family": ["DejaVu Sans"],
        "font.size": FONT_PT,
        "axes.edgecolor": FAINT,
        "axes.labelcolor": INK,
        "axes.linewidth": 0.6,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.unicode_minus": True,
        "axes.formatter.useoffset": False,
        "xtick.color": FAINT,
        "ytick.color": FAINT,
        "xtick.labelcolor": INK,
        "ytick.labelcolor": INK,
        "xtick.major.width": 0.6,
        "ytick.major.width": 0.6,
        "xtick.major.size": 2.5,
        "ytick.major.size": 2.5,
        "text.color": INK,
        "lines.linewidth": 1.2,
        "legend.frameon": False,
        "path.simplify": True,
        "path.simplify_threshold": 0.2,
    }
    with matplotlib.rc_context(rules), warnings.catch_warnings():
        # Words in a script that the measuring font lacks are drawn by the reader's own fonts.
        warnings.filterwarnings("ignore", message="Glyph .* missing from font")
        yield


def _figure(width_in: float, height_in: float) -> tuple[Figure, Axes]:
    """A figure whose axes have this size; what stands around them is cut to fit when saved."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in + 2, height_in + 2))
    axes = figure.add_axes(
        (
            1 / (width_in + 2),
            1 / (height_in + 2),
            width_in / (width_in + 2),
            height_in / (height_in + 2),
        )
    )
    axes.patch.set_alpha(0)
    return figure, axes


def _svg(figure: Figure, name: str) -> str:
    """The figure as an element to be put into a page, its ids made unique."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    out = io.StringIO()
    FigureCanvasSVG(figure)
    figure.savefig(
        out,
        format="svg",
        bbox_inches="tight",
        pad_inches=0.03,
        transparent=True,
        metadata={"Date": None, "Creator": None},
    )
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    text = re.sub(r'\bid="([^"]*)"', rf'id="{name}-\1"', text)
    text = re.sub(r'href="#([^"]*)"', rf'href="#{name}-\1"', text)
    text = re.sub(r"url\(#([^)]*)\)", rf"url(#{name}-\1)", text)
    text = re.sub(r'<svg [^>]*?viewBox="([^"]*)"[^>]*>', _open_tag, text, count=1)
    text = re.sub(r"font(?:-family)?: ([\d.]+px )?'DejaVu Sans'", r"font: \1'DejaVu Sans'", text)
    return text.strip()


def _open_tag(found: re.Match[str]) -> str:
    width_pt = float(found[1].split()[2])
    return (
        f'<svg xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="{found[1]}" '
        f'style="width:{width_pt / 72 * 96:.0f}px" aria-hidden="true" focusable="false">'
    )


# ----------------------------------------------------------------------------------- curves


def _lines(picture: Lines, width_in: float) -> Figure:
    figure, axes = _figure(width_in, 2.2 if width_in == WIDE_IN else 1.95)
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
    used_pt = _point_out(axes, picture.pointers, width_in)
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


def _point_out(axes: Axes, pointers: Sequence[Pointer], width_in: float) -> float:
    """Marks above the axes, each with a tick; marks that would touch climb a step.

    Thin lines run down from them through curves, never through pixels. Returns the height used
    above the axes in points.
    """
    low, high = axes.get_xlim()
    inside = [p for p in pointers if low <= p.at <= high]
    ends = [float("-inf")] * MOST_STEPS  # where the last mark on each step ends
    used = 0.0
    for pointer in sorted(inside, key=lambda p: p.at):
        axes.plot(
            [pointer.at, pointer.at],
            [1.0 if axes.images else 0.0, 1.02],
            transform=axes.get_xaxis_transform(),
            clip_on=False,
            color=INK if axes.images else FAINT,
            linewidth=0.7,
            linestyle="-" if axes.images else (0, (2, 2)),
            zorder=0,
        )
        at = (pointer.at - low) / (high - low)
        wide = (0.075 * len(pointer.mark) + 0.05) / width_in
        side = "left" if at < wide / 2 else "right" if at > 1 - wide / 2 else "center"
        start = at - {"left": 0, "center": wide / 2, "right": wide}[side]
        free = [step for step, end in enumerate(ends) if start > end]
        step = free[0] if free else int(np.argmin(ends))
        ends[step] = start + wide
        used = max(used, 14.0 + 10 * step)
        axes.annotate(
            plain(pointer.mark),
            (pointer.at, 1),
            xycoords=("data", "axes fraction"),
            xytext=(0, 4 + 10 * step),
            textcoords="offset points",
            ha=side,
            fontsize=8,
            fontweight="bold",
        )
    return used


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


# ------------------------------------------------------------------------------ on the bed


def _bed(
    left: float, top: float, right: float, bottom: float, *, width_in: float = BED_IN
) -> tuple[Figure, Axes]:
    """A figure whose axes show this part of the bed (mm), to scale, y down."""
    height_in = width_in * (bottom - top) / (right - left)
    shrink = min(1.0, TALLEST_IN / height_in)
    figure, axes = _figure(width_in * shrink, max(height_in * shrink, 0.6))
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    axes.set_xlabel("x, mm")
    axes.set_ylabel("y, mm")
    axes.locator_params(axis="x", nbins=5)
    return figure, axes


def _padded(bed_mm: Point, share: float) -> tuple[float, float, float, float]:
    pad = share * bed_mm[0]
    return -pad, -pad, bed_mm[0] + pad, bed_mm[1] + pad


def _map(picture: Map) -> Figure:
    left, top, right, bottom = picture.extent_mm
    image = np.ma.masked_invalid(_coarser(np.asarray(picture.image, np.float64)))
    signed = image.min() < 0 < image.max()
    reach = max(abs(image.min()), abs(image.max()))
    figure, axes = _bed(left, top, right, bottom)
    drawn = axes.imshow(
        image,
        extent=(left, right, bottom, top),
        cmap=SIGNED if signed else UNSIGNED,
        vmin=-reach if signed else None,
        vmax=reach if signed else None,
        interpolation="nearest",
        aspect="auto",
    )
    _bar(figure, axes, drawn, picture.unit)
    return figure


def _coarser(image: Floats) -> Floats:
    """Means of square blocks, so that a map has no more cells than it can show."""
    step = -(-max(image.shape) // MAP_CELLS)
    if step < 2:
        return image
    rows, columns = image.shape[0] // step, image.shape[1] // step
    blocks = image[: rows * step, : columns * step].reshape(rows, step, columns, step)
    means: Floats = blocks.mean(axis=(1, 3))
    return means


def _bar(figure: Figure, axes: Axes, drawn: Any, unit: str) -> None:
    bar = figure.colorbar(drawn, cax=axes.inset_axes((1.05, 0.06, 0.045, 0.88)))
    bar.outline.set_visible(False)
    bar.set_label(plain(unit))


def _sites(picture: Sites) -> Figure:
    from matplotlib.patches import Rectangle

    width, height = picture.bed_mm
    figure, axes = _bed(*_padded(picture.bed_mm, 0.02))
    axes.add_patch(Rectangle((0, 0), width, height, facecolor="#fdfcf8", edgecolor=RULE))
    xs, ys = zip(*picture.places_mm, strict=True)
    size = float(np.clip(2600 / len(xs), 14, 70))
    drawn = axes.scatter(
        xs,
        ys,
        c=picture.values,
        s=size,
        cmap=SIGNED if picture.span[0] == -picture.span[1] else UNSIGNED,
        vmin=picture.span[0],
        vmax=picture.span[1],
        edgecolors=INK,
        linewidths=0.5,
    )
    for (x, y), text in zip(picture.places_mm, picture.texts, strict=True):
        if text:
            axes.annotate(
                text,
                (x, y),
                xytext=(0, 5.5),
                textcoords="offset points",
                ha="center",
                fontsize=7.6,
                fontweight="bold",
                bbox={"boxstyle": "square,pad=0.05", "fc": "#fdfcf8", "ec": "none", "alpha": 0.8},
            )
    if picture.span[0] < picture.span[1]:
        _bar(figure, axes, drawn, picture.unit)
    return figure


def _margins(picture: Margins) -> Figure:
    from matplotlib.patches import Rectangle

    width, height = picture.bed_mm
    dead = {side: picture.dead_mm.get(side, 0.0) for side in SIDES}
    shade = {side: picture.shadow_mm.get(side, 0.0) for side in dead}
    figure, axes = _bed(*_padded(picture.bed_mm, 0.08), width_in=ALONE_IN)
    axes.axis("off")
    axes.add_patch(
        Rectangle(
            (-dead["left"], -dead["top"]),
            width + dead["left"] + dead["right"],
            height + dead["top"] + dead["bottom"],
            facecolor=DEAD,
            linewidth=0,
        )
    )
    axes.add_patch(
        Rectangle(
            (0, 0), width, height, facecolor=SHADE, edgecolor=FAINT, hatch="//////", linewidth=0
        )
    )
    axes.add_patch(
        Rectangle(
            (shade["left"], shade["top"]),
            width - shade["left"] - shade["right"],
            height - shade["top"] - shade["bottom"],
            facecolor=PAPER,
            linewidth=0,
        )
    )
    gap = 0.03 * width
    spots: dict[str, tuple[float, float, int]] = {
        "left": (-gap - dead["left"], height / 2, 90),
        "right": (width + gap + dead["right"], height / 2, 270),
        "top": (width / 2, -gap - dead["top"], 0),
        "bottom": (width / 2, height + gap + dead["bottom"], 0),
    }
    for side, words in picture.texts.items():
        x, y, turn = spots[side]
        text = f"{side}: {words}"
        axes.text(x, y, text, ha="center", va="center", rotation=turn, fontsize=7.4)
    axes.text(width / 2, height / 2, picture.usable, ha="center", va="center", fontsize=8.6)
    return figure


def _spots(picture: Spots) -> Figure:
    from matplotlib.patches import Rectangle

    width, height = picture.bed_mm
    figure, axes = _bed(*_padded(picture.bed_mm, 0.02), width_in=ALONE_IN)
    axes.add_patch(Rectangle((0, 0), width, height, facecolor="#fdfcf8", edgecolor=RULE))
    for (x, y), (wide, high) in zip(picture.places_mm, picture.sizes_mm, strict=True):
        axes.add_patch(
            Rectangle((x - wide / 2, y - high / 2), wide, high, facecolor=INK, linewidth=0)
        )
    xs, ys = zip(*picture.places_mm, strict=True)
    axes.scatter(xs, ys, s=42, facecolors="none", edgecolors=STROKES[1][0], linewidths=1.1)
    for (x, y), mark in zip(picture.places_mm, picture.marks, strict=True):
        left = x > 0.9 * width
        axes.annotate(
            mark,
            (x, y),
            xytext=(-5 if left else 5, 5),
            textcoords="offset points",
            ha="right" if left else "left",
            fontsize=8,
            fontweight="bold",
        )
    return figure


# ------------------------------------------------------------------------------------ crops


def _crop(picture: Crop) -> Figure:
    left, top, right, bottom = picture.extent_mm
    figure, axes = _bed(left, top, right, bottom, width_in=ALONE_IN)
    axes.imshow(
        _rgb(picture.image),
        extent=(left, right, bottom, top),
        interpolation="none",
        aspect="auto",
    )
    _point_out(axes, picture.pointers, ALONE_IN)
    return figure


def _rgb(image: Pixels) -> Pixels:
    """Pixels as bytes in three channels."""
    if image.ndim == 2:
        image = image[..., np.newaxis]
    if image.dtype != np.uint8:
        image = (image >> 8).astype(np.uint8)
    return np.repeat(image, 3, axis=2) if image.shape[2] == 1 else image
