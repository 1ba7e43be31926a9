"""Spots and scratches on the glass: what stays in place while the paper moves.

The previews of all blank scans of one size, as the logarithm of light, are rid of shading (a
local median) and of streaks (the medians of rows and columns). A mark is a group of neighbouring
blocks that differs from its surroundings in *every* scan, in the same sense, by several times
the local scatter; what is in one scan only lies on the paper. Contrast and box are then taken
from the full-resolution pixels of the scan.

Papers with many specks share some by accident: what they share when one is displaced says how
strong a mark must be to be none (`scanqa.numeric.coincidence`). One scan alone, or a paper that
lay still, cannot tell a mark from a speck in the paper: nothing is reported.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from scanqa.model import (
    MM_PER_INCH,
    Evidence,
    Floats,
    Mark,
    Measurement,
    Placement,
    Reason,
    Results,
    Told,
    Window,
    not_measurable,
    of_role,
)
from scanqa.numeric.blocks import block_means
from scanqa.numeric.coincidence import Picture, Spot, shared_spots, strongest_by_chance
from scanqa.numeric.jpeg_trace import BLOCK as JPEG_BLOCK
from scanqa.numeric.lightness import luma
from scanqa.numeric.medians import medians
from scanqa.numeric.spread import sigma_about_zero
from scanqa.reading.bed_light import bed_luma
from scanqa.reading.crops import crop
from scanqa.reading.cut_off import clipped
from scanqa.reading.jpeg_grid import JpegGrid, jpeg_grid

MARGIN_MM = 2.0  # shadow of the frame
BACKGROUND_BLOCKS = 15  # shading is what is wider than about half of this
LEVELS = 2.0  # steps of the levels of JPEG that a mark must exceed
OVER_CHANCE = 1.3  # of the strongest spot that scans share when displaced: what a mark must have
SAME_GRAIN = 0.4  # correlation of the grain of two scans, above which the paper did not move
# A mark must cover a block of the preview by this much: grain that both scans share by chance
# stays far below. 1 % of a 0.3 mm block is a black speck of 35 µm.
LEAST_CONTRAST = 0.01
BLOCK_MM = 0.3  # of a whole bed; blocks of a small image are finer, and share more by chance
SCRATCH_RATIO, SCRATCH_MM = 4.0, 1.5  # length over width, and length, of a scratch
STREAK_SHARE = 0.3  # of the bed: a longer straight group is a streak, not a mark
MOST_MARKS = 60
CROPS = 3


STILL = Reason(
    "unlike",
    "the paper did not move between the scans, so its specks look like marks on the glass: move it "
    "by a few millimetres and scan again",
)


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Marks that are at the same place of the image in all blank scans of the commonest size.

    Parameters
    ----------
    scans : sequence of Placement
        Blank ones count: plain white paper, moved between them.
    told : Told
        Not needed.

    Returns
    -------
    Results
        ``marks``, the strongest first, and their number as ``glass.marks`` (not measurable from
        one scan); magnified crops of the strongest.
    """
    alike = _largest_group(of_role(scans, "blank"))
    if not alike:
        return Results()
    first = alike[0]
    if len(alike) < 2:
        why = Reason(
            "too-few",
            "one scan cannot tell a mark on the glass from a speck in the paper: "
            "scan again with the paper moved",
        )
        return Results((not_measurable("glass.marks", why, first.scan.name),))
    grid = next(filter(None, map(jpeg_grid, alike)), None)
    step, least = first.overview.step_px, LEAST_CONTRAST
    if grid is not None:  # blocks of JPEG have levels of their own
        step *= math.ceil(2 * JPEG_BLOCK / step)
        least = max(least, LEVELS * grid.light(first, grid.level))
    pictures = [_picture(placement, step) for placement in alike]
    if _lay_still(pictures[0].contrast, pictures[1].contrast):
        return Results((not_measurable("glass.marks", STILL, first.scan.name),))
    spots = shared_spots(pictures, least)
    chance = strongest_by_chance(pictures, spots, least)
    limit = max(OVER_CHANCE * chance, least)
    marks = []
    for spot in spots:
        if spot.contrast >= limit:
            mark = _mark(first, spot, pictures[0].contrast, step)
            if mark is not None and _covers(mark):
                marks.append(mark)
    marks.sort(key=lambda mark: -mark.contrast_percent)
    number = _number(len(marks), limit, first, grid)
    crops = tuple(_crop(first, mark) for mark in marks[:CROPS])
    return Results((number,), (), tuple(marks[:MOST_MARKS]), crops)


def _number(count: int, limit: float, first: Placement, grid: JpegGrid | None) -> Measurement:
    """How many marks there are: at least those that the specks of the paper do not hide."""
    scan = first.scan.name
    why = clipped(first) or (None if grid is None else grid.why)
    if why is None and limit > LEAST_CONTRAST:
        why = Reason(
            "uneven",
            f"specks of the paper hide marks under {100 * limit:.0f} % contrast (in blocks of "
            "0.3 mm): lay plain, even paper",
        )
    if why is None:
        return Measurement("glass.marks", float(count), 0.0, scan=scan)
    if not count:
        return not_measurable("glass.marks", why, scan)
    return Measurement(
        "glass.marks", float(count), 0.0, "at-least", why.words, scan, reason_kind=why.kind
    )


def _largest_group(placements: Sequence[Placement]) -> list[Placement]:
    groups: dict[object, list[Placement]] = {}
    for placement in placements:
        key = (placement.overview.preview.shape, placement.overview.step_px, placement.dpi)
        groups.setdefault(key, []).append(placement)
    return max(groups.values(), key=len, default=[])


def _picture(placement: Placement, step: int) -> Picture:
    """Contrast of each preview block, and the same over its local scatter."""
    from scipy.ndimage import median_filter, uniform_filter

    level = bed_luma(placement)
    lit = level > 0.3 * np.median(level)
    log = np.log(np.maximum(level, 0.05 * np.median(level)))
    # The local median of a 3 × smaller picture is as good for shading and nine times faster.
    rows, columns = (max(n // 3, 1) for n in log.shape)
    small = medians(
        log[: 3 * rows, : 3 * columns]
        .reshape(rows, 3, columns, 3)
        .transpose(0, 2, 1, 3)
        .reshape(rows, columns, 9)
    )
    ground = median_filter(small, BACKGROUND_BLOCKS // 3, mode="nearest")
    ground = np.kron(ground, np.ones((3, 3)))
    ground = np.pad(
        ground, [(0, n - m) for n, m in zip(log.shape, ground.shape, strict=True)], mode="edge"
    )
    rest = log - uniform_filter(ground, 3, mode="nearest")
    rest -= medians(rest, 0)
    rest -= medians(rest)[:, None]
    margin = round(MARGIN_MM * placement.dpi[0] / MM_PER_INCH / placement.overview.step_px) + 1
    inside = np.zeros_like(lit)
    inside[margin:-margin, margin:-margin] = True
    rest = block_means(np.where(inside & lit, rest, 0.0), step // placement.overview.step_px)
    sigma = _local_scatter(rest)
    return Picture(np.expm1(rest), rest / sigma)


def _local_scatter(rest: Floats, tile: int = 64) -> Floats:
    """Robust scatter in tiles of the preview, never below that of the whole."""
    whole = max(float(sigma_about_zero(rest.ravel())), 1e-6)
    out = np.empty_like(rest)
    for row in range(0, rest.shape[0], tile):
        for column in range(0, rest.shape[1], tile):
            part = np.s_[row : row + tile, column : column + tile]
            out[part] = max(float(sigma_about_zero(rest[part].ravel())), whole)
    return out


def _lay_still(one: Floats, other: Floats) -> bool:
    """Whether the grain of two scans is the same in place; specks and marks count for little."""
    planes = []
    if not (one.any() and other.any()):
        return False  # no grain at all
    for contrast in (one, other):
        limit = 3 * float(sigma_about_zero(contrast[contrast != 0]))
        planes.append(np.clip(contrast, -limit, limit).ravel())
    product = float(planes[0] @ planes[1])
    return product > SAME_GRAIN * float(np.linalg.norm(planes[0]) * np.linalg.norm(planes[1]))


def _mark(placement: Placement, spot: Spot, contrast_of_blocks: Floats, step: int) -> Mark | None:
    """Box, contrast and kind of a spot, from full-resolution pixels; None if it is a streak."""
    rows, columns = spot.rows, spot.columns
    tall, wide = np.ptp(rows) + 1, np.ptp(columns) + 1
    shares = tall / contrast_of_blocks.shape[0], wide / contrast_of_blocks.shape[1]
    if (shares[0] > STREAK_SHARE and wide < 4) or (shares[1] > STREAK_SHARE and tall < 4):
        return None
    scan = placement.scan
    margin = 2 * step
    row, col = max(rows.min() * step - margin, 0), max(columns.min() * step - margin, 0)
    bottom = min((rows.max() + 1) * step + margin, scan.height_px)
    right = min((columns.max() + 1) * step + margin, scan.width_px)
    window = Window(int(row), int(col), int(bottom - row), int(right - col))
    sign = float(np.sign(contrast_of_blocks[rows[0], columns[0]]))
    thickness = len(rows) * step / max(tall, wide)
    contrast, inside = _full_resolution(placement, window, sign, 2 * int(thickness / 8) + 1, step)
    pitch = np.array([MM_PER_INCH / dpi for dpi in placement.dpi])
    places = np.argwhere(inside)[:, ::-1] + np.array([col, row])
    blocks = np.stack([columns, rows], axis=1)
    length, width = _elongation(blocks * step * pitch, step * float(pitch.mean()))
    scratch = length > SCRATCH_MM and length > SCRATCH_RATIO * width
    if scratch:  # faint and thin: its blocks show its ends better than its pixels do
        places = np.concatenate([blocks * step, (blocks + 1) * step - 1])
    low, high = places.min(axis=0), places.max(axis=0)
    at = placement.mm(*(float(value) for value in (low + high) / 2))
    size = (high - low + 1) * pitch
    return Mark(
        at_mm=at,
        size_mm=(float(size[0]), float(size[1])),
        contrast_percent=100 * contrast,
        polarity="bright" if sign > 0 else "dark",
        kind="scratch" if scratch else "spot",
        scan=scan.name,
    )


def _covers(mark: Mark) -> bool:
    """Whether a mark takes as much light as the least one on the blocks of a whole bed."""
    area = mark.size_mm[0] * mark.size_mm[1]
    return mark.contrast_percent / 100 * area >= LEAST_CONTRAST * BLOCK_MM**2


def _full_resolution(
    placement: Placement, window: Window, sign: float, smooth_px: int, edge: int
) -> tuple[float, NDArray[np.bool_]]:
    """Contrast at the middle of a mark and the pixels at half of it or more."""
    from scipy.ndimage import uniform_filter

    light = luma(placement.light.light(placement.scan.window(window)))
    smooth = uniform_filter(light, min(max(smooth_px, 3), 31), mode="nearest")
    rim = np.ones(light.shape, bool)
    rim[edge:-edge, edge:-edge] = False
    ground = float(np.median(smooth[rim]))
    relative = sign * (smooth / ground - 1)
    core = relative.copy()
    core[rim] = 0.0
    top = float(np.max(core))
    inside = core >= top / 2
    return top, inside


def _elongation(places_mm: Floats, block_mm: float) -> tuple[float, float]:
    """Length and mean width of a set of blocks along its principal axes (a bar: √12 sd)."""
    if len(places_mm) < 2:
        return block_mm, block_mm
    spread = np.linalg.eigvalsh(np.cov(places_mm.T))
    long, short = np.sqrt(12 * np.maximum(spread[::-1], 0.0) + block_mm**2)
    return float(long), float(short)


def _crop(placement: Placement, mark: Mark) -> Evidence:
    """Real pixels round a mark, contrast stretched."""
    longest = max(
        size * dpi / MM_PER_INCH for size, dpi in zip(mark.size_mm, placement.dpi, strict=True)
    )
    piece = crop(placement, *placement.px(*mark.at_mm), int(np.clip(3 * longest, 64, 256)))
    return Evidence(
        explains="glass.marks",
        kind="crop",
        title=f"{mark.kind.capitalize()} at {mark.at_mm[0]:.1f}, {mark.at_mm[1]:.1f} mm, magnified",
        scan=mark.scan,
        image=piece.image,
        extent_mm=piece.extent_mm,
        note=piece.note,
        codes=piece.codes,
    )
