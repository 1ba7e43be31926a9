"""Pictures to SVG: the same bytes each time, words as words, ids of their own.

Each picture is drawn once or twice: `wide` for a desk and for paper, `narrow` for a phone, both
with letters of the same size.
"""

from __future__ import annotations

from dataclasses import dataclass

from scanqa.report import beds, curves
from scanqa.report.canvas import style, svg
from scanqa.report.view import Crop, Lines, Map, Margins, Picture, Sites, Spots


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
    with style():
        match picture:
            case Lines():
                narrow = svg(curves.lines(picture, curves.NARROW_IN), f"{name}n")
                if not picture.wide:
                    return Drawing(narrow, "")
                return Drawing(svg(curves.lines(picture, curves.WIDE_IN), f"{name}w"), narrow)
            case Map():
                figure = beds.bed_map(picture)
            case Crop():
                figure = beds.crop(picture)
            case Sites():
                figure = beds.sites(picture)
            case Margins():
                figure = beds.margins(picture)
            case Spots():
                figure = beds.spots(picture)
        return Drawing(svg(figure, name), "")
