"""Scans as pixels, light and millimetres."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol

import numpy as np
from numpy.typing import NDArray

from scanqa.catalogue import Role
from scanqa.model.sheet import Piece, Sheet
from scanqa.model.terms import MM_PER_INCH, Floats, Pixels, Point


@dataclass(frozen=True, slots=True)
class Window:
    """A whole-pixel rectangle inside an image."""

    row: int
    col: int
    height: int
    width: int

    def __post_init__(self) -> None:
        if self.row < 0 or self.col < 0 or self.height < 1 or self.width < 1:
            raise ValueError(f"not a window: {self}")


# Whether the driver calibrated to its white strip: before each scan; it may have used a calibration
# that it kept; not at all; or nobody knows.
Calibrated = Literal["each-scan", "kept", "off", "not-told"]


@dataclass(frozen=True, slots=True)
class Driver:
    """What ``scanqa capture`` wrote of the driver into a file.

    Attributes
    ----------
    kept_min : float or None
        Age of the kept calibration when the scan was made, in minutes, where it is known.
    numbers : names and values
        Gains and offsets that the driver set.
    lamp : seconds and levels
        Short scans before this one, until the light rested: seconds since the first of them, and
        mean code in per cent of the scale.
    """

    calibrated: Calibrated = "not-told"
    kept_min: float | None = None
    numbers: tuple[tuple[str, float], ...] = ()
    lamp: tuple[tuple[float, float], ...] = ()


class Scan(Protocol):
    """An image of which only strips and windows are in memory: a file, an array, a simulation."""

    @property
    def name(self) -> str:
        """Name to show: the file's name."""

    @property
    def width_px(self) -> int:
        """Columns."""

    @property
    def height_px(self) -> int:
        """Rows."""

    @property
    def channels(self) -> int:
        """1 (grey) or 3 (red, green, blue)."""

    @property
    def bits(self) -> int:
        """Bits per sample, 8 or 16."""

    @property
    def dpi(self) -> tuple[float, float] | None:
        """Samples per inch in x and y as the file says, or None when it says nothing usable."""

    @property
    def icc(self) -> bytes | None:
        """Embedded ICC profile."""

    @property
    def format(self) -> str:
        """``tiff``, ``png``, ``jpeg``, ``array``; lossy ones are said to be so in `lossy`."""

    @property
    def lossy(self) -> bool:
        """Whether the pixels went through lossy compression in this file."""

    @property
    def sha256(self) -> str:
        """Hash of the file's bytes, hexadecimal."""

    @property
    def modified(self) -> str:
        """When the file was last written, ISO 8601, or an empty string."""

    @property
    def seconds(self) -> float | None:
        """How long the scan took, as ``scanqa capture`` wrote into the file; None if unknown."""

    @property
    def driver(self) -> Driver | None:
        """What the file says of the driver that made it; None if it says nothing."""

    @property
    def notes(self) -> tuple[str, ...]:
        """What is worth knowing about the file: no resolution, turned by its tag."""

    def window(self, window: Window) -> Pixels:
        """Pixels of a window, (height, width, channels), uint8 or uint16."""

    def strips(self, rows: int = 256) -> Iterator[tuple[int, Pixels]]:
        """First row and pixels of each strip, from top to bottom."""


@dataclass(frozen=True, slots=True, eq=False)
class Overview:
    """What one pass over a scan keeps, all in mean **codes** (not light), float32.

    Attributes
    ----------
    preview : (rows / step, columns / step, channels)
        Area means over `step_px` × `step_px` blocks (a last partial block is dropped).
    step_px : int
        Size of a block; about 0.3 mm.
    column_means : (bands, width_px, channels)
        Mean of each column within each band of rows; bands are `band_rows_px` rows high, the
        last may be shorter (its true height is used for its mean).
    band_rows_px : int
        Height of a band.
    row_means : (height_px, bands, channels)
        Mean of each row within each band of columns, bands of equal width.
    top_code : int
        Lowest code that counts as the top of the scale: what is cut off gathers from there on.
    top_share : float
        Share of samples there.
    top_blocks : (rows / step, columns / step)
        Share of each block's samples there, in the channel that has most.
    """

    preview: NDArray[np.float32]
    step_px: int
    column_means: NDArray[np.float32]
    band_rows_px: int
    row_means: NDArray[np.float32]
    top_code: int
    top_share: float
    top_blocks: NDArray[np.float32]


@dataclass(frozen=True, slots=True, eq=False)
class Linear:
    """Codes to relative linear light, and where that knowledge comes from.

    Attributes
    ----------
    curves : (channels, 2**bits) float32
        Light for each code, rising; 1 at the highest code.
    source : str
        ``stated curve``, ``ICC profile`` or ``sRGB assumed``.
    """

    curves: NDArray[np.float32]
    source: str

    @property
    def assumed(self) -> bool:
        """Whether neither file nor user says the curve."""
        return self.source.startswith("sRGB assumed")

    def light(self, codes: NDArray[Any]) -> NDArray[np.float32]:
        """Light of codes (…, channels): looked up if whole numbers, interpolated if means."""
        first = self.curves[0]
        if len(self.curves) == 1 or (self.curves == first).all():  # all at once
            return _looked_up(first, codes)
        planes = [_looked_up(curve, codes[..., at]) for at, curve in enumerate(self.curves)]
        return np.stack(planes, axis=-1)


def _looked_up(curve: NDArray[np.float32], codes: NDArray[Any]) -> NDArray[np.float32]:
    """Values of a curve at whole codes, or between them."""
    if np.issubdtype(codes.dtype, np.integer):
        return np.asarray(np.take(curve, codes), np.float32)
    last = len(curve) - 1
    at = np.clip(codes, 0, last)
    low = at.astype(np.int32)
    np.minimum(low, last - 1, out=low)
    part: NDArray[np.float32] = np.subtract(at, low, dtype=at.dtype).astype(np.float32, copy=False)
    part *= np.diff(curve, append=curve[-1])[low]
    part += curve[low]
    return part


@dataclass(frozen=True, slots=True, eq=False)
class Placement:
    """A scan with its frame in millimetres and, where one was found, a piece of a sheet.

    Attributes
    ----------
    dpi : (x, y)
        Used for image millimetres; from the file, an option or the located sheet (`dpi_source`).
        ``assumed`` if none of them says it: then only what needs no millimetres is measured.
    to_px : (2, 3) float64 or None
        Affine map from sheet mm to pixels, ``px = to_px[:, :2] @ mm + to_px[:, 2]``.
    rotation_deg : int
        0, 90, 180 or 270: how the sheet lies in the image, clockwise.
    residual_um : float or None
        Root-mean-square distance of the tag corners from the affine map, on the paper.
    corners_px : (tags, 4, 2) float64 or None
        Refined tag corners that the map was fitted to, with `tags` their ids.
    paper_mm : (left, top, right, bottom) or None
        Inside of a blank's paper in image mm, where it does not cover the glass.
    """

    scan: Scan
    overview: Overview
    light: Linear
    role: Role
    dpi: tuple[float, float]
    dpi_source: str  # "file", "option", "sheet", "assumed"
    sheet: Sheet | None = None
    piece: Piece | None = None
    to_px: Floats | None = None
    rotation_deg: int = 0
    residual_um: float | None = None
    tags: tuple[int, ...] = ()
    corners_px: Floats | None = None
    notes: tuple[str, ...] = ()
    paper_mm: tuple[float, float, float, float] | None = None

    def mm(self, x_px: float, y_px: float) -> Point:
        """Image millimetres of a pixel position."""
        return ((x_px + 0.5) * MM_PER_INCH / self.dpi[0], (y_px + 0.5) * MM_PER_INCH / self.dpi[1])

    def px(self, x_mm: float, y_mm: float) -> Point:
        """Pixel position (not rounded) of image millimetres."""
        return x_mm * self.dpi[0] / MM_PER_INCH - 0.5, y_mm * self.dpi[1] / MM_PER_INCH - 0.5

    @property
    def size_mm(self) -> Point:
        """Width and height of the image."""
        return (
            self.scan.width_px * MM_PER_INCH / self.dpi[0],
            self.scan.height_px * MM_PER_INCH / self.dpi[1],
        )

    @property
    def border_mm(self) -> tuple[Point, ...]:
        """Corners of the paper in image mm: of a bed sheet, of a blank smaller than the glass.

        Empty where it is not known. That of a sheet is as true as its print lies on the paper.
        """
        if self.paper_mm is not None:
            left, top, right, bottom = self.paper_mm
            found = [(left, top), (right, top), (right, bottom), (left, bottom)]
        elif self.sheet is not None and self.role == "bed-sheet":
            w, h = self.sheet.width_mm, self.sheet.height_mm
            corners = self.sheet_px(np.array([(0.0, 0.0), (w, 0.0), (w, h), (0.0, h)]))
            found = [self.mm(float(x), float(y)) for x, y in corners]
        else:
            found = []
        return tuple((round(x, 2), round(y, 2)) for x, y in found)

    def sheet_px(self, points_mm: Floats) -> Floats:
        """Pixels of sheet points, (n, 2) to (n, 2); the piece must have been located."""
        if self.to_px is None:
            raise ValueError("no sheet was located in this scan")
        return points_mm @ self.to_px[:, :2].T + self.to_px[:, 2]


def of_role(placements: Sequence[Placement], *roles: Role) -> list[Placement]:
    """Those that show one of these things."""
    return [placement for placement in placements if placement.role in roles]
