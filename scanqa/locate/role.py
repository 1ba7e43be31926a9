"""What lies on the glass where there is no sheet: on positive evidence, or a page, or a picture.

All on the preview in linear light, cut into tiles of about a centimetre. The *level* of a tile is
a high percentile of its pixels: lines of print leave paper between them. *Ink* is what is darker
than that and thin: a closing by a quarter of a tile takes it away. *Print* is ink in lines, so
that its rows differ far more than its columns, or the other way round; dots, leaves and grains
have no such way.

- ``dark``: nothing lighter than black card.
- ``blank``: paper inside its border (`reading.paper_border`), plain to the last tile, not ruled.
- ``open-book``: print on paper and a spine (`reading.book_spine`); on paper without print only
  where the user says that the spine lies, since a lamp may fail at a side, and lids have shadows.
- ``edge-card``: one light, plain piece, turned a little, on black (`edge_card`).
- ``page``: print on paper without a spine, or paper with little on it.
- ``picture``: anything else.

The limits were set on photographs and pages (see tests/locate/test_role.py, tests/real); they are
choices, not physics. Whatever they get wrong, the user can put right by naming the role.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from scanqa.catalogue import SIDES
from scanqa.locate.edge_card import is_edge_card
from scanqa.locate.preview_tiles import LEVEL, Tiles, cells, cut_tiles, without_noise
from scanqa.model import MM_PER_INCH, Floats, Point, Role, Side
from scanqa.numeric.lightness import mean_of_channels
from scanqa.numeric.medians import medians, percentiles
from scanqa.reading.book_spine import Spine, find_spines
from scanqa.reading.paper_border import Box, find_border

LONG_SIDE_MM = 300  # of an image whose dpi is not known: to look at it, not to measure

DARKEST_PAPER = 0.2  # light
MOST_TINT = 0.5  # of paper: lightest less darkest channel, over the lightest
THIN = 3  # levels of the whole need no more than every third pixel
LIGHTER = (1.12, 0.012)  # more than this share of pixels lighter than so many times the paper

DARK_LIGHT = 0.15  # nothing on dark card is lighter
DARK_SPREAD = 0.06  # from its 2nd to its 98th percentile

BORDER_SHARE = 0.12  # of each side, left out when the shading is judged: edge shadow
PLAIN = 0.08  # a pixel this near the middle of its tile is plain
BLANK_PLAIN = 0.97  # share of plain pixels on blank paper: dust and streaks are few
BLANK_SHADE = 0.6  # lightest part of a blank bed to the darkest
INKED, INKED_TILES = 0.03, 0.01  # share of ink on a tile that is written on; of such tiles
FEW_TILES = 2  # dirt may look like writing
STROKE_MM, FEW_STROKES = (15.0, 0.8), 3  # longer and thinner than a letter; more are a drawing
RULE_DEPTH, RULES, RULE_STRIPS = 0.025, 6, 8  # of a ruled line, number of them, in most of strips
RULE_PITCH_MM = (3.0, 16.0)
LEAST_PART_MM = 36.0  # three tiles: a smaller part of plain paper says nothing
REGULAR = (0.15, 0.7)  # pitches so near their median, and what share of them

BARE = 0.25  # of the paper; tiles below it lie beside the page
INK, NOT_LARGE = 0.85, 0.88  # of a tile's level: darker is ink, if closing lifts it above
PRINTED = (0.03, 0.6)  # share of ink on a tile with words
PRINTED_SHARE = 0.15  # of the page's tiles
LINED, ONE_WAY = 0.5, 3.0  # share of printed tiles in lines; over those in lines the other way
WAYS = 2.0  # rows differ so much more than columns
LITTLE, STROKES = 0.4, 0.6  # of tiles with little on them; of all that is dark there
SPECKS = 0.002  # of the page
WHITE_DEPTH, WHITE_REACH_MM = 0.55, 6.0  # of what may be a spine on paper without print


@dataclass(frozen=True, slots=True)
class Look:
    """What an image looks like.

    Attributes
    ----------
    role : str
        ``blank``, ``dark``, ``edge-card``, ``open-book``, ``page`` or ``picture``.
    paper : Box or None
        Inside of a blank's paper in pixels of the preview, where it does not cover the glass.
    spines : tuple of Spine
        Of an open book, in pixels of the preview.
    """

    role: Role
    paper: Box | None = None
    spines: tuple[Spine, ...] = ()


def look_at(
    light: NDArray[Any], step_px: int, dpi: Point | None, book_edge: Side | None = None
) -> Look:
    """What a scan shows that has no sheet on it.

    Parameters
    ----------
    light : (rows, columns, channels)
        Preview in linear light.
    step_px : int
        Pixels of the scan in one of the preview.
    dpi : (x, y) or None
        Of the scan.
    book_edge : str, optional
        The side where the user says that the spine of books lies: there a weaker darkening is
        evidence of one.
    """
    grey = mean_of_channels(light)
    low, high = np.percentile(grey[::THIN, ::THIN], (2, 98))
    if high < DARK_LIGHT:
        return Look("dark" if high - low < DARK_SPREAD else "picture")
    mm_px = max(grey.shape) / LONG_SIDE_MM if dpi is None else sum(dpi) / 2 / MM_PER_INCH / step_px
    if is_edge_card(grey, mm_px):
        return Look("edge-card")
    tiles = cut_tiles(grey, mm_px)
    if tiles is None or not _is_paper(light, grey, tiles):
        return Look("picture")
    box = find_border(grey, mm_px)
    inner = grey if box is None else grey[box.top : box.bottom, box.left : box.right]
    ink, lined = _print(grey, tiles)
    if not lined and is_plain(inner, mm_px):
        return _white(grey, mm_px, book_edge, box)
    if lined:
        spines = find_spines(grey, mm_px, book_edge)
        return Look("open-book" if spines else "page", spines=spines)
    if not _has_little(grey, tiles, ink):
        return Look("picture")
    spines = find_spines(grey, mm_px, book_edge)
    told = any(spine.toward == book_edge for spine in spines)
    return Look("open-book", spines=spines) if told else Look("page")


def is_plain(grey: Floats, mm_px: float) -> bool:
    """Whether light is that of plain paper: few specks, moderate shading, no words, no rules.

    Parameters
    ----------
    grey : (rows, columns)
        Of paper, or what may be it, inside its border.
    mm_px : float
        Pixels per millimetre.
    """
    grey, mm_px, _ = without_noise(grey, mm_px)
    tiles = cut_tiles(grey, mm_px)
    if tiles is None or not _is_even(tiles):
        return False
    if any(_is_ruled(turned, mm_px) for turned in (grey, grey.T)):
        return False
    without = _without_lines(_without_lines(grey, mm_px).T, mm_px).T
    tiles = cut_tiles(without, mm_px)
    if tiles is None:
        return False
    ink = _ink(without, tiles)
    few = max(INKED_TILES * tiles.levels.size, FEW_TILES)
    if _inked(ink, tiles).sum() <= few:
        return True
    return bool(_inked(_without_strokes(ink, mm_px), tiles).sum() <= few)


def _inked(ink: NDArray[np.bool_], tiles: Tiles) -> NDArray[np.bool_]:
    """On which tiles something is written."""
    return np.asarray(cells(ink, tiles.side).mean(axis=2) > INKED)


def _without_strokes(ink: NDArray[np.bool_], mm_px: float) -> NDArray[np.bool_]:
    """Ink less what is longer and thinner than any letter: few creases, hairs, strokes of a pen."""
    parts, _ = ndimage.label(ink, np.ones((3, 3)))
    long = [
        number
        for number, at in enumerate(ndimage.find_objects(parts), 1)
        if max(at[0].stop - at[0].start, at[1].stop - at[1].start) > STROKE_MM[0] * mm_px
        and (parts[at] == number).sum()
        < STROKE_MM[1] * mm_px * np.hypot(at[0].stop - at[0].start, at[1].stop - at[1].start)
    ]
    return ink if len(long) > FEW_STROKES else ink & ~np.isin(parts, long)


def plain_part(grey: Floats, mm_px: float) -> tuple[Box | None, float]:
    """The largest upright part of an image that is plain paper, and the share that is not.

    A whole that is plain but for its shading is one part. Else tiles are plain where nearly all
    pixels keep to their middle, which is as light as paper.

    Parameters
    ----------
    grey : (rows, columns)
        Light.
    mm_px : float
        Pixels per millimetre.

    Returns
    -------
    box : Box or None
        None if no part of `LEAST_PART_MM` both ways is plain.
    share : float
        Of the image that is not plain.
    """
    rows, columns = grey.shape
    if is_plain(grey, mm_px):
        return Box(0, 0, columns, rows, ()), 0.0
    grey, mm_px, per = without_noise(grey, mm_px)
    tiles = cut_tiles(grey, mm_px)
    if tiles is None:
        return None, 1.0
    middles = medians(tiles.pixels)
    near = np.abs(tiles.pixels / np.maximum(middles, 1e-6)[:, :, None] - 1) < PLAIN
    light = middles > BLANK_SHADE * tiles.paper
    plain = light & (near.mean(axis=2) > BLANK_PLAIN)
    share = 1 - float(plain.mean())
    top, left, bottom, right = _largest_true(plain)
    least = LEAST_PART_MM * mm_px / tiles.side
    if min(bottom - top, right - left) < least:
        return None, share
    at_side = {"left": left == 0, "top": top == 0, "right": right == plain.shape[1]}
    at_side["bottom"] = bottom == plain.shape[0]
    side_px = tiles.side * per
    return Box(
        left * side_px,
        top * side_px,
        columns if at_side["right"] else right * side_px,
        rows if at_side["bottom"] else bottom * side_px,
        tuple(side for side in SIDES if not at_side[side]),
    ), share


def _largest_true(plane: NDArray[np.bool_]) -> tuple[int, int, int, int]:
    """First row and column, and those after the last, of the largest rectangle of true cells."""
    sums = np.pad(plane.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    best = (0, 0, 0, 0)
    area = 0
    rows, columns = plane.shape
    for top in range(rows):
        for bottom in range(top + 1, rows + 1):
            full = sums[bottom, 1:] - sums[top, 1:] - sums[bottom, :-1] + sums[top, :-1]
            run = 0
            for column in range(columns):
                run = run + 1 if full[column] == bottom - top else 0
                if run * (bottom - top) > area:
                    area = run * (bottom - top)
                    best = (top, column + 1 - run, bottom, column + 1)
    return best


def _white(grey: Floats, mm_px: float, book_edge: Side | None, box: Box | None) -> Look:
    """Plain paper: blank, unless it darkens as at a spine.

    A white page by its spine, a lid by its frame and a bed by a failing lamp look alike: only
    where the user says that the spine lies is it a book.
    """
    found = find_spines(grey, mm_px)
    spines = tuple(s for s in found if s.reach_mm >= WHITE_REACH_MM and s.depth < WHITE_DEPTH)
    if not spines:
        return Look("blank", box)
    told = [s for s in spines if s.toward == book_edge]
    return Look("open-book", spines=spines) if told else Look("page")


# ----------------------------------------------------------------------------------- tiles


def _is_paper(light: NDArray[Any], grey: Floats, tiles: Tiles) -> bool:
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


# ------------------------------------------------------------------------------ plain paper


def _is_even(tiles: Tiles) -> bool:
    """Whether all but few pixels inside the border are plain, and the shading is moderate."""
    rows, columns = (max(int(np.ceil(BORDER_SHARE * n)), 1) for n in tiles.levels.shape)
    inner = tiles.pixels[rows:-rows, columns:-columns]
    if inner.size == 0:
        return False
    middles = medians(inner)
    darkest, lightest = np.percentile(middles, (2, 98))
    if darkest < BLANK_SHADE * lightest:
        return False
    plain = np.abs(inner / middles[:, :, None] - 1) < PLAIN
    return bool(plain.mean() > BLANK_PLAIN)


def _is_ruled(grey: Floats, mm_px: float) -> bool:
    """Whether dark lines lie along the rows at one pitch, a little askew at most."""
    strips = np.array_split(grey, RULE_STRIPS, axis=1)
    seen = 0
    for strip in strips:
        dips = 1 - _line_shape(medians(strip), mm_px)
        reach = max(round(RULE_PITCH_MM[0] / 2 * mm_px), 1)
        peaks = (dips == ndimage.maximum_filter1d(dips, 2 * reach + 1)) & (dips > RULE_DEPTH)
        pitch = np.diff(np.flatnonzero(peaks)) / mm_px
        if len(pitch) < RULES - 1:
            continue
        middle = np.median(pitch)
        regular = np.abs(pitch - middle) < REGULAR[0] * middle
        between = RULE_PITCH_MM[0] <= middle <= RULE_PITCH_MM[1]
        seen += bool(between and regular.mean() >= REGULAR[1])
    return seen > RULE_STRIPS / 2


def _line_shape(profile: Floats, mm_px: float) -> Floats:
    """A profile over what it is without lines."""
    wide = 2 * round(RULE_PITCH_MM[0] / 2 * mm_px) + 1
    smooth = ndimage.median_filter(profile, wide, mode="nearest")
    return np.asarray(profile / np.maximum(smooth, 1e-6))


def _without_lines(grey: Floats, mm_px: float) -> Floats:
    """Dark lines along the columns taken off: those of the scanner are no writing."""
    return grey / np.minimum(_line_shape(medians(grey, 0), mm_px), 1)


# ------------------------------------------------------------------------------------ print


def _ink(grey: Floats, tiles: Tiles) -> NDArray[np.bool_]:
    """Pixels that are darker than their tile's level and part of something thin."""
    size = max(3, 2 * round(tiles.side / 8) + 1)
    # All is dark beyond the image: the frame's shadow is not closed. SciPy's takes thrice the time.
    square = np.ones((size, size), np.uint8)
    closed = cv2.morphologyEx(
        grey, cv2.MORPH_CLOSE, square, borderType=cv2.BORDER_CONSTANT, borderValue=0.0
    )
    level = _level_map(grey, tiles)
    return np.asarray((grey < INK * level) & (closed > NOT_LARGE * level))


def _has_little(grey: Floats, tiles: Tiles, ink: NDArray[np.bool_]) -> bool:
    """Whether there are few words, or other strokes, on paper and hardly anything large."""
    if _inked(ink, tiles).mean() > LITTLE:
        return False
    across, down = (percentiles(grey, LEVEL, axis) for axis in range(2))
    page = np.minimum(across, down[:, np.newaxis])  # falls toward the sides, not inside
    dark = (grey < INK * page) & (page > BARE * tiles.paper)
    return bool(ink.sum() > STROKES * dark.sum() or dark.mean() < SPECKS)


def _level_map(grey: Floats, tiles: Tiles) -> Floats:
    """The level of its tile at each pixel."""
    level = np.kron(tiles.levels, np.ones((tiles.side, tiles.side)))
    missing = [(0, n - m) for n, m in zip(grey.shape, level.shape, strict=True)]
    return np.asarray(np.pad(level, missing, mode="edge"))


def _print(grey: Floats, tiles: Tiles) -> tuple[NDArray[np.bool_], bool]:
    """Ink, and whether it stands in lines on enough of the page."""
    ink = _ink(grey, tiles)
    rows, columns = tiles.levels.shape
    cut = cells(ink, tiles.side).reshape(rows, columns, tiles.side, tiles.side)
    share = cut.mean(axis=(2, 3))
    page = tiles.levels > BARE * tiles.paper
    printed = page & (share > PRINTED[0]) & (share < PRINTED[1])
    if printed.sum() < PRINTED_SHARE * page.sum():
        return ink, False
    dark = np.where(ink, 1 - grey / np.maximum(np.percentile(grey, LEVEL), 1e-6), 0.0)
    cut = cells(dark, tiles.side).reshape(rows, columns, tiles.side, tiles.side)[printed]
    down, across = (_unevenness(cut.mean(axis=axis)) for axis in (2, 1))
    lines = (np.mean(down > WAYS * across), np.mean(across > WAYS * down))
    return ink, bool(max(lines) >= LINED and max(lines) >= ONE_WAY * min(lines))


def _unevenness(profiles: Floats) -> Floats:
    """Variance of each profile about a straight line."""
    at = np.arange(profiles.shape[1]) - (profiles.shape[1] - 1) / 2
    slope = profiles @ at / (at @ at)
    rest = profiles - profiles.mean(axis=1, keepdims=True) - slope[:, None] * at
    return np.asarray(rest.var(axis=1))
