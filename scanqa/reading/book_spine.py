"""Where the spine of an open book runs: paper that darkens softly toward one straight line.

The image is cut into bands across a possible spine. In each band the *level* of a column is a high
percentile, so that print does not count. A *flank* is a place where the level falls from that of
the page to well below it over a stretch that is neither as short as the end of a sheet (or the
side of a picture) nor as long as a lamp's falloff. Flanks of many bands that end on one straight
line, a little askew at most, are a spine; two that face each other have it inside the image. A
soft fall toward opposite sides of the image is the frame's shadow or the lamp, and no spine.

The limits were set on the pages of tests/real and on photographs; they are choices, not physics.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from scipy import ndimage

from scanqa.catalogue import SIDES, Side
from scanqa.model import Floats
from scanqa.numeric.medians import percentiles
from scanqa.reading.sides import from_side

LEVEL = 85  # percentile of the pixels of a column within a band
BAND_MM = 12.0
BANDS = (5, 40)  # fewest and most
FILL_MM, SMOOTH_MM = 2.0, 0.8  # strokes and rules along the spine; grain
BLACK = 0.1  # of the page's level: it ends there
LIT = 0.5  # of the lightest band: darker ones show no page
LEAST_PAGE_MM = 10.0  # of page before a flank
SOFT_PX = 2.0  # a flank takes at least so long to become deep, whatever the dpi
MOST_SHARE, MOST_OF_DEEP = 0.45, 0.8  # of the image's extent; of a fall to `VERY_DEEP`
VERY_DEEP = 0.5
RISE = 0.1  # of the page: what comes back by more is the other page, or a picture's end
DROP, DROP_MM = 0.3, 1.0  # falling by so much within so little is the end of the paper
FACING_REACH_MM = 3.0  # of two flanks that face each other
ALONE_REACH_MM, ALONE_DEPTH = 10.0, 0.5  # inside, the other page not seen: a fan of pages is less
NEAR_MM, NEAR_SHARE = 7.0, 0.35  # flanks on one line end within this of it, or of their reach
SLOPES = np.linspace(-0.15, 0.15, 31)  # a book may lie so much askew
SUPPORT = 0.6  # of the bands that show a page
BORDER_MM = 6.0  # a spine this near the image's side lies at it
LEAD = 1.8  # the plainest flank over any other
FACING_MM = 18.0  # two flanks this near each other are of one spine


@dataclass(frozen=True, slots=True)
class _Asked:
    """What is asked of a flank: where it begins and what it must reach, of the page's level.

    Then how long it takes for that at least, and its least length: a frame's shadow is shorter.
    """

    page: float
    deep: float
    soft_mm: float
    reach_mm: float


PLAIN, TOLD = _Asked(0.9, 0.72, 1.2, 5.0), _Asked(0.95, 0.9, 0.4, 1.5)


@dataclass(frozen=True, slots=True)
class Spine:
    """A line to which paper darkens, in pixels of the image that was searched.

    Attributes
    ----------
    toward : str
        The side of the image to which the page darkens: ``right`` has its page on the left.
    inwards_px : float
        Its distance from that side, in the middle of the side.
    slope : float
        How much that grows for each pixel along the side (down, or to the right).
    depth : float
        Darkest level over the page's, median of the bands.
    reach_mm : float
        From where the fall begins to the line, median.
    inside : bool
        Whether the spine lies inside the image; else at its side.
    """

    toward: Side
    inwards_px: float
    slope: float
    depth: float
    reach_mm: float
    inside: bool


class _Flank(NamedTuple):
    along: float  # middle of its band
    end: int  # distance from the side where it is darkest
    depth: float
    reach: int


def find_spines(grey: Floats, mm_px: float, told: Side | None = None) -> tuple[Spine, ...]:
    """Every side of a spine that an image shows: none, one, or two that face each other.

    Parameters
    ----------
    grey : (rows, columns)
        Light.
    mm_px : float
        Pixels per millimetre.
    told : str, optional
        The side where the user says that books have their spine: less is asked of a flank there.
    """
    found = [
        spine
        for side in SIDES
        if (spine := _spine(from_side(grey, side), side, mm_px, PLAIN)) is not None
    ]
    seen = _facing(found, grey.shape, mm_px) or _alone(found)
    if told is None or any(spine.toward == told for spine in seen):
        return seen
    weak = _spine(from_side(grey, told), told, mm_px, TOLD)
    if weak is None or weak.inside or weak.reach_mm < TOLD.reach_mm:
        return seen
    return (weak,)


def _facing(found: list[Spine], shape: tuple[int, ...], mm_px: float) -> tuple[Spine, ...]:
    """Two flanks inside the image that share one spine."""
    inner = [spine for spine in found if spine.inside and spine.reach_mm >= FACING_REACH_MM]
    for first, second, extent in (("left", "right", shape[1]), ("top", "bottom", shape[0])):
        pair = [spine for spine in inner if spine.toward in (first, second)]
        apart = extent - sum(spine.inwards_px for spine in pair)
        if len(pair) == 2 and abs(apart) < FACING_MM * mm_px:
            return tuple(pair)
    return ()


def _alone(found: list[Spine]) -> tuple[Spine, ...]:
    """The one flank that is plainer than all others, if it is plain enough."""
    plain = [
        spine
        for spine in found
        if (
            spine.reach_mm >= ALONE_REACH_MM and spine.depth < ALONE_DEPTH
            if spine.inside
            else spine.reach_mm >= PLAIN.reach_mm
        )
    ]
    plain.sort(key=_area, reverse=True)
    if len(plain) > 1 and _area(plain[0]) < LEAD * _area(plain[1]):
        return ()  # the frame's shadow, or the lamp's fall
    return tuple(plain[:1])


def _area(spine: Spine) -> float:
    return spine.reach_mm * (1 - spine.depth)


def _spine(image: Floats, side: Side, mm_px: float, asked: _Asked) -> Spine | None:
    """The line toward one side (bands along the first axis, the side at column 0)."""
    count = int(np.clip(len(image) / (BAND_MM * mm_px), *BANDS))
    parts = np.array_split(np.arange(len(image)), count)
    levels = np.array([percentiles(image[part], LEVEL, 0) for part in parts])
    fill = 2 * round(FILL_MM * mm_px / 2) + 1
    levels = ndimage.grey_closing(levels, size=(1, fill))
    levels = ndimage.gaussian_filter1d(levels, SMOOTH_MM * mm_px, axis=1)
    pages = np.percentile(levels, 80, axis=1)
    lit = pages > LIT * pages.max()
    middles = [float(part.mean()) for part in parts]
    flanks = [
        flank
        for band in np.flatnonzero(lit)
        for flank in _flanks(levels[band, ::-1] / pages[band], middles[band], mm_px, asked)
    ]
    return _on_one_line(flanks, int(lit.sum()), image.shape, side, mm_px)


def _flanks(level: Floats, along: float, mm_px: float, asked: _Asked) -> Iterator[_Flank]:
    """Soft falls of one band's level, read toward the side (which is at its end)."""
    count = len(level)
    page_px = max(int(LEAST_PAGE_MM * mm_px), 3)
    deep = level < asked.deep
    for crossing in np.flatnonzero(deep[1:] & ~deep[:-1]) + 1:
        page = np.flatnonzero(level[:crossing] >= asked.page)
        if not len(page):
            continue
        start = int(page[-1])
        before = level[max(start - page_px, 0) : start + 1]
        if len(before) < page_px or np.median(before) < asked.page:
            continue
        if crossing - start < max(asked.soft_mm * mm_px, SOFT_PX):
            continue
        darkest = _darkest(level, start, int(crossing), max(round(DROP_MM * mm_px), 1))
        share = MOST_OF_DEEP if level[darkest] < VERY_DEEP else MOST_SHARE
        if level[darkest] < asked.deep and darkest - start <= share * count:
            yield _Flank(along, count - 1 - darkest, float(level[darkest]), darkest - start)


def _darkest(level: Floats, start: int, crossing: int, drop_px: int) -> int:
    """Where a fall is darkest before the paper ends or it comes back."""
    darkest = start
    for at in range(start, len(level)):
        if level[max(at - drop_px, start)] - level[at] > DROP:
            return min(darkest, max(at - drop_px, start))  # the end of the paper
        if level[at] < level[darkest]:
            darkest = at
        if level[at] < BLACK or (at > crossing and level[at] > level[darkest] + RISE):
            break
    return darkest


def _on_one_line(
    flanks: list[_Flank], lit: int, shape: tuple[int, ...], side: Side, mm_px: float
) -> Spine | None:
    """The line on which most bands have a flank that ends there."""
    if len(flanks) < max(BANDS[0] - 1, SUPPORT * lit):
        return None
    along = np.array([flank.along for flank in flanks])
    end = np.array([float(flank.end) for flank in flanks])
    reach = np.array([float(flank.reach) for flank in flanks])
    near_px = np.maximum(NEAR_MM * mm_px, NEAR_SHARE * reach)
    best = (0, np.zeros(len(flanks), bool), 0.0)
    for slope in sorted(SLOPES, key=abs):
        at = end - slope * (along - (shape[0] - 1) / 2)
        for place in at:
            near = np.abs(at - place) < near_px
            bands = len(np.unique(along[near]))
            if bands > best[0]:
                best = (bands, near, float(slope))
    bands, near, slope = best
    reach_mm = float(np.median(reach[near])) / mm_px if bands else 0.0
    if bands < max(BANDS[0] - 1, SUPPORT * lit):
        return None
    place = float(np.median((end - slope * (along - (shape[0] - 1) / 2))[near]))
    depth = float(np.median(np.array([flank.depth for flank in flanks])[near]))
    return Spine(side, place, slope, depth, reach_mm, place > BORDER_MM * mm_px)
