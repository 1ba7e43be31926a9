"""How large scans of this scanner become in a format: by compressing parts of them.

Grain, more than content, decides how far a scan can be compressed without loss, and grain is the
scanner's own: so parts of the user's scans are really compressed, in memory, and counted. Parts
are strips over the whole width, spread evenly over the height and put together in a few groups, so
that each group is a small image of the page; the scatter of the groups over √n is the standard
uncertainty. Pixels are taken at 8 bits a sample, as pages are usually kept.
"""

from __future__ import annotations

import math
import statistics

import numpy as np
import pyvips

from scanqa.model import FileSize, Pixels, Scan, Window

ROWS = 32  # of a strip: two blocks of a JPEG with halved colour
STRIPS, GROUPS = 32, 4
JPEG_QUALITY = 90
FORMATS = ("PNG, lossless", "TIFF, deflate, lossless", f"JPEG, quality {JPEG_QUALITY}, lossy")


def bytes_per_pixel(scan: Scan, *, what: str) -> dict[str, FileSize]:
    """Bytes for each pixel in each of `FORMATS`.

    Parameters
    ----------
    scan : Scan
        An image of this scanner, best of pages like those of the job.
    what : str
        What it shows, for the basis.
    """
    found: dict[str, list[float]] = {name: [] for name in FORMATS}
    groups = _groups(scan)
    for pixels in groups:
        for name, size in zip(FORMATS, _sizes(pixels), strict=True):
            found[name].append(size / (pixels.shape[0] * pixels.shape[1]))
    rows = sum(len(pixels) for pixels in groups)
    basis = f"{100 * rows / scan.height_px:.0f} % of {scan.name} compressed ({what})"
    if scan.lossy:
        basis += "; the file is lossy already, true pixels take more"
    return {name: _mean(name, sizes, basis) for name, sizes in found.items()}


def _mean(name: str, sizes: list[float], basis: str) -> FileSize:
    error = statistics.stdev(sizes) / math.sqrt(len(sizes)) if len(sizes) > 1 else None
    return FileSize(name, statistics.fmean(sizes), error, basis)


def _groups(scan: Scan) -> list[Pixels]:
    """Strips put together, every fourth of them; one group of all if the image is low."""
    count = min(STRIPS, max(scan.height_px // ROWS, 1))
    height = min(ROWS, scan.height_px)
    starts = np.linspace(0, scan.height_px - height, count).round().astype(int)
    strips = [
        _eight_bits(scan.window(Window(int(row), 0, height, scan.width_px)), scan.bits)
        for row in starts
    ]
    step = GROUPS if count >= 2 * GROUPS else 1
    return [np.concatenate(strips[first::step]) for first in range(step)]


def _eight_bits(strip: Pixels, bits: int) -> Pixels:
    return (strip >> 8).astype(np.uint8) if bits == 16 else strip


def _sizes(pixels: Pixels) -> tuple[int, int, int]:
    """Bytes of an image in each of `FORMATS`."""
    image = pyvips.Image.new_from_array(np.ascontiguousarray(pixels))
    return (
        len(image.pngsave_buffer()),
        len(image.tiffsave_buffer(compression="deflate", predictor="horizontal")),
        len(image.jpegsave_buffer(Q=JPEG_QUALITY)),
    )
