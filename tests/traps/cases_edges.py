"""Edges that are not the scanner's: printers' blur, light in paper, curves, halos, filters, tails.

The committed bed sheet is drawn by poppler and made into a scan by a few lines of scipy, not by the
simulator: the printer blurs the picture, light in paper multiplies it by what of it is left around
each place (Yule & Nielsen 1951: R = T (P * T), * being convolution), optics blur, a curve codes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import tifffile
from scipy import ndimage
from skimage.restoration import denoise_bilateral

from scanqa.model import Told
from tests import independent as ind
from tests.traps.case import Case

PDF = Path(__file__).parents[2] / "targets" / "bed-sheet-a4.pdf"
FINE_DPI, DPI = 1200, 200
OPTICS_MM = 0.05
NEVER_SURE = (
    "severity:fault", "seller", "rejected", "sure:*",
    "measure:sharpness.sfr50:ok", "measure:sharpness.sfr10:ok",
    "measure:sharpness.effective_dpi:ok",
)  # fmt: skip
KNOWN_AS_SCAN = ("role:bed-sheet", "measure:sharpness.sheet_sfr50:ok")


@dataclass(frozen=True)
class Made:
    """How a scan of the sheet comes about."""

    print_mm: float = 0.005
    spread_mm: float = 0.0
    gamma: float | None = None
    bend: float = 0.0
    sharpen: tuple[float, float] = (0.0, 1.0)  # amount, radius in px
    bilateral: bool = False
    tail: tuple[float, float] = (0.0, 0.4)  # share of light, mm

    def __call__(self, folder: Path) -> Sequence[Path]:
        per_mm = FINE_DPI / 25.4
        ink = ndimage.gaussian_filter(_sheet(), self.print_mm * per_mm)
        if self.spread_mm:
            ink = ink * ndimage.gaussian_filter(ink, self.spread_mm * per_mm)
        light = ndimage.gaussian_filter(0.04 + 0.8 * ink, OPTICS_MM * per_mm)
        share, wide_mm = self.tail
        if share:
            far = ndimage.gaussian_filter(light[::4, ::4], wide_mm * per_mm / 4)
            far = np.kron(far, np.ones((4, 4), np.float32))[: light.shape[0], : light.shape[1]]
            light = (1 - share) * light + share * far
        per = FINE_DPI // DPI
        rows, columns = (n // per for n in light.shape)
        light = light[: rows * per, : columns * per].reshape(rows, per, columns, per).mean((1, 3))
        rng = np.random.default_rng(3)
        light = np.stack([light + rng.normal(0, 0.004, light.shape) for _ in range(3)], axis=-1)
        code = self._coded(light)
        path = folder / "bed.tif"
        pixels = np.rint(255 * code.clip(0, 1)).astype(np.uint8)
        tifffile.imwrite(
            path, pixels, resolution=(DPI, DPI), resolutionunit="inch", photometric="rgb"
        )
        return [path]

    def _coded(self, light):
        code = (
            ind.srgb_encode(light) if self.gamma is None else light.clip(0, 1) ** (1 / self.gamma)
        )
        if self.bend:
            code = code + self.bend * np.sin(2 * np.pi * (code - 0.5)) / (2 * np.pi)
        amount, radius = self.sharpen
        if amount:
            code = code + amount * (code - ndimage.gaussian_filter(code, (radius, radius, 0)))
        if self.bilateral:
            code = denoise_bilateral(code.clip(0, 1), win_size=5, sigma_color=0.05,
                                     sigma_spatial=1.5, channel_axis=-1)  # fmt: skip
        return code


@cache
def _sheet():
    """Reflectance of the whole sheet, 1 paper and 0 ink."""
    return ind.raster(PDF, FINE_DPI, pose=ind.Pose(turn_deg=0.3))


def trap(name: str, make: Callable[[Path], Sequence[Path]], *, also: tuple[str, ...] = ()) -> Case:
    return Case(name, make, (*NEVER_SURE, *also), KNOWN_AS_SCAN, told=Told(), source="poppler")


CASES = (
    *(trap(f"print blurred by {um} µm", Made(print_mm=um / 1000)) for um in (10, 20, 40, 60)),
    *(
        trap(
            f"light spread by {um} µm in paper, codes of gamma {gamma:g}",
            Made(spread_mm=um / 1000, gamma=gamma),
        )
        for um in (20, 80)
        for gamma in (1.0, 1.8, 2.6)
    ),
    trap("an S-curve of the software, read as sRGB", Made(bend=0.4)),
    trap("sharpened a little at a small radius", Made(sharpen=(0.15, 0.8))),
    # Its halo is a trace in the file itself, which needs no second look: that it sharpens is sure.
    Case(
        "sharpened a little at a large radius",
        Made(sharpen=(0.08, 2.5)),
        (
            *(word for word in NEVER_SURE if word != "sure:*"),
            "sure:focus",
            "sure:lens-grade",
        ),
        (*KNOWN_AS_SCAN, "cause:sharpening"),
        source="poppler",
    ),
    trap("smoothed by a filter that keeps edges", Made(bilateral=True)),
    trap("8 % of the light in a tail of 0.4 mm", Made(tail=(0.08, 0.4))),
)
