"""How large scans of this scanner become in a format: by compressing parts of them.

Grain, not content, decides how far a scan can be compressed without loss, and grain is the
scanner's own: so parts of the user's scans are really compressed, in memory, and counted. Parts
are squares spread over the image; their scatter over √n is the standard uncertainty. Pixels are
taken at 8 bits a sample, as pages are usually kept.
"""

from __future__ import annotations

import math
import statistics

import numpy as np
import pyvips

from scanqa.model import FileSize, Pixels, Scan, Window

TILE_PX = 640  # large enough that a file's header does not count
TILES = 3  # along each axis
RIM = 0.08  # of each side is left out: lid, frame, shadow
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
    windows = _windows(scan.height_px, scan.width_px)
    for window in windows:
        tile = _eight_bits(scan.window(window), scan.bits)
        for name, size in zip(FORMATS, _sizes(tile), strict=True):
            found[name].append(size / (window.height * window.width))
    count = f"{len(windows)} part{'s' if len(windows) > 1 else ''} of {scan.name} compressed"
    basis = f"{count} ({what})"
    if scan.lossy:
        basis += "; the file is lossy already, true pixels take more"
    return {name: _mean(name, sizes, basis) for name, sizes in found.items()}


def _mean(name: str, sizes: list[float], basis: str) -> FileSize:
    error = statistics.stdev(sizes) / math.sqrt(len(sizes)) if len(sizes) > 1 else None
    return FileSize(name, statistics.fmean(sizes), error, basis)


def _windows(height: int, width: int) -> list[Window]:
    """Squares spread evenly over the image without its rim; fewer if it is small."""
    rows, row_size = _starts(height)
    cols, col_size = _starts(width)
    return [Window(row, col, row_size, col_size) for row in rows for col in cols]


def _starts(length: int) -> tuple[list[int], int]:
    rim = round(RIM * length)
    size = min(TILE_PX, length - 2 * rim)
    count = max(1, min(TILES, (length - 2 * rim) // size))
    return np.linspace(rim, length - rim - size, count).round().astype(int).tolist(), size


def _eight_bits(tile: Pixels, bits: int) -> Pixels:
    return (tile >> 8).astype(np.uint8) if bits == 16 else tile


def _sizes(tile: Pixels) -> tuple[int, int, int]:
    """Bytes of a tile in each of `FORMATS`."""
    image = pyvips.Image.new_from_array(np.ascontiguousarray(tile))
    return (
        len(image.pngsave_buffer()),
        len(image.tiffsave_buffer(compression="deflate", predictor="horizontal")),
        len(image.jpegsave_buffer(Q=JPEG_QUALITY)),
    )
