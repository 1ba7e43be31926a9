"""One pass over a scan by strips: small preview, column and row means, what lies at the top.

Everything is exact to float32: sums are whole numbers (or float64 for 16 bits, where a column
sum can pass 2**31) and are divided once.
"""

from __future__ import annotations

import itertools
import math

import cv2
import numpy as np
from numpy.typing import NDArray

from scanqa.model import MM_PER_INCH, Overview, Pixels, Scan
from scanqa.scans.plateau import first_code_of_plateau

BLOCK_MM = 0.3  # side of a preview block
# Whatever the dpi tag says (it may be wrong), the preview's long side stays within these:
PREVIEW_MIN_PX, PREVIEW_MAX_PX, PREVIEW_PX = 700, 1600, 1000
MOST_BANDS = 64  # along travel
BAND_MIN_PX = 64
COLUMN_BANDS = 24


def overview(scan: Scan) -> Overview:
    """Preview and band means of a scan in mean codes, reading it once from top to bottom.

    Parameters
    ----------
    scan : Scan
        8 or 16 bits; every strip is decoded, so a truncated file raises here.

    Returns
    -------
    Overview
        Blocks of about 0.3 mm when the dpi is known, but always such that the long side of the
        preview has about 700 to 1600 blocks (fewer if the image has fewer pixels); at most 64
        bands along travel, each a whole number of blocks high.

    Raises
    ------
    UnreadableScan
        If the file behind the scan ends early or is damaged.
    """
    width, channels = scan.width_px, scan.channels
    step = _block_px(scan)
    band_rows = math.ceil(max(BAND_MIN_PX, scan.height_px / MOST_BANDS) / step) * step
    bounds = np.linspace(0, width, min(COLUMN_BANDS, max(1, width // 16)) + 1).astype(int)
    top = first_code_of_plateau(scan.bits, lossy=scan.lossy)

    previews, column_means, row_means, tops, at_top = [], [], [], [], 0
    for _, strip in scan.strips(band_rows):
        groups = _sums_of_rows(strip, step)
        column_means.append(groups.sum(axis=0).reshape(width, channels) / len(strip))
        previews.append(_blocks(groups[: len(strip) // step], width, channels, step))
        row_means.append(_row_means(strip, bounds))
        count, blocks = _at_top(strip, top, step)
        at_top += count
        tops.append(blocks)
    return Overview(
        preview=np.concatenate(previews),
        step_px=step,
        column_means=np.asarray(column_means, np.float32),
        band_rows_px=band_rows,
        row_means=np.concatenate(row_means).astype(np.float32),
        top_code=top,
        top_share=at_top / (scan.height_px * width * channels),
        top_blocks=np.concatenate(tops),
    )


def _block_px(scan: Scan) -> int:
    longest = max(scan.width_px, scan.height_px)
    if scan.dpi is None:
        wanted = longest / PREVIEW_PX
    else:
        wanted = BLOCK_MM * sum(scan.dpi) / 2 / MM_PER_INCH
    smallest = math.ceil(longest / PREVIEW_MAX_PX)
    largest = max(smallest, longest // PREVIEW_MIN_PX)
    step = min(max(round(wanted), smallest), largest)
    return min(step, scan.width_px, scan.height_px)  # a long sliver still has one block


def _sums_of_rows(strip: Pixels, step: int) -> NDArray[np.float64]:
    """Sum of each `step` rows (the last may be fewer): (groups, columns × channels)."""
    flat = strip.reshape(len(strip), -1)
    depth = cv2.CV_32S if strip.dtype == np.uint8 else cv2.CV_64F
    sums = [
        cv2.reduce(flat[row : row + step], 0, cv2.REDUCE_SUM, dtype=depth)[0]
        for row in range(0, len(flat), step)
    ]
    return np.asarray(sums, np.float64)


def _blocks(
    groups: NDArray[np.float64], width: int, channels: int, step: int
) -> NDArray[np.float32]:
    """Mean of each block, (groups, columns // step, channels)."""
    columns = width // step
    sums = groups.reshape(len(groups), width, channels)[:, : columns * step]
    blocks = np.add.reduceat(sums, np.arange(0, columns * step, step), axis=1)
    return (blocks / step**2).astype(np.float32)


def _at_top(strip: Pixels, top: int, step: int) -> tuple[int, NDArray[np.float32]]:
    """Samples on the plateau, and their share of each block in the channel that has most."""
    rows, columns = len(strip) // step, strip.shape[1] // step
    at_top = strip >= top
    count = int(np.count_nonzero(at_top))
    if not count or not rows:
        return count, np.zeros((rows, columns), np.float32)
    whole = at_top[: rows * step, : columns * step].view(np.uint8) * np.uint8(255)
    share = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)
    return count, share.reshape(rows, columns, -1).max(axis=2).astype(np.float32) / 255


def _row_means(strip: Pixels, bounds: NDArray[np.int_]) -> NDArray[np.float64]:
    """Mean of each row between bounds, (rows, bands, channels)."""
    depth = cv2.CV_32S if strip.dtype == np.uint8 else cv2.CV_64F
    means = []
    for start, stop in itertools.pairwise(bounds):
        sums = cv2.reduce(strip[:, start:stop], 1, cv2.REDUCE_SUM, dtype=depth)
        means.append(sums.reshape(len(strip), strip.shape[2]) / float(stop - start))
    return np.stack(means, axis=1)
