"""A laser printer's edge, and a scan of it: a small model of its own, in the tests only.

The page is a bitmap of 600 dpi dots. A laser spot blurs it, toner answers with a threshold that
varies from grain to grain, and single grains lie scattered about the edge. What results is black
or white; the scanner blurs it with a Gaussian and takes the mean over its pixels. Sizes (spot of
about a dot, toner of 6 to 10 µm) are common practice, no source.
"""

from dataclasses import dataclass

import numpy as np
from scipy import ndimage

DOT_MM = 25.4 / 600
FINE_PER_PX = 8


@dataclass(frozen=True)
class Printed:
    """Linear light of a scan, and the guessed line of the edge in px."""

    pixels: np.ndarray
    line: tuple[tuple[float, float], tuple[float, float]]


def reflectance(*, fine_mm, rows, columns, slope, rng, spot_mm=0.028, grain_mm=0.010, toner=0.25):
    """1 paper, 0 toner, on a fine grid; the toner lies to the left of a slanted edge."""
    y, x = np.mgrid[:rows, :columns] * fine_mm
    middle = columns * fine_mm / 2
    dot_x = (np.floor(x / DOT_MM) + 0.5) * DOT_MM
    dot_y = (np.floor(y / DOT_MM) + 0.5) * DOT_MM
    bitmap = (dot_x < middle + slope * (dot_y - rows * fine_mm / 2)).astype(np.float32)
    exposure = ndimage.gaussian_filter(bitmap, spot_mm / fine_mm)
    grain = ndimage.gaussian_filter(rng.normal(size=exposure.shape), grain_mm / fine_mm)
    grain *= toner / grain.std()
    return (exposure + grain < 0.5).astype(np.float32)


def straight(*, fine_mm, rows, columns, slope, rng, rough_mm=0.0015):
    """A knife's cut: straight to a micron or two."""
    y, x = np.mgrid[:rows, :columns] * fine_mm
    wobble = ndimage.gaussian_filter1d(rng.normal(size=rows), 0.2 / fine_mm)
    wobble *= rough_mm / wobble.std()
    at = columns * fine_mm / 2 + slope * (y - rows * fine_mm / 2) + wobble[:, None]
    return np.clip((x - at) / fine_mm + 0.5, 0, 1).astype(np.float32)


def scanned(edge, *, dpi, sigma_mm, slant_deg, seed, noise=0.005, length_mm=13.0, reach_mm=1.8):
    """Scan of an edge made by `reflectance` or `straight`."""
    rng = np.random.default_rng(seed)
    fine_mm = 25.4 / dpi / FINE_PER_PX
    slope = float(np.tan(np.radians(slant_deg)))
    wide = 2 * reach_mm + abs(slope) * length_mm + 0.4
    rows = round(length_mm / fine_mm) // FINE_PER_PX * FINE_PER_PX
    columns = round(wide / fine_mm) // FINE_PER_PX * FINE_PER_PX
    page = edge(fine_mm=fine_mm, rows=rows, columns=columns, slope=slope, rng=rng)
    blurred = ndimage.gaussian_filter(page, sigma_mm / fine_mm, mode="nearest")
    means = blurred.reshape(rows // FINE_PER_PX, FINE_PER_PX, -1, FINE_PER_PX).mean((1, 3))
    light = 0.05 + 0.78 * means
    light = light + rng.normal(0, noise * 0.78, light.shape)
    high, wide_px = light.shape
    ends = [((wide_px - 1) / 2 + slope * (y - (high - 1) / 2), y) for y in (0.0, high - 1.0)]
    return Printed(light, (ends[0], ends[1]))
