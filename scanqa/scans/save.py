"""Pixels to files, whole or not at all: a file with the final name is always complete."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Literal

import pyvips
import tifffile

from scanqa.model import MM_PER_INCH, Pixels
from scanqa.scans.array import ArrayScan
from scanqa.whole import whole


def save_tiff(
    path: str | os.PathLike[str],
    pixels: Pixels,
    dpi: float | tuple[float, float] | None,
    *,
    compression: Literal["none", "deflate"] = "none",
    icc: bytes | None = None,
) -> None:
    """Write a TIFF; uncompressed ones have a single strip and are the fastest to read.

    Parameters
    ----------
    path : str or path
        Replaced if it exists, once the new file is complete.
    pixels : (rows, columns[, 1 or 3]) uint8 or uint16
        Grey or RGB.
    dpi : float, (x, y) or None
        Samples per inch, kept exactly; None states no resolution.
    compression : str
        ``none`` or ``deflate``.
    icc : bytes or None
        Profile to embed.

    Raises
    ------
    BadOption
        If the place cannot be written to.
    """
    scan = ArrayScan(pixels)
    x, y = _pair(dpi) if dpi is not None else (1.0, 1.0)

    def write(part: Path) -> None:
        tifffile.imwrite(
            part,
            scan.pixels if scan.channels == 3 else scan.pixels[..., 0],
            photometric="rgb" if scan.channels == 3 else "minisblack",
            compression="zlib" if compression == "deflate" else None,
            predictor=compression == "deflate",
            resolution=(x, y),
            resolutionunit="none" if dpi is None else "inch",
            iccprofile=icc,
            metadata=None,
            software=False,
        )

    _whole(Path(path), write)


def save_png(
    path: str | os.PathLike[str],
    pixels: Pixels,
    dpi: float | tuple[float, float],
    *,
    icc: bytes | None = None,
) -> None:
    """Write a PNG; its resolution is rounded to whole pixels per metre."""
    image = _image(pixels, dpi, icc)
    _whole(Path(path), lambda part: image.pngsave(str(part)))


def save_jpeg(
    path: str | os.PathLike[str],
    pixels: Pixels,
    dpi: float | tuple[float, float],
    *,
    quality: int = 90,
    icc: bytes | None = None,
) -> None:
    """Write a JPEG, 8 bits, colour at half resolution below quality 90 (libvips' habit)."""
    image = _image(pixels, dpi, icc)
    _whole(Path(path), lambda part: image.jpegsave(str(part), Q=quality))


def _pair(dpi: float | tuple[float, float]) -> tuple[float, float]:
    return dpi if isinstance(dpi, tuple) else (float(dpi), float(dpi))


def _image(pixels: Pixels, dpi: float | tuple[float, float], icc: bytes | None) -> pyvips.Image:
    scan = ArrayScan(pixels)
    x, y = _pair(dpi)
    kind = {(1, 8): "b-w", (3, 8): "srgb", (1, 16): "grey16", (3, 16): "rgb16"}
    image = pyvips.Image.new_from_array(scan.pixels).copy(
        interpretation=kind[scan.channels, scan.bits], xres=x / MM_PER_INCH, yres=y / MM_PER_INCH
    )
    if icc is not None:
        image.set_type(pyvips.GValue.blob_type, "icc-profile-data", icc)
    return image


def _whole(path: Path, write: Callable[[Path], None]) -> None:
    with whole(path) as passing:
        try:
            write(passing)
        except pyvips.Error as error:
            raise OSError(str(error).splitlines()[-1]) from error
