"""What all pictures share: letters, colours, axes of a stated size, and clean SVG.

matplotlib is imported inside the functions: it is slow to load.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from scanqa.report.view import Pointer
from scanqa.words.numbers import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.transforms import Bbox

FONT_PT = 8.2
MOST_STEPS = 5  # of marks above axes
INK, FAINT, RULE = "#22282c", "#5f686d", "#d5d2ca"
# Dark to light and of different dash, so that they differ in grey and to any eye.
STROKES: tuple[tuple[str, Any], ...] = (
    ("#0b4f7d", "-"),
    ("#c2570c", (0, (5, 1.6))),
    ("#0f8a6d", (0, (1.2, 1.4))),
    ("#9a4a86", (0, (6, 1.5, 1.2, 1.5))),
    ("#5a5a5a", (0, (3, 1, 1, 1, 1, 1))),
    ("#b08900", (0, (9, 2))),
    ("#4aa3d8", (0, (2.5, 1.2))),
    ("#111111", (0, (1, 2.5))),
)


@contextmanager
def style() -> Iterator[None]:
    """Letters and lines of all pictures; words are never taken for formulas."""
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


def load() -> None:
    """Load matplotlib, which takes as long as drawing with it."""
    from matplotlib.backends import backend_agg, backend_svg  # noqa: F401
    from matplotlib.figure import Figure  # noqa: F401


def new_figure(width_in: float, height_in: float) -> tuple[Figure, Axes]:
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


def svg(figure: Figure, name: str, *, box: Bbox | None = None) -> str:
    """The figure as an element to be put into a page, its ids made unique.

    `box` is what is kept of it, in inches; all that is drawn if not given.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    if box is None:
        # What savefig calls "tight" draws everything once more to know its size; this does not.
        canvas: Any = FigureCanvasAgg(figure)
        box = figure.get_tightbbox(canvas.get_renderer()).padded(0.03)
    out = io.StringIO()
    FigureCanvasSVG(figure)
    figure.savefig(
        out,
        format="svg",
        bbox_inches=box,
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
    text = text.replace("'DejaVu Sans'", "'DejaVu Sans', Verdana, sans-serif")
    return text.strip()


def _open_tag(found: re.Match[str]) -> str:
    width_pt = float(found[1].split()[2])
    return (
        f'<svg xmlns:xlink="http://www.w3.org/1999/xlink" viewBox="{found[1]}" '
        f'style="width:{width_pt / 72 * 96:.0f}px" aria-hidden="true" focusable="false">'
    )


def point_out(axes: Axes, pointers: Sequence[Pointer], width_in: float) -> float:
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
