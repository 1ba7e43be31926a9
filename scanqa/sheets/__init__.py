"""Printable sheets: declarative geometry in mm, and the PDF drawn from it."""

from __future__ import annotations

import functools

from scanqa.model import Piece, Sheet, Tag
from scanqa.sheets.back_print import back_print
from scanqa.sheets.bed_sheet import bed_sheet
from scanqa.sheets.edge_strip import edge_strip
from scanqa.sheets.gutter_ramp import gutter_ramp
from scanqa.sheets.papers import PAPERS

BUILDERS = {
    "bed-sheet": bed_sheet,
    "edge-strip": edge_strip,
    "gutter-ramp": gutter_ramp,
    "back-print": back_print,
}
SHEET_IDS = tuple(f"{kind}-{paper}" for kind in BUILDERS for paper in PAPERS)


@functools.cache
def sheet(sheet_id: str) -> Sheet:
    """Sheet of an id such as ``bed-sheet-a4``.

    Raises
    ------
    KeyError
        If there is no such sheet; `SHEET_IDS` names them all.
    """
    if sheet_id not in SHEET_IDS:
        raise KeyError(f"no sheet {sheet_id!r}; there are {', '.join(SHEET_IDS)}")
    kind, _, paper = sheet_id.rpartition("-")
    return BUILDERS[kind](paper)


def sheets(paper: str) -> tuple[Sheet, ...]:
    """All sheets for a paper (``a4``, ``letter``, ``a3``).

    Raises
    ------
    KeyError
        If no sheets are made for the paper.
    """
    return tuple(sheet(f"{kind}-{paper}") for kind in BUILDERS)


def by_tag(tag_id: int) -> tuple[Sheet, Piece, Tag] | None:
    """Where a fiducial belongs, or None if no sheet carries it."""
    return _tags().get(tag_id)


@functools.cache
def _tags() -> dict[int, tuple[Sheet, Piece, Tag]]:
    return {
        tag.id: (page, piece, tag)
        for page in map(sheet, SHEET_IDS)
        for piece in page.pieces
        for tag in piece.tags
    }
