"""How plain paper lies in one scan against another, from the clouds that both show.

A tile of the first preview is sought in the whole of the other, upright and turned by quarters: the
paper's own texture is the one thing that goes with it. What belongs to the device (shading, lines,
specks) is taken off before. Paper of which nothing is seen stays unknown.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from scanqa.model import MM_PER_INCH, Floats, PaperLies, Placement
from scanqa.numeric.own_signal import correlation
from scanqa.numeric.spread import sigma_about_zero
from scanqa.reading.bed_light import bed_luma, clouds

TILE_MM = 40.0  # within which a sheet that lies askew by a degree or two still matches
TILES = ((0.5, 0.5), (0.3, 0.35), (0.7, 0.65))  # middles, as shares of the bed
CLEAR, BEYOND_DOUBT = 8.0, 16.0  # height of the peak over the scatter
STILL_BLOCKS = 1.5
BACKGROUND_MM = 4.0  # shading and shadows are wider, the clouds of paper finer
DARKEST = 0.3  # of the median light
MARGIN_MM = 3.0

QUARTERS: dict[int, PaperLies] = {0: "moved", 1: "quarter", 2: "half", 3: "quarter"}


def paper_lies(blanks: Sequence[Placement]) -> tuple[PaperLies, ...]:
    """How the paper of each scan lies against that of the first scan of the same size and dpi.

    Parameters
    ----------
    blanks : sequence of Placement
        Scans of plain paper.

    Returns
    -------
    tuple of str
        For each: ``first``; ``still``; ``moved`` (or turned a little); ``quarter`` or ``half`` if
        turned by 90° or 180°; empty if the paper shows too little to tell.
    """
    groups: dict[object, list[int]] = {}
    for at, blank in enumerate(blanks):
        key = (blank.overview.preview.shape, blank.overview.step_px, blank.dpi)
        groups.setdefault(key, []).append(at)
    lies: list[PaperLies] = ["first"] * len(blanks)
    for first, *others in groups.values():
        if not others:
            continue
        clouds, block_mm = _clouds(blanks[first]), _block_mm(blanks[first])
        for at in others:
            lies[at] = _lies(clouds, _clouds(blanks[at]), block_mm)
    return tuple(lies)


def _block_mm(blank: Placement) -> float:
    return MM_PER_INCH / blank.dpi[0] * blank.overview.step_px


def _clouds(blank: Placement) -> Floats:
    """Clouds of the paper in the preview; 0 at its rim."""
    level, block_mm = bed_luma(blank), _block_mm(blank)
    rim = round(MARGIN_MM / block_mm)
    inside = np.s_[rim:-rim, rim:-rim]
    inner = np.zeros_like(level)
    found = clouds(level, BACKGROUND_MM / block_mm, DARKEST * float(np.median(level)))
    inner[inside] = found[inside]
    return inner


def _lies(first: Floats, other: Floats, block_mm: float) -> PaperLies:
    """The turn whose peak is the highest, if it is clear."""
    half = round(TILE_MM / 2 / block_mm)
    rows, columns = first.shape
    if min(rows, columns) < 3 * half:
        half = min(rows, columns) // 3
    best = CLEAR
    lies: PaperLies = ""
    for turn in range(4):
        turned = np.rot90(other, turn)
        for share in TILES:
            row, col = (
                int(np.clip(round(s * n), half, n - half))
                for s, n in zip(share, first.shape, strict=True)
            )
            tile = first[row - half : row + half, col - half : col + half]
            height, at = _peak(tile, turned)
            if height > best:
                away = max(abs(at[0] - (row - half)), abs(at[1] - (col - half)))
                still = turn == 0 and away <= STILL_BLOCKS
                best, lies = height, "still" if still else QUARTERS[turn]
            if best > BEYOND_DOUBT:
                return lies
    return lies


def _peak(tile: Floats, whole: Floats) -> tuple[float, tuple[int, int]]:
    """Height of the best match over the scatter of all, and where its corner lies."""
    if any(n < m for n, m in zip(whole.shape, tile.shape, strict=True)):
        return 0.0, (0, 0)
    surface = correlation(whole, tile)
    scatter = max(float(sigma_about_zero(surface.ravel())), 1e-12)
    row, column = divmod(int(np.argmax(surface)), surface.shape[1])
    return float(surface[row, column]) / scatter, (row, column)
