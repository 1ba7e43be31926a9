"""Where plain paper ends on a glass that is larger than it.

Read in bands from each side of the image inwards. The paper's border is a *step* (a lid that is
grey, black or open) or, under a white lid, a thin dark *line*, the shadow of the sheet's edge; in
most bands it lies on one straight line, which may be askew. What lies at the image's own side is
none: the shadow of the frame grows toward the side and has no level of its own, a dead margin is a
narrow black strip that runs with the sensor. A line alone that runs exactly with the sensor may be
the scanner's, and is believed only if the level differs across it or the paper ends the other way
too.

The limits are choices, not physics.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from scanqa.catalogue import SIDES, Side
from scanqa.model import Floats
from scanqa.reading.sides import from_side

BAND_MM = 12.0
BANDS = (6, 30)  # fewest and most
NEAREST_MM = 2.5  # to the side: nearer, it is the shadow of the frame
DEAD_MM = 4.0  # a straight black strip narrower than this is a dead margin
FARTHEST = 0.7  # of the image's extent
PAPER = 0.85  # of the paper's level: paper too
INSIDE_MM = 25.0  # of paper beyond its border
STEP, LINE = 0.025, 0.012  # least change of light, least depth of the line, of the paper's level
GRAIN = 6.0  # a line is so much deeper than the usual dip of the grain
STEP_MM, LINE_MM = 0.9, 1.2  # within which a step is made; half the width of a line at most
LEVEL_DIFFERS = 0.006  # across a line
LEVEL = 0.2  # of a step: what lies before it changes less from one place to the next
DARK = 0.35
ONE_LEVEL = (20, 80)  # percentiles between which a lid hardly changes
MOST_LINES = 3  # in a band, of which one may be the border
SUPPORT = 0.55  # of the bands
STRAIGHT_MM = 0.9  # a border lies so near its line
MOST_SLOPE = 0.08
ASKEW_MM = 0.6  # over the length of the side: the scanner's own lines are straighter
AGAIN = 0.15  # of the bands: where paper goes on in more, something dark lies on it
MUCH = 0.15  # of the paper's level: shading is less
KEEP_OFF_MM = 1.5  # of the paper along its border: the shadow that its edge throws


@dataclass(frozen=True, slots=True)
class Box:
    """Inside of the paper, in pixels of the image: first column and row, and those after the last.

    `open_sides` are the sides of the image that the paper does not reach.
    """

    left: int
    top: int
    right: int
    bottom: int
    open_sides: tuple[Side, ...]


@dataclass(frozen=True, slots=True)
class _Border:
    inwards_px: float  # farthest from the side
    step: bool
    sure: bool


def find_border(grey: Floats, mm_px: float) -> Box | None:
    """The part of an image that plain paper covers; None if it covers all, or none is seen.

    Parameters
    ----------
    grey : (rows, columns)
        Light.
    mm_px : float
        Pixels per millimetre.
    """
    paper = float(np.percentile(grey[::3, ::3], 90))
    if paper <= 0:
        return None
    found: dict[Side, _Border] = {}
    for side in SIDES:
        border = _border(from_side(grey, side) / paper, mm_px)
        if border is not None:
            found[side] = border
    _drop_lines_in_the_paper(found, grey.shape, INSIDE_MM * mm_px)
    # A line that may be the scanner's is believed if the paper ends the other way as well.
    ways = {side in ("left", "right") for side in found}
    sure = {side: b for side, b in found.items() if b.sure or len(ways) > 1}
    if not sure:
        return None
    rows, columns = grey.shape
    off = KEEP_OFF_MM * mm_px
    inset = {side: int(np.ceil(b.inwards_px + off)) for side, b in sure.items()}
    box = Box(
        inset.get("left", 0),
        inset.get("top", 0),
        columns - inset.get("right", 0),
        rows - inset.get("bottom", 0),
        tuple(side for side in SIDES if side in sure),
    )
    enough = INSIDE_MM * mm_px
    return box if box.right - box.left > enough and box.bottom - box.top > enough else None


def _drop_lines_in_the_paper(
    found: dict[Side, _Border], shape: tuple[int, ...], enough: float
) -> None:
    """Leave out lines that leave no paper between two sides: a crease is seen from both of them."""
    pairs: tuple[tuple[Side, Side, int], ...] = (
        ("left", "right", shape[1]),
        ("top", "bottom", shape[0]),
    )
    for one, other, extent in pairs:
        inwards = sum(found[side].inwards_px for side in (one, other) if side in found)
        if extent - inwards > enough:
            continue
        for side in (one, other):
            if side in found and not found[side].step:
                del found[side]


def _border(image: Floats, mm_px: float) -> _Border | None:
    """The border toward the side at column 0, from bands along the first axis."""
    count = int(np.clip(len(image) / (BAND_MM * mm_px), *BANDS))
    parts = np.array_split(np.arange(len(image)), count)
    levels = np.array([_middle_mean(image[part]) for part in parts])
    along = np.array([part.mean() for part in parts])
    for kind in (_steps, _lines):
        found = [kind(level, mm_px) for level in levels]
        if kind is _lines and np.median([len(places) for places in found]) > MOST_LINES:
            return None  # ruled, squared, laid with chain lines: none of them is a border
        border = _straight(found, levels, along, mm_px, step=kind is _steps)
        if border is not None:
            return border
    return None


def _middle_mean(band: Floats) -> Floats:
    """Mean of the middle half: no dust, and no steps of whole codes as a median has."""
    ordered = np.sort(band, axis=0)
    quarter = len(band) // 4
    return np.asarray(ordered[quarter : len(band) - quarter].mean(axis=0))


def _steps(level: Floats, mm_px: float) -> list[int]:
    """Places where the light changes at once from another level to that of paper."""
    half = max(round(STEP_MM * mm_px / 2), 1)
    smooth = ndimage.uniform_filter1d(level, half, mode="nearest")
    change = np.zeros(len(level))
    change[half:-half] = smooth[2 * half :] - smooth[: -2 * half]
    size = np.abs(change)
    peaks = (size >= ndimage.maximum_filter1d(size, 4 * half + 1)) & (size > STEP)
    return [int(at) for at in np.flatnonzero(peaks) if _lies_inside(level, int(at), mm_px, change)]


def _lies_inside(level: Floats, at: int, mm_px: float, change: Floats) -> bool:
    """Whether paper lies beyond a step, and before it something of a level of its own."""
    if not NEAREST_MM * mm_px <= at <= FARTHEST * len(level):
        return False
    rim = max(round(STEP_MM * mm_px), 2)
    beyond = level[at + rim : at + rim + int(INSIDE_MM * mm_px)]
    if len(beyond) < INSIDE_MM * mm_px / 2 or np.percentile(beyond, 10) < PAPER:
        return False
    before = level[max(at - rim - int(INSIDE_MM * mm_px), 0) : max(at - rim, 1)]
    step = float(np.median(beyond[: 4 * rim]) - np.median(before[-4 * rim :]))
    if abs(step) < STEP or abs(step) < 0.6 * abs(change[at]):
        return False
    nearer, farther = (level[max(at - n * rim, 0) : max(at - (n - 1) * rim, 1)] for n in (2, 3))
    if len(farther) == 0 or abs(np.median(nearer) - np.median(farther)) > LEVEL * abs(step):
        return False  # it climbs before as well: a shadow
    low, high = np.percentile(level[: max(at - rim, 1)], ONE_LEVEL)
    if high - low > 0.6 * abs(step):
        return False  # a picture on the paper: paper again, or many levels, before it
    # The frame's shadow climbs all the way: half of it has half the change.
    half = before[len(before) // 2 :]
    return bool(abs(float(np.median(half[-rim:]) - np.median(half[:rim]))) < 0.4 * abs(step))


def _lines(level: Floats, mm_px: float) -> list[int]:
    """Places of thin dark lines with light on both sides of them."""
    reach = max(round(LINE_MM * mm_px), 2)
    closed = ndimage.grey_closing(level, size=2 * reach + 1)
    depth = closed - level
    least = max(LINE, GRAIN * float(np.median(depth)))
    peaks = (depth >= ndimage.maximum_filter1d(depth, 2 * reach + 1)) & (depth > least)
    inside = int(INSIDE_MM * mm_px)
    return [
        int(at)
        for at in np.flatnonzero(peaks)
        if NEAREST_MM * mm_px <= at <= FARTHEST * len(level)
        and np.percentile(level[at + reach : at + reach + inside], 10) >= PAPER
        and np.median(level[max(at - inside, 0) : at]) >= PAPER
    ]


def _straight(
    found: list[list[int]], levels: Floats, along: Floats, mm_px: float, *, step: bool
) -> _Border | None:
    """The straight line on which most bands have a place; the outermost if several."""
    rows = np.array([along[band] for band, places in enumerate(found) for _ in places])
    places = np.array([at for each in found for at in each], float)
    bands = np.array([band for band, each in enumerate(found) for _ in each])
    if len(np.unique(bands)) < max(SUPPORT * len(found), 4):
        return None
    middle = along.mean()
    best: tuple[int, float, np.ndarray[tuple[int], np.dtype[np.bool_]]] | None = None
    for slope in np.linspace(-MOST_SLOPE, MOST_SLOPE, 81):
        at = places - slope * (rows - middle)
        for place in np.unique(np.round(at)):
            near = np.abs(at - place) < STRAIGHT_MM * mm_px
            count = len(np.unique(bands[near]))
            if best is None or count > best[0] or (count == best[0] and abs(slope) < abs(best[1])):
                best = (count, float(slope), near)
    if best is None or best[0] < max(SUPPORT * len(found), 4):
        return None
    slope, middle_px = np.polyfit(rows[best[2]] - middle, places[best[2]], 1)
    ends = middle_px + slope * (np.array([along[0], along[-1]]) - middle)
    askew = abs(ends[1] - ends[0]) > ASKEW_MM * mm_px
    at = int(middle_px)
    level = np.median(levels, axis=0)
    rim = max(round(2 * STEP_MM * mm_px), 3)
    outside, inside = _beside(level, at, rim)
    if step and outside < DARK and not askew and at < DEAD_MM * mm_px:
        return None
    line = np.clip(np.rint(middle_px + slope * (along - middle)), 0, len(level) - 2 * rim)
    if step and _goes_on(levels, line.astype(int), np.unique(bands[best[2]]), rim):
        return None
    sure = step or askew or abs(inside - outside) > LEVEL_DIFFERS
    return _Border(float(ends.max()), step, sure)


def _goes_on(levels: Floats, line: NDArray[np.int_], on_it: NDArray[np.int_], rim: int) -> bool:
    """Whether paper lies before the line too, in some of the bands that show no step there.

    Such a line is the end of what lies on the paper: strips, prints, labels. Beside a border that
    a band misses lies the same as elsewhere beside it.
    """
    each = [_beside(level, at, rim) for level, at in zip(levels, line.tolist(), strict=True)]
    before, beyond = np.maximum(np.array(each).T, 1e-6)
    paper, lid = np.median(beyond[on_it]), np.median(before[on_it])
    if abs(lid / paper - 1) < MUCH:
        return False  # a light lid: shading alone makes it as light as paper elsewhere
    on_paper = np.abs(beyond - paper) < np.abs(beyond - lid)
    as_light = np.abs(before / beyond - 1) < np.abs(before / beyond - lid / paper)
    return bool((on_paper & as_light).mean() > AGAIN)


def _beside(level: Floats, at: int, rim: int) -> tuple[float, float]:
    """Light before a place and beyond it, clear of what is made within a rim."""
    before, beyond = level[max(at - 4 * rim, 0) : max(at - rim, 1)], level[at + rim : at + 4 * rim]
    return float(np.median(before)), float(np.median(beyond))
