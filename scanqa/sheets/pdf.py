"""Sheets as vector PDF: positions exact, fonts embedded, the same bytes each time.

The typeface is DejaVu Sans, which comes with matplotlib; its licence (Bitstream Vera's, see
``LICENSE_DEJAVU`` beside the files) allows embedding and redistribution.
"""

from __future__ import annotations

import functools
import importlib.util
import io
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from scanqa.model import MM_PER_INCH, Point, Polygon, Sheet, Text
from scanqa.sheets import sheets
from scanqa.sheets.papers import PAPER_NAMES
from scanqa.sheets.tags import tag_polygons
from scanqa.whole import write_whole

POINTS_PER_MM = 72 / MM_PER_INCH
FONTS = {False: "DejaVuSans", True: "DejaVuSans-Bold"}
TITLES = {
    "bed-sheet": "Bed sheet",
    "edge-strip": "Edge strips",
    "gutter-ramp": "Gutter ramp",
    "back-print": "Back print",
}


def draw(sheet: Sheet) -> bytes:
    """Draw a sheet; two calls for equal sheets give equal bytes."""
    from reportlab.pdfgen.canvas import Canvas

    _register_fonts()
    out = io.BytesIO()
    size = sheet.width_mm * POINTS_PER_MM, sheet.height_mm * POINTS_PER_MM
    canvas = Canvas(out, pagesize=size, invariant=1, initialFontName=FONTS[False])
    canvas.setTitle(f"{TITLES[sheet.role]}, {PAPER_NAMES[sheet.paper]} ({sheet.id})")
    canvas.setSubject("Target for measuring a flatbed scanner; print at 100 %")
    canvas.setAuthor("scanqa")
    canvas.setCreator("scanqa")
    canvas.setViewerPreference("PrintScaling", "None")  # asks the print dialogue for 100 %
    page = _Page(canvas, sheet.height_mm)
    tags = [tag for piece in sheet.pieces for tag in piece.tags]
    page.put((*sheet.shapes, *(shape for tag in tags for shape in tag_polygons(tag))), sheet.words)
    if sheet.back or sheet.back_words:
        page.put([_from_behind(shape, sheet.width_mm) for shape in sheet.back], sheet.back_words)
    canvas.save()
    return out.getvalue()


def write_sheets(papers: Iterable[str], out: Path) -> list[Path]:
    """Write the sheets for some papers to a folder, as ``bed-sheet-a4.pdf`` and so on.

    Each file appears whole or not at all, the same bytes each time.

    Parameters
    ----------
    papers : iterable of str
        ``a4``, ``letter`` or ``a3``.
    out : Path
        The folder; it is made if it is not there.

    Returns
    -------
    list of Path
        In the order of writing.

    Raises
    ------
    KeyError
        If there is no such paper.
    BadOption
        If a file cannot be written.
    """
    paths = []
    for paper in papers:
        for sheet in sheets(paper):
            path = out / f"{sheet.id}.pdf"
            write_whole(path, draw(sheet))
            paths.append(path)
    return paths


def _from_behind(shape: Polygon, width_mm: float) -> Polygon:
    """Mirror a shape of the back, which is given as seen from the front, left to right."""
    return Polygon(tuple((width_mm - x, y) for x, y in shape.points_mm), shape.cover)


class _Page:
    """A canvas that takes sheet millimetres: the one place where y is flipped."""

    def __init__(self, canvas: Any, height_mm: float) -> None:
        self._canvas = canvas
        self._height_mm = height_mm

    def _at(self, point: Point) -> Point:
        return point[0] * POINTS_PER_MM, (self._height_mm - point[1]) * POINTS_PER_MM

    def put(self, shapes: Iterable[Polygon], words: Iterable[Text]) -> None:
        for shape in shapes:
            self._fill(shape)
        for text in words:
            self._write(text)
        self._canvas.showPage()

    def _fill(self, shape: Polygon) -> None:
        path = self._canvas.beginPath()
        path.moveTo(*self._at(shape.points_mm[0]))
        for point in shape.points_mm[1:]:
            path.lineTo(*self._at(point))
        path.close()
        self._canvas.setFillGray(1 - shape.cover)
        self._canvas.drawPath(path, stroke=0, fill=1)

    def _write(self, text: Text) -> None:
        canvas = self._canvas
        canvas.saveState()
        canvas.translate(*self._at(text.at_mm))
        canvas.rotate(-text.turn_deg)  # the page turns clockwise, PDF anticlockwise
        canvas.setFillGray(1 - text.cover)
        canvas.setFont(FONTS[text.bold], text.size_mm * POINTS_PER_MM)
        place = {
            "start": canvas.drawString,
            "middle": canvas.drawCentredString,
            "end": canvas.drawRightString,
        }
        place[text.anchor](0, 0, text.words)
        canvas.restoreState()


@functools.cache
def _register_fonts() -> None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    spec = importlib.util.find_spec("matplotlib")  # found, not imported: that takes 0.2 s
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError("matplotlib, which carries the typeface of the sheets")
    folder = Path(spec.origin).parent / "mpl-data" / "fonts" / "ttf"
    for name in FONTS.values():
        pdfmetrics.registerFont(TTFont(name, folder / f"{name}.ttf"))
