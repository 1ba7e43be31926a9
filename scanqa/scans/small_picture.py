"""A page, or a part of it, as a small PNG to be put on a page."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pyvips

from scanqa.model import Pixels, Window
from scanqa.scans.one_pass import read_once
from scanqa.scans.open import open_scan

WIDTH_PX = 260


@dataclass(frozen=True, slots=True, eq=False)
class SmallPicture:
    """PNG, its size, and what one of its samples stands for in the file."""

    png: bytes
    width_px: int
    height_px: int
    step_px: float


def whole_page(path: Path, *, width_px: int = WIDTH_PX) -> SmallPicture:
    """A page, read once; raises `UnreadableScan` as `scanqa.scans.one_pass.read_once`."""
    scan = open_scan(path)
    once = read_once(scan)
    image = _image(once.reduced)
    scale = min(width_px / image.width, 1.0)
    small = image.resize(scale) if scale < 1 else image
    return _picture(small, scan.width_px / small.width)


def detail(path: Path, window: Window, *, spread: float, width_px: int = WIDTH_PX) -> SmallPicture:
    """A part of a page in grey, its contrast spread so that faint lines are seen.

    Parameters
    ----------
    path : Path
        The page.
    window : Window
        The part.
    spread : float
        Share of the median code that goes from black to white.
    """
    scan = open_scan(path)
    codes = scan.window(window).mean(axis=2)
    middle = float(np.median(codes))
    shown = np.clip((codes / max(middle, 1.0) - 1) / spread + 0.5, 0, 1) * 255
    image = pyvips.Image.new_from_array(np.rint(shown).astype(np.uint8)[..., None])
    scale = width_px / image.width
    return _picture(image.resize(scale, kernel="nearest" if scale > 1 else "linear"), 1 / scale)


def _image(pixels: Pixels) -> pyvips.Image:
    eight = pixels if pixels.dtype == np.uint8 else (pixels >> 8).astype(np.uint8)
    kind = "srgb" if eight.shape[2] == 3 else "b-w"
    return pyvips.Image.new_from_array(np.ascontiguousarray(eight)).copy(interpretation=kind)


def _picture(image: pyvips.Image, step_px: float) -> SmallPicture:
    png = image.cast("uchar").pngsave_buffer(palette=image.bands == 3, bitdepth=8)
    return SmallPicture(bytes(png), image.width, image.height, step_px)
