"""Lightness of paper from one side of a scan inwards, print and pictures set aside."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from scanqa.catalogue import Side
from scanqa.measures.gutter.paper_level import paper_level
from scanqa.model import MM_PER_INCH, Floats, Placement, Reason
from scanqa.numeric.lightness import light_of, lstar, luma
from scanqa.numeric.scatter import alike_factor, median_error
from scanqa.reading.book_spine import Spine
from scanqa.reading.sides import from_side

BAND_MM = 10.0
DIP_L = 1.0  # shallower dips are grain: filling them would lift the level
GLINT_MM = 1.2  # a shine on the bent page; the space between lines of text is wider
FILL_MM = 8.0  # two lines of text and the space between them
PLATEAU_MM = (35.0, 70.0)  # beyond the lift of a page, still on the page of a small book
PLATEAU_SHARE = 0.5  # of the extent at most
MIN_PLATEAU_MM = 25.0  # or the image is too small
PAPER_DELTA_L = 5.0  # a band whose plateau is darker than the others' paper by more shows no paper
PAPER_L = 50.0  # darker than this is not a white page
MIN_BANDS = 3
CLEAR_MM = 3.0  # less than the closing fills, more than grain


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """Paper lightness from one side inwards.

    Attributes
    ----------
    at_mm : (n,)
        Distances from the image's border, block centres.
    along_mm : (bands,)
        Middle of each band that shows paper, along the side, from the image's top or left.
    lack : (bands, n)
        Plateau less level, L*, of each of them.
    plateau : float
        L* of the page further in, median of the bands.
    plateau_error : float
        Its standard error from the scatter of the bands.
    """

    at_mm: Floats
    along_mm: Floats
    lack: Floats
    plateau: float
    plateau_error: float

    @property
    def delta(self) -> Floats:
        """Median over the bands, (n,)."""
        return np.asarray(np.median(self.lack, axis=0), np.float64)


def paper_envelope(lightness: Floats, along_px: int, glint_px: int, fill_px: int) -> Floats:
    """Upper envelope of blocks (along the spine, inwards): (bands, inwards).

    Parameters
    ----------
    lightness : (rows, n)
        L* of blocks.
    along_px : int
        Blocks to a band.
    glint_px, fill_px : int
        Lengths along the way inwards: peaks that are narrower are cut off, then narrower dips are
        filled. Glints go first, or the dark between a glint and the page would be filled too.
    """
    count = max(1, len(lightness) // along_px)
    level = np.array([paper_level(band) for band in np.array_split(lightness, count, axis=0)])
    # Carried on level beyond both ends, or the closing would lift the darkest place, at the spine.
    wide = np.pad(level, ((0, 0), (fill_px, fill_px)), mode="edge")
    opened = ndimage.grey_opening(wide, size=(1, glint_px))
    wide = np.where(wide - opened > DIP_L, opened, wide)
    closed = ndimage.grey_closing(wide, size=(1, fill_px))
    wide = np.where(closed - wide > DIP_L, closed, wide)
    return np.asarray(wide[:, fill_px:-fill_px], np.float64)


def page_profile(placement: Placement, side: Side, spine: Spine | None = None) -> Profile | Reason:
    """Profile of the paper from one side inwards, or the reason why there is none.

    From a spine inside the image, if one is given: then distances are from where it is darkest.
    """
    step = placement.overview.step_px
    along, inwards = (1, 0) if side in ("left", "right") else (0, 1)
    pitch = [step * MM_PER_INCH / dpi for dpi in placement.dpi]
    extent = placement.size_mm[inwards]
    blocks = from_side(placement.overview.preview, side)
    if spine is not None:
        blocks = _from_spine(blocks, spine)
        extent = blocks.shape[1] * pitch[inwards]
    end_mm = min(PLATEAU_MM[1], PLATEAU_SHARE * extent)
    if end_mm < MIN_PLATEAU_MM:
        words = f"the image is only {extent:.0f} mm from the spine side inwards"
        return Reason("too-small", words)
    start_mm = end_mm * PLATEAU_MM[0] / PLATEAU_MM[1]
    shown = blocks[:, : int(end_mm / pitch[inwards])]
    lightness = lstar(luma(placement.light.light(shown)))
    fill = 2 * round(FILL_MM / pitch[inwards] / 2) + 1
    glint = 2 * round(GLINT_MM / pitch[inwards] / 2) + 1
    level = paper_envelope(lightness, max(1, round(BAND_MM / pitch[along])), glint, fill)
    at_mm = np.asarray((np.arange(level.shape[1]) + 0.5) * pitch[inwards], np.float64)
    if spine is None and side in (
        "right",
        "bottom",
    ):  # blocks start at the other side: a part block is missing here
        at_mm += extent - blocks.shape[1] * pitch[inwards]
    plateaus = np.median(level[:, at_mm >= start_mm], axis=1)
    page = float(np.percentile(plateaus, 75))
    if page < PAPER_L:
        return Reason("too-dark", "no white page there: lay the book open at white pages")
    paper = np.abs(plateaus - page) <= PAPER_DELTA_L
    if np.count_nonzero(paper) < MIN_BANDS:
        words = "too little bare paper along the spine: open the book at pages with more white"
        return Reason("too-few", words)
    lack = plateaus[paper, None] - level[paper]
    kept = plateaus[paper]
    bands = np.array_split(np.arange(len(lightness)) + 0.5, len(level))  # as in the envelope
    along_mm = np.array([band.mean() for band in bands]) * pitch[along]
    error = float(median_error(kept)) * alike_factor(kept - np.median(kept))
    return Profile(at_mm, along_mm[paper], lack, float(np.median(kept)), error)


def _from_spine(blocks: NDArray[Any], spine: Spine) -> NDArray[Any]:
    """Rows of blocks that all begin at a spine inside the image, which may lie askew."""
    rows = np.arange(len(blocks)) - (len(blocks) - 1) / 2
    starts = np.clip(np.round(spine.inwards_px + spine.slope * rows), 0, None).astype(int)
    length = max(blocks.shape[1] - int(starts.max()), 1)
    return np.stack(
        [row[start : start + length] for row, start in zip(blocks, starts, strict=True)]
    )


def delta_at(profile: Profile, distance_mm: float) -> float:
    """Median darkening (L*) at a distance from the border.

    Straight between block centres. From the first centre to the border the *light* is continued
    as the parabola through three blocks: light goes smoothly down to the fold, L* does not.
    """
    at_mm, delta = profile.at_mm, profile.delta
    if distance_mm >= at_mm[0]:
        return float(np.interp(distance_mm, at_mm, delta))
    light = light_of(profile.plateau - delta[:3])
    at_border = float(np.polyval(np.polyfit(at_mm[:3], light, 2), 0.0))
    border = profile.plateau - float(lstar(at_border))
    return float(np.interp(distance_mm, [0.0, at_mm[0]], [border, delta[0]]))


def reach(at_mm: Floats, delta: Floats, limit: float) -> float:
    """Distance from the border at which `delta` has fallen to `limit` for good; 0 if it starts so.

    "For good" is over the next `CLEAR_MM`: what is dark farther in (a picture's edge, a line of
    text at the end of the profile) is not the gutter. Straight between block centres; the last
    position if it never falls so far.
    """
    dark = delta > limit
    run = min(max(1, round(CLEAR_MM / float(at_mm[1] - at_mm[0]))), len(delta))
    ahead = np.cumsum(np.append(0, dark))
    clear = np.flatnonzero(ahead[run:] == ahead[:-run])
    if not len(clear):
        return float(at_mm[-1])
    i = int(clear[0])
    if i == 0:
        return 0.0
    part = (delta[i - 1] - limit) / (delta[i - 1] - delta[i])
    return float(at_mm[i - 1] + part * (at_mm[i] - at_mm[i - 1]))
