"""A scan whose pixels are already in memory: simulations, tests, crops."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from scanqa.model import Driver, Pixels, Window


@dataclass(frozen=True, slots=True, eq=False)
class ArrayScan:
    """An array that answers as a scan (`scanqa.model.Scan`).

    Parameters
    ----------
    pixels : (rows, columns) or (rows, columns, 1 or 3), uint8 or uint16
        Kept as it is, not copied.
    name : str
        Name to show.
    dpi : (x, y) or None
        Samples per inch.
    icc : bytes or None
        ICC profile.
    format : str
        As if it came from such a file.
    lossy : bool
        Whether the pixels went through lossy compression.
    modified : str
        ISO 8601 time, or an empty string.
    notes : tuple of str
        Remarks to show.
    seconds : float or None
        How long the scan took, if that is known.
    driver : Driver or None
        What is known of the driver.

    Raises
    ------
    ValueError
        If the array has another shape or type.
    """

    pixels: Pixels
    name: str = "array"
    dpi: tuple[float, float] | None = None
    icc: bytes | None = None
    format: str = "array"
    lossy: bool = False
    modified: str = ""
    notes: tuple[str, ...] = ()
    seconds: float | None = None
    driver: Driver | None = None

    def __post_init__(self) -> None:
        pixels = np.asarray(self.pixels)
        if pixels.ndim == 2:
            pixels = pixels[:, :, np.newaxis]
        if pixels.ndim != 3 or pixels.shape[2] not in (1, 3) or 0 in pixels.shape:
            raise ValueError(f"(rows, columns, 1 or 3) expected, not {pixels.shape}")
        if pixels.dtype not in (np.uint8, np.uint16):
            raise ValueError(f"uint8 or uint16 expected, not {pixels.dtype}")
        object.__setattr__(self, "pixels", pixels)

    @property
    def width_px(self) -> int:
        """Columns."""
        return int(self.pixels.shape[1])

    @property
    def height_px(self) -> int:
        """Rows."""
        return int(self.pixels.shape[0])

    @property
    def channels(self) -> int:
        """1 or 3."""
        return int(self.pixels.shape[2])

    @property
    def bits(self) -> int:
        """8 or 16."""
        return 8 * int(self.pixels.dtype.itemsize)

    @property
    def sha256(self) -> str:
        """Hash of the pixels' bytes, row by row."""
        digest = hashlib.sha256()
        for _, strip in self.strips():
            digest.update(strip.tobytes())
        return digest.hexdigest()

    def window(self, window: Window) -> Pixels:
        """Pixels of a window, a view.

        Raises
        ------
        ValueError
            If it reaches outside the image.
        """
        check_inside(window, self.width_px, self.height_px)
        rows = slice(window.row, window.row + window.height)
        return self.pixels[rows, window.col : window.col + window.width]

    def strips(self, rows: int = 256) -> Iterator[tuple[int, Pixels]]:
        """First row and pixels of each strip of `rows` rows, from top to bottom."""
        for row in range(0, self.height_px, rows):
            yield row, self.pixels[row : row + rows]


def check_inside(window: Window, width_px: int, height_px: int) -> None:
    """Raise ValueError if a window reaches outside an image of this size."""
    if window.row + window.height > height_px or window.col + window.width > width_px:
        raise ValueError(f"{window} reaches outside an image of {width_px} × {height_px} px")
