"""Pictures of the bed or a part of it, drawn to scale."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from scanqa.catalogue import SIDES
from scanqa.model import Floats, Pixels, Point
from scanqa.report.canvas import FAINT, INK, RULE, STROKES, new_figure, point_out
from scanqa.report.view import Crop, Map, Margins, Sites, Spots
from scanqa.words.numbers import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BED_IN, ALONE_IN = 2.45, 2.75  # axes with and without a colour bar at their side
TALLEST_IN = 4.2
MAP_CELLS = 220
GLASS, PAPER, SHADE, DEAD = "#fdfcf8", "#f4efdf", "#b9b3a2", "#22282c"
SIGNED, UNSIGNED = "PuOr", "cividis"  # both safe for the colour-blind


def _bed(
    left: float, top: float, right: float, bottom: float, *, width_in: float = BED_IN
) -> tuple[Figure, Axes]:
    """A figure whose axes show this part of the bed (mm), to scale, y down."""
    height_in = width_in * (bottom - top) / (right - left)
    shrink = min(1.0, TALLEST_IN / height_in)
    figure, axes = new_figure(width_in * shrink, max(height_in * shrink, 0.6))
    axes.set_xlim(left, right)
    axes.set_ylim(bottom, top)
    axes.set_xlabel("x, mm")
    axes.set_ylabel("y, mm")
    axes.locator_params(axis="x", nbins=5)
    return figure, axes


def _padded(bed_mm: Point, share: float) -> tuple[float, float, float, float]:
    pad = share * bed_mm[0]
    return -pad, -pad, bed_mm[0] + pad, bed_mm[1] + pad


def bed_map(picture: Map) -> Figure:
    """Values over the bed in colours, with a bar that says which."""
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


def sites(picture: Sites) -> Figure:
    """Places on the bed, coloured by value."""
    from matplotlib.patches import Rectangle

    width, height = picture.bed_mm
    figure, axes = _bed(*_padded(picture.bed_mm, 0.02))
    axes.add_patch(Rectangle((0, 0), width, height, facecolor=GLASS, edgecolor=RULE))
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
                bbox={"boxstyle": "square,pad=0.05", "fc": GLASS, "ec": "none", "alpha": 0.8},
            )
    if picture.span[0] < picture.span[1]:
        _bar(figure, axes, drawn, picture.unit)
    return figure


def margins(picture: Margins) -> Figure:
    """The image, its shadows inside and its dead margins outside."""
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


def spots(picture: Spots) -> Figure:
    """Marks on the glass, ringed."""
    from matplotlib.patches import Rectangle

    width, height = picture.bed_mm
    figure, axes = _bed(*_padded(picture.bed_mm, 0.02), width_in=ALONE_IN)
    axes.add_patch(Rectangle((0, 0), width, height, facecolor=GLASS, edgecolor=RULE))
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


def crop(picture: Crop) -> Figure:
    """Real pixels, magnified, marks outside them."""
    left, top, right, bottom = picture.extent_mm
    figure, axes = _bed(left, top, right, bottom, width_in=ALONE_IN)
    axes.imshow(
        _rgb(picture.image),
        extent=(left, right, bottom, top),
        interpolation="none",
        aspect="auto",
    )
    point_out(axes, picture.pointers, ALONE_IN)
    return figure


def _rgb(image: Pixels) -> Pixels:
    """Pixels as bytes in three channels."""
    if image.ndim == 2:
        image = image[..., np.newaxis]
    if image.dtype != np.uint8:
        image = (image >> 8).astype(np.uint8)
    return np.repeat(image, 3, axis=2) if image.shape[2] == 1 else image
