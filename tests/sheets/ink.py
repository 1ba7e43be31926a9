"""Where a sheet has ink, worked out point by point: later shapes paint over earlier ones."""

import numpy as np
from matplotlib.path import Path as Outline
from reportlab.pdfbase import pdfmetrics

from scanqa.model import Edge, Sheet, Text
from scanqa.sheets.papers import MARGIN_MM, PAPERS
from scanqa.sheets.pdf import FONTS, _register_fonts
from scanqa.sheets.shapes import turned
from scanqa.sheets.tags import tag_polygons


def cover_at(sheet: Sheet, points: np.ndarray) -> np.ndarray:
    """Cover (0 paper, 1 solid) at points (n, 2) in mm; words count as solid boxes."""
    shapes = [(shape.points_mm, shape.cover) for shape in sheet.shapes]
    for piece in sheet.pieces:
        for tag in piece.tags:
            shapes += [(shape.points_mm, shape.cover) for shape in tag_polygons(tag)]
    shapes += [(text_box(text), 1.0) for text in sheet.words]
    cover = np.zeros(len(points))
    for outline, value in shapes:
        outline = np.array(outline)
        near = np.all((points >= outline.min(0)) & (points <= outline.max(0)), axis=1)
        if near.any():
            where = np.flatnonzero(near)
            cover[where[Outline(outline).contains_points(points[near])]] = value
    return cover


def text_box(text: Text) -> list[tuple[float, float]]:
    """Corners of a box that holds a line of words: DejaVu rises 0.94 and falls 0.24 of its size."""
    _register_fonts()
    width = float(pdfmetrics.stringWidth(text.words, FONTS[text.bold], text.size_mm))
    left = {"start": 0.0, "middle": -width / 2, "end": -width}[text.anchor]
    x, y = text.at_mm
    up, down = 0.94 * text.size_mm, 0.24 * text.size_mm
    box = [(left, -up), (left + width, -up), (left + width, down), (left, down)]
    return [turned((x + dx, y + dy), text.turn_deg, about=(x, y)) for dx, dy in box]


def beside(edge: Edge, distances_mm: np.ndarray) -> np.ndarray:
    """Points beside an edge's usable part; positive distances lie on its dark side."""
    start, end = np.array(edge.start_mm), np.array(edge.end_mm)
    along = (end - start) / np.linalg.norm(end - start)
    right = np.array([-along[1], along[0]])  # y runs down, so this turns clockwise
    steps = start + np.linspace(0, 1, 41)[:, None] * (end - start)
    return (steps[:, None] + np.asarray(distances_mm)[None, :, None] * right).reshape(-1, 2)


def may_ink(paper: str) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of what a sheet may ink: home printers leave the margin bare."""
    width, height = PAPERS[paper]
    return MARGIN_MM, MARGIN_MM, width - MARGIN_MM, height - MARGIN_MM
