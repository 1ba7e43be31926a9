"""The committed sheets on the glass, drawn by poppler: the folded ramp and the back-print sheet.

Nothing of the package's simulator takes part. The ramp is drawn twice, as it is and shortened to
the slope's plan view, and put together at the foot; each row, being of one height, is blurred by
that height's Gaussian and multiplied by that height's light. Then it is turned and scanned
(`tests.independent.degrade`) and goes the way of every scan: read, located, measured.
"""

from pathlib import Path

import numpy as np
from scipy import ndimage

from scanqa.locate import locate
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear
from scanqa.scans.overview import overview
from scanqa.sheets import sheet
from tests import independent as ind

TARGETS = Path(__file__).parents[2] / "targets"
PAPER, INK, CLOTH = 0.8, 0.05, 0.03
AROUND_MM = 8.0  # of cloth beside the strip
LEVELS = 5  # of blur up the slope, between which rows are mixed: it changes little there


def folded_ramp(light_at, sigma_at, *, fine_dpi, height_mm=12.0, name="gutter-ramp-a4"):
    """Light of the folded ramp seen from below, (rows, columns) at `fine_dpi`, lip at the bottom.

    Parameters
    ----------
    light_at, sigma_at : callable
        Share of light, and Gaussian sigma in mm, at heights in mm.
    height_mm : float
        True height of the lip.
    """
    slope = next(piece for piece in sheet(name).pieces if piece.rise is not None)
    rise = slope.rise
    (left, foot), (right, _) = rise.foot_mm
    cosine = np.sqrt(1 - (height_mm / rise.length_mm) ** 2)
    bottom = foot + rise.length_mm * cosine
    box = (left - AROUND_MM, foot - 60 - AROUND_MM, right + AROUND_MM, bottom)
    flat = ind.raster(TARGETS / f"{name}.pdf", fine_dpi, box_mm=box)
    lying = ind.Pose(printer=(1.0, cosine), about_mm=(0.0, foot))
    standing = ind.raster(TARGETS / f"{name}.pdf", fine_dpi, pose=lying, box_mm=box)
    first = np.rint(np.array(box[:2]) * fine_dpi / ind.MM)  # raster pixel of the box's corner
    x, y = ((first[i] + np.arange(flat.shape[1 - i]) + 0.5) * ind.MM / fine_dpi for i in (0, 1))
    rows = min(len(flat), len(standing))
    y = y[:rows]
    seen = np.where((y < foot)[:, None], flat[:rows], standing[:rows])
    light = INK + (PAPER - INK) * seen
    outside = (x < left) | (x > right)
    light[:, outside] = CLOTH
    light[y < foot - 60] = CLOTH
    height = np.clip((y - foot) / cosine, 0, None) * height_mm / rise.length_mm
    return _blurred(light, sigma_at(height) * fine_dpi / ind.MM) * light_at(height)[:, None]


def _blurred(picture, sigma_px):
    """Each row by its own Gaussian: across exactly, along by mixing two of a few levels."""
    levels = np.linspace(sigma_px.min(), sigma_px.max() + 1e-6, LEVELS)
    place = np.clip((sigma_px - levels[0]) / (levels[1] - levels[0]), 0, LEVELS - 1 - 1e-9)
    low = place.astype(int)
    part = (place - low).astype(np.float32)[:, None]
    mixed = np.zeros_like(picture)
    for level, sigma in enumerate(levels):
        share = np.where(low == level, 1 - part[:, 0], 0) + np.where(
            low == level - 1, part[:, 0], 0
        )
        rows = np.flatnonzero(share)
        if len(rows):
            soft = ndimage.gaussian_filter1d(picture, sigma, axis=0, mode="nearest")
            mixed[rows] += share[rows, None].astype(np.float32) * soft[rows]
    # The cloth at both ends is the same, so that the transform's wrapping round does no harm.
    frequency = np.fft.rfftfreq(picture.shape[1])
    gauss = np.exp(-2 * (np.pi * sigma_px[:, None] * frequency) ** 2).astype(np.float32)
    return np.fft.irfft(np.fft.rfft(mixed, axis=1) * gauss, picture.shape[1], axis=1)


def scanned(light, *, fine_dpi, dpi, turn_deg=0.0, noise=0.003, name="ramp.tif", seed=1, role=None):
    """Placements found in a scan of it: whole quarter turns, then what is left, clockwise."""
    quarters = round(turn_deg / 90)
    pixels = ind.degrade(
        np.rot90(light, -quarters),
        dpi_from=fine_dpi,
        dpi_to=dpi,
        rotation_deg=turn_deg - 90 * quarters,
        paper=1.0,
        ink=0.0,
        noise=noise,
        seed=seed,
    )
    scan = ArrayScan(pixels, name=name, dpi=(dpi, dpi))
    return locate(scan, overview(scan), linear(scan), role=role)


def back_print(show, *, fine_dpi, paper=0.8, spread_mm=0.4, name="back-print-a4"):
    """Light of the back-print sheet from its front; ink on the back takes `show` of the light.

    The sheet is turned over on its long edge, so the second page is seen in a mirror, blurred by
    the light's spreading in the paper (some tenths of a millimetre).
    """
    front = ind.raster(TARGETS / f"{name}.pdf", fine_dpi)
    back = ind.raster(TARGETS / f"{name}.pdf", fine_dpi, page=1)[:, ::-1]
    behind = ndimage.gaussian_filter(1 - back, spread_mm * fine_dpi / ind.MM, mode="nearest")
    return (INK + (paper - INK) * front) * (1 - show * behind)


def in_perspective(light, *, fine_dpi, distance_mm, axis_mm, height_mm=12.0, along=True):
    """The folded ramp through a lens so far below the glass: what lies higher looks smaller.

    The sensor line sees in perspective about its middle, the carriage's travel does not. With
    `along` the line runs up the slope (a book edge left or right), `axis_mm` before the foot;
    otherwise across it, its middle `axis_mm` from the picture's left side.
    """
    rows, columns = light.shape
    per_mm = fine_dpi / ind.MM
    plan_mm = np.sqrt(60.0**2 - height_mm**2)
    from_foot = np.arange(rows) / per_mm - AROUND_MM - 60
    scale = 1 - np.clip(from_foot, 0, None) * height_mm / plan_mm / distance_mm
    if along:
        seen = (from_foot + axis_mm) * scale - axis_mm
        source = np.interp(from_foot, seen, np.arange(rows))
        return ndimage.map_coordinates(
            light, np.broadcast_arrays(source[:, None], np.arange(columns)[None]), order=1
        )
    x = np.arange(columns) / per_mm - axis_mm
    out = [np.interp(x / s, x, row) for s, row in zip(scale, light, strict=True)]
    return np.array(out, light.dtype)
