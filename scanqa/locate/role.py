"""What paper without a sheet looks like: blank, dark, an open book, or none of these.

All on the preview in linear light, cut into tiles of about a centimetre. The *level* of a tile is
a high percentile of its pixels: lines of print leave paper between them, so that the tiles of a
page agree on one level, apart from a smooth fall toward the sides and from pictures, which are
darker. In a photograph they do not agree, and something is lighter than most of it.

The limits were set on photographs and pages (see tests/locate/test_role.py); they are choices,
not physics. Whatever they get wrong, the user can put right by naming the role.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import MM_PER_INCH, Floats, Point, Role

TILE_MM = 12.0
TILES_ALONG = (16, 40)  # fewest and most tiles along the long side, whatever the dpi says
LEVEL = 85  # percentile of a tile's pixels
PAPER = 90  # percentile of the tiles' levels

DARKEST_PAPER = 0.2  # light
MOST_TINT = 0.5  # of paper: lightest less darkest channel, over the lightest
THIN = 3  # levels of the whole need no more than every third pixel
LIGHTER = (1.12, 0.01)  # more than this share of pixels lighter than so many times the paper

DARK_LIGHT = 0.15  # nothing on dark card is lighter
DARK_SPREAD = 0.06  # from its 2nd to its 98th percentile

BORDER_SHARE = 0.12  # of each side, left out when blankness is judged: edge shadow
PLAIN = 0.08  # a pixel this near the middle of its tile is plain
BLANK_PLAIN = 0.97  # share of plain pixels on blank paper: dust and streaks are few
BLANK_SHADE = 0.6  # lightest part of a blank bed to the darkest

BARE = 0.25  # of the paper; rows and columns of tiles below it lie beside the book
PAGE_TILE = 0.12  # a tile of a page has this level, or one this near
PAGE_PIXEL, PAGE_PIXELS = 0.08, 0.35  # and so much of it is that near its level
PAGE_SHARE = 0.5  # of the tiles of a book; the rest may be pictures
PRINTED = (0.03, 0.6)  # share of ink on a tile with words
PRINTED_SHARE = 0.15
GUTTER_DEPTH, GUTTER_MM = 0.55, 8.0  # darker than this, and still dark so far from the side
GUTTER_END = 0.9


@dataclass(frozen=True, slots=True, eq=False)
class _Tiles:
    """Pixels of each tile (rows, columns, pixels), their levels, and the paper's level."""

    pixels: Floats
    levels: Floats
    paper: float


def looks_like(light: NDArray[Any], step_px: int, dpi: Point | None) -> Role | None:
    """Role of a scan that shows no sheet.

    Parameters
    ----------
    light : (rows, columns, channels)
        Preview in linear light.
    step_px : int
        Pixels of the scan in one of the preview.
    dpi : (x, y) or None
        Of the scan.

    Returns
    -------
    str or None
        ``blank``, ``dark``, ``open-book``, or None for anything else.
    """
    grey = light.mean(axis=2, dtype=np.float64)
    low, high = np.percentile(grey[::THIN, ::THIN], (2, 98))
    if high < DARK_LIGHT:
        return "dark" if high - low < DARK_SPREAD else None
    mm_px = max(grey.shape) / 300 if dpi is None else sum(dpi) / 2 / MM_PER_INCH / step_px
    tiles = _tiles(grey, mm_px)
    if tiles is None or not _is_paper(light, grey, tiles):
        return None
    gutter = _has_gutter(grey, mm_px)
    if _is_blank(grey, tiles):
        return "open-book" if gutter else "blank"
    pages, printed = _pages(tiles)
    if pages >= PAGE_SHARE and (gutter or printed >= PRINTED_SHARE):
        return "open-book"
    return None


def _tiles(grey: Floats, mm_px: float) -> _Tiles | None:
    """Cut into whole tiles; None if the image is too small for any judgement."""
    longest = max(grey.shape)
    least, most = longest // TILES_ALONG[1], longest // TILES_ALONG[0]
    side = int(np.clip(round(TILE_MM * mm_px), max(least, 4), max(most, 4)))
    pixels = _cut(grey, side)
    if min(pixels.shape[:2]) < 3:
        return None
    levels = np.percentile(pixels, LEVEL, axis=2)
    return _Tiles(pixels, levels, float(np.percentile(levels, PAPER)))


def _cut(grey: Floats, side: int) -> Floats:
    rows, columns = (n // side for n in grey.shape)
    whole = grey[: rows * side, : columns * side].reshape(rows, side, columns, side)
    return whole.transpose(0, 2, 1, 3).reshape(rows, columns, side * side)


def _is_paper(light: NDArray[Any], grey: Floats, tiles: _Tiles) -> bool:
    """Whether the lightest common level can be paper: light, nearly grey, nothing lighter."""
    if tiles.paper < DARKEST_PAPER:
        return False
    factor, share = LIGHTER
    if np.mean(grey > factor * tiles.paper) > share:
        return False
    few, their_grey = light[::THIN, ::THIN], grey[::THIN, ::THIN]
    chosen = few[their_grey > tiles.paper / factor]
    if len(chosen) == 0:
        return False
    tint = np.median(chosen, axis=0)
    return bool(tint.max() - tint.min() < MOST_TINT * tint.max())


def _is_blank(grey: Floats, tiles: _Tiles) -> bool:
    """Whether all but few pixels inside the border are plain, and the shading is moderate."""
    rows, columns = (max(int(np.ceil(BORDER_SHARE * n)), 1) for n in tiles.levels.shape)
    inner = tiles.pixels[rows:-rows, columns:-columns]
    if inner.size == 0:
        return False
    middles = np.median(inner, axis=2)
    darkest, lightest = np.percentile(middles, (2, 98))
    if darkest < BLANK_SHADE * lightest:
        return False
    plain = np.abs(inner / middles[:, :, None] - 1) < PLAIN
    return bool(plain.mean() > BLANK_PLAIN)


def _has_gutter(grey: Floats, mm_px: float) -> bool:
    """Whether paper darkens deeply and softly, toward a side or in the middle."""
    return any(
        _soft_dip(np.percentile(grey, LEVEL, axis=axis), round(GUTTER_MM * mm_px))
        for axis in range(2)
    )


def _soft_dip(profile: Floats, reach: int) -> bool:
    """Whether a profile falls below `GUTTER_DEPTH` and takes at least `reach` to come back.

    Falls to nothing within a pixel or two are the end of the paper, not a shadow on it.
    """
    relative = profile / np.percentile(profile, PAPER)
    shadow = np.flatnonzero((relative < GUTTER_END) & (relative > BARE))
    runs = np.split(shadow, np.flatnonzero(np.diff(shadow) > 1) + 1)
    return any(len(run) >= reach and relative[run].min() < GUTTER_DEPTH for run in runs)


def _pages(tiles: _Tiles) -> tuple[float, float]:
    """Share of the book's tiles that have the level of the page, and share that bear words."""
    levels = tiles.levels
    across, down = np.percentile(levels, LEVEL, axis=0), np.percentile(levels, LEVEL, axis=1)
    page = np.minimum(across[None, :], down[:, None])  # falls toward the sides, not inside
    book = page > BARE * tiles.paper
    near = np.abs(tiles.pixels / np.maximum(levels, 1e-6)[:, :, None] - 1) < PAGE_PIXEL
    agrees = np.abs(levels - page) < PAGE_TILE * page
    of_page = book & agrees & (near.mean(axis=2) > PAGE_PIXELS)
    ink = (tiles.pixels < 0.85 * levels[:, :, None]).mean(axis=2)
    printed = of_page & (ink > PRINTED[0]) & (ink < PRINTED[1])
    count = max(int(book.sum()), 1)
    return float(of_page.sum()) / count, float(printed.sum()) / count
