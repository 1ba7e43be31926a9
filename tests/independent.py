"""A second road from a sheet to a scan, that shares no line with the package's own simulator.

The PDF is drawn by poppler (somebody else's renderer), turned and stretched by pypdf (as vectors,
so nothing is resampled), and made into a scan by a Gaussian blur, an area mean over each pixel, a
tone curve, noise and rounding. Where a piece lies is known in closed form (`Pose`), and so is the
response that an edge must show (`true_sfr`).

Measured with poppler 22.12 on a slanted square of 12 mm: at 1200 dpi each edge lies 0.9 µm
(0.04 px of the raster) outside its place, evenly on all four sides; half of that at 2400 dpi.
Axis-parallel bars are snapped to whole pixels of the raster (libraries test): do not take their
width or place as truth, unless the pose turns them by a degree or so.
"""

from __future__ import annotations

import io
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from scipy import ndimage

MM = 25.4
BAND_ROWS = 256  # of the scan, worked on at once


def srgb_encode(light):
    """IEC 61966-2-1, linear light 0..1 to code 0..1."""
    light = np.clip(light, 0.0, 1.0)
    return np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)


@dataclass(frozen=True)
class Pose:
    """How a page lies on the glass: sheet mm to image mm (y down), ``matrix @ mm + shift``.

    `turn_deg` is clockwise as seen in the image, about the point `about_mm` of the sheet, which
    comes to lie at ``about_mm + shift_mm``. `stretch` is what the scanner does along image x and
    y after that; `printer` what the printer did to the page along its own x and y before it;
    `shear` adds ``shear * y`` to image x (carriage not square to the sensor).
    """

    turn_deg: float = 0.0
    shift_mm: tuple[float, float] = (0.0, 0.0)
    about_mm: tuple[float, float] = (0.0, 0.0)
    stretch: tuple[float, float] = (1.0, 1.0)
    printer: tuple[float, float] = (1.0, 1.0)
    shear: float = 0.0

    @property
    def matrix(self):
        c, s = np.cos(np.deg2rad(self.turn_deg)), np.sin(np.deg2rad(self.turn_deg))
        turn = np.array([[c, -s], [s, c]])
        shear = np.array([[1.0, self.shear], [0.0, 1.0]])
        return np.diag(self.stretch) @ shear @ turn @ np.diag(self.printer)

    @property
    def shift(self):
        return np.array(self.about_mm) + self.shift_mm - self.matrix @ np.array(self.about_mm)

    def px(self, points_mm, dpi):
        """Pixel positions (pixel centres at whole numbers) of sheet points, (n, 2)."""
        image_mm = np.asarray(points_mm, float) @ self.matrix.T + self.shift
        return image_mm * dpi / MM - 0.5


def posed(pdf_path, pose, *, size_mm=None, page=0):
    """PDF bytes of one page, its contents moved to `pose`, the page cut or grown to `size_mm`."""
    from pypdf import PdfReader, PdfWriter, Transformation
    from pypdf.generic import RectangleObject

    source = PdfReader(str(pdf_path)).pages[page]
    height_pt = float(source.mediabox.height)
    width_pt = float(source.mediabox.width)
    pt = 72 / MM
    new_w, new_h = (width_pt, height_pt) if size_mm is None else (size_mm[0] * pt, size_mm[1] * pt)
    # The same map with y up: x' = a x + b (H - y) + tx, y' = H' - (c x + d (H - y) + ty).
    (a, b), (c, d) = pose.matrix
    tx, ty = pose.shift * pt
    up = (a, -c, -b, d, b * height_pt + tx, new_h - d * height_pt - ty)
    writer = PdfWriter()
    moved = writer.add_page(source)
    moved.add_transformation(Transformation(tuple(float(v) for v in up)))
    for box in ("/MediaBox", "/CropBox", "/TrimBox", "/BleedBox", "/ArtBox"):
        if box == "/MediaBox" or box in moved:
            moved[_name(box)] = RectangleObject((0, 0, new_w, new_h))
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def _name(text):
    from pypdf.generic import NameObject

    return NameObject(text)


def raster(pdf_path, dpi=1200, *, pose=None, size_mm=None, box_mm=None, page=0):
    """Poppler's picture of a page as reflectance: float32 (rows, columns), 1 paper, 0 full ink.

    `box_mm` (left, top, right, bottom, image mm) draws a part only: it begins at the raster
    pixel that holds its left top corner, so keep it on whole raster pixels.
    """
    tool = shutil.which("pdftoppm")
    if tool is None:
        raise RuntimeError("these tests need poppler: apt-get install poppler-utils (pdftoppm)")
    if pose is None and size_mm is None:
        data = Path(pdf_path).read_bytes()
    else:
        data = posed(pdf_path, pose or Pose(), size_mm=size_mm, page=page)
        page = 0
    command = [tool, "-r", str(dpi), "-gray", "-f", str(page + 1), "-l", str(page + 1)]
    if box_mm is not None:
        left, top, right, bottom = (round(v * dpi / MM) for v in box_mm)
        command += ["-x", left, "-y", top, "-W", right - left, "-H", bottom - top]
    done = subprocess.run([str(word) for word in command] + ["-"], input=data, capture_output=True)
    if done.returncode or not done.stdout.startswith(b"P5"):
        raise RuntimeError(f"pdftoppm failed on {pdf_path}: {done.stderr.decode()[:500]}")
    _, size, _, pixels = done.stdout.split(b"\n", 3)
    width, height = map(int, size.split())
    grey = np.frombuffer(pixels, np.uint8, count=width * height).reshape(height, width)
    return np.multiply(grey, np.float32(1 / 255), dtype=np.float32)


def degrade(
    reflectance,
    *,
    dpi_from,
    dpi_to,
    rotation_deg=0.0,
    offset=(0.0, 0.0),
    size_px=None,
    blur_sigma_px=0.0,
    noise=0.0,
    gain=1.0,
    paper=0.88,
    ink=0.05,
    illumination=None,
    channel_shifts_px=None,
    encode=srgb_encode,
    bits=8,
    seed=1,
):
    """Scan a raster: Gaussian optics, square pixels, noise, tone curve, rounding.

    Parameters
    ----------
    reflectance : (rows, columns), 0..1
        From `raster`.
    dpi_from, dpi_to : float
        Of the raster and of the scan.
    rotation_deg, offset : float, (x, y) px of the scan
        Turn (clockwise, about the raster's left top corner), then shift to the right and down.
        Resamples by cubic splines and is slow on whole pages: there give `raster` a `pose`.
    size_px : (width, height), optional
        Of the scan; otherwise what the raster fills.
    blur_sigma_px : float or (across, travel)
        Standard deviation of the optics' Gaussian in pixels of the scan (a pair only unturned).
    noise : float
        Standard deviation of white noise, in linear light.
    gain, paper, ink : float
        Light = gain × (ink + (paper - ink) × reflectance).
    illumination : broadcastable to (rows, columns) of the scan, optional
        Factor on the light.
    channel_shifts_px : three (x, y), optional
        Makes a red, green, blue scan whose channels are shifted right and down by so much.
    encode : callable
        Light to code, both 0..1; sRGB unless told otherwise.

    Returns
    -------
    uint8 or uint16 (rows, columns, channels)
    """
    shifts = [(0.0, 0.0)] if channel_shifts_px is None else channel_shifts_px
    factor = dpi_from / dpi_to
    sigma = np.broadcast_to(np.asarray(blur_sigma_px, float), 2)[::-1] * factor  # rows, columns
    rows, cols = (int(n / factor + 1e-6) for n in reflectance.shape)
    if size_px is not None:
        cols, rows = size_px
    rng = np.random.default_rng(seed)
    top = 2**bits - 1
    out = np.empty((rows, cols, len(shifts)), np.uint8 if bits == 8 else np.uint16)
    for row in range(0, rows, BAND_ROWS):
        count = min(BAND_ROWS, rows - row)
        for channel, (dx, dy) in enumerate(shifts):
            move = (offset[0] + dx, offset[1] + dy)
            means = _pixel_means(reflectance, row, count, cols, factor, sigma, rotation_deg, move)
            light = gain * (ink + (paper - ink) * means)
            if illumination is not None:
                light *= np.broadcast_to(illumination, (rows, cols))[row : row + count]
            light += noise * rng.standard_normal(light.shape) if noise else 0.0
            out[row : row + count, :, channel] = np.rint(top * encode(np.clip(light, 0, 1)))
    return out


def _pixel_means(source, row, count, cols, factor, sigma, turn_deg, move):
    """Blurred area means of `count` rows of scan pixels; the raster's border pixels go on."""
    whole = round(factor)
    at = np.array([row - move[1], -move[0]]) * factor  # raster row and column of the first corner
    if turn_deg == 0 and abs(factor - whole) < 1e-9 and np.allclose(at, np.rint(at), atol=1e-6):
        first = np.rint(at).astype(int)
        halo = np.ceil(5 * sigma).astype(int)
        part = _edge_repeated(
            source,
            np.arange(first[0] - halo[0], first[0] + count * whole + halo[0]),
            np.arange(first[1] - halo[1], first[1] + cols * whole + halo[1]),
        )
        soft = blurred(part, sigma)
        core = soft[halo[0] : halo[0] + count * whole, halo[1] : halo[1] + cols * whole]
        return core.reshape(count, whole, cols, whole).mean((1, 3))
    return _resampled_means(source, row, count, cols, factor, sigma, turn_deg, move)


def blurred(plane, sigma, *, truncate=5.0):
    """As ``scipy.ndimage.gaussian_filter(mode="nearest")``, in a quarter of its time."""
    kernels = []
    for one in np.broadcast_to(sigma, 2):
        n = int(truncate * one + 0.5)
        weights = np.exp(-0.5 * (np.arange(-n, n + 1) / max(one, 1e-9)) ** 2)
        kernels.append(weights / weights.sum())
    down, along = kernels
    cv2.setNumThreads(1)
    return cv2.sepFilter2D(plane, -1, along, down, borderType=cv2.BORDER_REPLICATE)


def _edge_repeated(source, rows, cols):
    """Those rows and columns of the raster, its border going on outside, as float32."""
    inside = np.ix_(rows.clip(0, source.shape[0] - 1), cols.clip(0, source.shape[1] - 1))
    return source[inside].astype(np.float32)


def _resampled_means(source, row, count, cols, factor, sigma, turn_deg, move):
    """The same for any turn, shift and ratio: splines on a grid finer than the raster."""
    fine = max(int(np.ceil(factor)), 4)
    c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    back = np.array([[c, -s], [s, c]]) * factor / fine  # (row, column) of the grid to the raster
    # Corner coordinates: grid point i covers i..i+1; raster pixel j has its centre at j + 0.5.
    corner = np.array([row - move[1], -move[0]]) * factor
    start = np.array([[c, -s], [s, c]]) @ corner + back @ np.array([0.5, 0.5]) - 0.5
    shape = np.array([count * fine, cols * fine])
    ends = start + np.array([back @ (shape * k) for k in ((0, 0), (0, 1), (1, 0), (1, 1))])
    margin = np.ceil(5 * sigma + 12).astype(int)
    low = np.floor(ends.min(0)).astype(int) - margin
    high = np.ceil(ends.max(0)).astype(int) + margin
    part = _edge_repeated(source, np.arange(low[0], high[0]), np.arange(low[1], high[1]))
    part = blurred(part, sigma)
    grid = ndimage.affine_transform(
        part, back, start - low, tuple(shape), order=3, mode="nearest", output=np.float32
    )
    return grid.reshape(count, fine, cols, fine).mean((1, 3))


def true_sfr(freq_cy_px, *, blur_sigma_px, angle_deg=0.0):
    """Response of `degrade` normal to an edge, at frequencies in cycles per scan pixel.

    Gaussian times the pixel aperture of the scan. The raster's own aperture does not come on top
    where nothing was resampled: poppler's pixels are area means, and the mean of the N × N of them
    that make a pixel is the area mean over that pixel exactly.
    `angle_deg` is the edge's slant against the pixel grid: a square pixel seen at an angle.
    """
    freq = np.asarray(freq_cy_px, float)
    fx, fy = freq * np.cos(np.deg2rad(angle_deg)), freq * np.sin(np.deg2rad(angle_deg))
    return np.exp(-2 * (np.pi * freq * blur_sigma_px) ** 2) * np.abs(np.sinc(fx) * np.sinc(fy))
