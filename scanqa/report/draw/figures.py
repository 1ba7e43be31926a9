"""Pictures to SVG: the same bytes each time, words as words, ids of their own.

Curves over axes are drawn once or twice: `wide` for a desk and for paper, `narrow` for a phone,
both with letters of the same size. All other pictures are plain SVG.
"""

from __future__ import annotations

from dataclasses import dataclass

from scanqa.report.draw.bed_pictures import bed_map, beside, crop, sites
from scanqa.report.draw.bed_plan import glass
from scanqa.report.draw.page_strip import spine_strip
from scanqa.report.draw.strokes import strokes
from scanqa.report.view import Beside, Crop, Glass, Lines, Map, Picture, Sites, SpineStrip, Strokes


@dataclass(frozen=True, slots=True)
class Drawing:
    """SVG of a picture; `narrow` is empty where one drawing serves all screens.

    `on_paper` ones have colours of their own: they keep their light ground in the dark.
    """

    wide: str
    narrow: str
    on_paper: bool = False


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
    match picture:
        case Lines():
            return _over_axes(picture, name)
        case Map():
            return Drawing(bed_map(picture), "")
        case Crop():
            return Drawing(crop(picture), "")
        case Sites():
            return Drawing(sites(picture), "")
        case Glass():
            return Drawing(glass(picture), "")
        case Strokes():
            return Drawing(strokes(picture), "")
        case SpineStrip():
            return Drawing(spine_strip(picture), "")
        case Beside():
            return Drawing(beside(picture), "")


def _over_axes(picture: Lines, name: str) -> Drawing:
    """Curves by matplotlib, which is loaded here."""
    from scanqa.report.draw import curves
    from scanqa.report.draw.canvas import style, svg

    with style():
        narrow = svg(curves.lines(picture, curves.NARROW_IN), f"{name}n")
        if not picture.wide:
            return Drawing(narrow, "", on_paper=True)
        wide = svg(curves.lines(picture, curves.WIDE_IN), f"{name}w")
        return Drawing(wide, narrow, on_paper=True)
