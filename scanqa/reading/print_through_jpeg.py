"""Traces of JPEG in the busiest windows of a scan, whatever file it lies in now."""

from __future__ import annotations

from scanqa.model import Placement
from scanqa.numeric.jpeg_trace import JpegTrace, find_jpeg
from scanqa.numeric.lightness import code_luma
from scanqa.reading.tiles import tiles

WINDOWS, SIDE = 8, 192


def jpeg_in_print(placement: Placement) -> JpegTrace | None:
    """Steps of JPEG in the print of a scan; None with too little detail to tell."""
    scan = placement.scan
    side = min(SIDE, scan.width_px, scan.height_px)
    chosen = tiles(scan, placement.overview, side, side).busiest(WINDOWS)
    windows = [code_luma(scan.window(window) / (2**scan.bits - 1) * 255) for window in chosen]
    return find_jpeg(windows, [(window.row, window.col) for window in chosen])
