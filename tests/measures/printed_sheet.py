"""A corner of the bed sheet, drawn by poppler and placed where it truly lies."""

import numpy as np

from scanqa.model import MM_PER_INCH, Linear, Placement
from scanqa.scans.array import ArrayScan
from scanqa.scans.overview import overview
from scanqa.sheets import sheet
from scanqa.sheets.pdf import draw
from tests import independent as ind

RASTER_DPI = 2400
SHEET_BOX_MM = (8.0, 8.0, 33.0, 78.0)  # the first two tags of the first column
TURN_DEG = 0.3
SLANT_DEG = 5.15  # ± the turn
POSE = ind.Pose(turn_deg=TURN_DEG)


def srgb_curve():
    """IEC 61966-2-1, code to light."""
    code = np.arange(256) / 255
    light = np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)
    return light[np.newaxis].astype(np.float32)


def sheet_picture(folder):
    """Reflectance at 2400 dpi."""
    path = folder / "bed-sheet-a4.pdf"
    path.write_bytes(draw(sheet("bed-sheet-a4")))
    return ind.raster(path, RASTER_DPI, pose=POSE, box_mm=SHEET_BOX_MM)


def placed(pixels, dpi):
    """The scan with its true frame; nothing is located here."""
    page = sheet("bed-sheet-a4")
    scan = ArrayScan(pixels, name="heron.tif", dpi=(dpi, dpi))
    per_mm = dpi / MM_PER_INCH
    first = np.rint(np.array(SHEET_BOX_MM[:2]) * RASTER_DPI / MM_PER_INCH) / RASTER_DPI * dpi
    return Placement(
        scan=scan,
        overview=overview(scan),
        light=Linear(np.repeat(srgb_curve(), scan.channels, axis=0), "sRGB assumed"),
        role="bed-sheet",
        dpi=(dpi, dpi),
        dpi_source="file",
        sheet=page,
        piece=page.pieces[0],
        to_px=np.column_stack([POSE.matrix * per_mm, POSE.shift * per_mm - 0.5 - first]),
    )
