"""A page read once, strip by strip: a reduced picture, a few strips as they are, what is cut off.

For pages of a job, of which there are many: nothing is unpacked into a file, no strip is read
twice, and memory holds the reduced picture and the few strips. Damage anywhere is an error after
the last strip at the latest, so a file that is still being written is never taken for a page.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
import pyvips

from scanqa.model import Pixels
from scanqa.scans.decoding import all_or_damaged, load_whole
from scanqa.scans.open import FileScan
from scanqa.scans.plateau import first_code_of_plateau

REDUCED_DPI = 150.0
USUAL_WIDTH_PX = 1240  # of a reduced page whose dpi is not known: A4 at 150 dpi
AT_ONCE_BYTES = 64_000_000  # A4 at 300 dpi: parts take longer to decode than a whole
STRIP_PX = 64  # of larger pages: libvips keeps several times as much as is fetched in one go
SAMPLES, SAMPLE_PX = 5, 64
BLOCK = 8  # of JPEG: samples begin at whole blocks


@dataclass(frozen=True, slots=True, eq=False)
class OnePass:
    """What one reading of a page leaves.

    Attributes
    ----------
    reduced : (rows, columns, channels)
        Means of blocks of `step_px` samples a side, in codes of the file's depth.
    samples : tuple of (rows, columns) arrays
        Luma codes (0 to 255, not reduced) of strips spread over the page.
    top_share, bottom_share : float
        Share of all samples at the two ends of the scale.
    codes : (256,)
        How often each code (of 8 bits) occurs in the samples, in the first channel.
    """

    reduced: Pixels
    step_px: int
    samples: tuple[Pixels, ...]
    top_share: float
    bottom_share: float
    codes: np.ndarray[tuple[int], np.dtype[np.int64]]
    sha256: str


def read_once(scan: FileScan) -> OnePass:
    """Read a page from its first sample to its last.

    Raises
    ------
    UnreadableScan
        If it is damaged or ends early.
    """
    step = _step_px(scan)
    size = scan.width_px * scan.height_px * scan.channels * scan.bits // 8
    rows = (scan.height_px if size <= AT_ONCE_BYTES else STRIP_PX) // step * step + step
    top = first_code_of_plateau(scan.bits, lossy=scan.lossy)
    starts = _sample_rows(scan.height_px)
    reduced, samples, at_top, at_bottom = [], [], 0, 0
    codes = np.zeros(256, np.int64)
    for row, strip in _strips(scan, rows):
        reduced.append(_means(strip, step))
        if strip.max() >= top:  # counting takes longer than looking whether there is any
            at_top += int(np.count_nonzero(strip >= top))
        if strip.min() == 0:
            at_bottom += int(np.count_nonzero(strip == 0))
        for start in (at - row for at in starts if row <= at < row + len(strip)):
            part = strip[start : start + SAMPLE_PX]
            eight = np.ascontiguousarray(part if scan.bits == 8 else part >> 8, np.uint8)
            samples.append(_luma(eight))
            codes += np.bincount(eight[::2, ::2, 0].ravel(), minlength=256)
    count = scan.width_px * scan.height_px * scan.channels
    parts = [part for part in reduced if len(part)]
    return OnePass(
        reduced=parts[0] if len(parts) == 1 else np.concatenate(parts),
        step_px=step,
        samples=tuple(samples),
        top_share=at_top / count,
        bottom_share=at_bottom / count,
        codes=codes,
        sha256=scan.sha256,
    )


def _step_px(scan: FileScan) -> int:
    """Samples a side of a block, such that a reduced page has about `REDUCED_DPI`."""
    wanted = scan.width_px / USUAL_WIDTH_PX if scan.dpi is None else scan.dpi[0] / REDUCED_DPI
    return max(min(round(wanted), min(scan.width_px, scan.height_px) // 50), 1)


def _sample_rows(height: int) -> list[int]:
    """First rows of the strips that are kept as they are, spread over the height."""
    last = max(height - SAMPLE_PX, 0)
    return [int(at) // BLOCK * BLOCK for at in np.linspace(0.04, 0.96, SAMPLES) * last]


def _strips(scan: FileScan, rows: int) -> Iterator[tuple[int, Pixels]]:
    """Strips as they are decoded; those of plain TIFF, and of turned files, as `FileScan` has."""
    header = scan.header
    if header.stored is not None or header.orientation != 1:
        yield from scan.strips(rows)
        return
    shape = (scan.height_px, scan.width_px, scan.channels)
    image = load_whole(scan.path, header, shape)
    with all_or_damaged(scan.path):
        yield from _decoded(image, rows, np.dtype(np.uint8 if scan.bits == 8 else np.uint16))


def _decoded(
    image: pyvips.Image, rows: int, dtype: np.dtype[np.generic]
) -> Iterator[tuple[int, Pixels]]:
    """Strips from top to bottom; at once if one holds all, which is faster."""
    height, width, bands = image.height, image.width, image.bands
    if rows >= height:
        whole = np.frombuffer(image.write_to_memory(), dtype)
        yield 0, whole.reshape(height, width, bands)
        return
    region = pyvips.Region.new(image)
    for row in range(0, height, rows):
        count = min(rows, height - row)
        part = np.frombuffer(region.fetch(0, row, width, count), dtype)
        yield row, part.reshape(count, width, bands)


def _means(strip: Pixels, step: int) -> Pixels:
    """Means of whole blocks; a rim that fills none is left out."""
    rows, columns = len(strip) // step, strip.shape[1] // step
    if rows == 0:
        return np.empty((0, columns, strip.shape[2]), strip.dtype)
    whole = strip[: rows * step, : columns * step]
    if step == 1:
        return whole.copy()
    made = cv2.resize(whole, (columns, rows), interpolation=cv2.INTER_AREA)
    return made.reshape(rows, columns, strip.shape[2])


def _luma(part: Pixels) -> Pixels:
    return cv2.cvtColor(part, cv2.COLOR_RGB2GRAY) if part.shape[2] == 3 else part[..., 0]
