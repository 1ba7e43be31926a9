"""Jobs made of real scans: film strips with true sensor streaks, and leaves of notes.

`film20240620_002.tif` (see the project's tests/real/README.md; its top stands there as
`film20240620_002-top.tif`): plain white sheet above and below film strips, 16 bits. True bright
streaks of the sensor at columns 107, 416-417, 695-696 and 715. White rows are laid under print of
the simulator, so that grain, columns and streaks are the real scanner's. Up to a page the streaks
are mended with the columns beside them; from there on they are as they were scanned.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import tifffile

from scanqa.scans.save import save_tiff
from scanqa.simulate.job_pages import Kind, Laid, reflectance

REAL = Path(__file__).parents[1] / "real"
STREAKS = (107, 416, 695, 715)  # and 417, 696 beside two of them
MENDED = (104, 107, 416, 417, 536, 651, 695, 696, 715, 835)
PRINTS: tuple[Kind, ...] = ("text", "columns", "picture", "ruled", "coloured")
ROWS, DPI = 900, 150  # of a page; print is drawn as for 150 dpi


def white_rows() -> np.ndarray:
    """Rows of the plain sheet, as light."""
    film = tifffile.imread(REAL / "film20240620_002-top.tif").astype(np.float64) / 65535
    rows = film[2:52]
    return np.where(rows <= 0.04045, rows / 12.92, ((rows + 0.055) / 1.055) ** 2.4)


def mended(light: np.ndarray) -> np.ndarray:
    """The same without the streaks: columns beside them in their place."""
    made = light.copy()
    for column in MENDED:
        made[:, column] = (light[:, column - 5] + light[:, column + 5]) / 2
    return made


def film_job(folder: Path, pages: int, begin: int) -> Iterator[Path]:
    """Pages of a job on the real scanner's columns; the streaks are there from page `begin`."""
    rng = np.random.default_rng(11)
    real = white_rows()
    clean = mended(real)
    width = real.shape[1]
    size_mm = (width * 25.4 / DPI, ROWS * 25.4 / DPI)
    for at in range(pages):
        source = real if at >= begin else clean
        rows = rng.integers(0, len(source), ROWS)
        laid = Laid(
            PRINTS[at % len(PRINTS)],
            seed=900 + at,
            shift_mm=(float(rng.normal(0, 0.7)), float(rng.normal(0, 0.7))),
            turn_deg=float(rng.normal(0, 0.2)),
            paper=0.98,
        )
        paper = cv2.resize(reflectance(laid, size_mm, DPI), (width, ROWS)) / 0.98
        light = source[rows] * np.clip(paper, 0.02, 1)
        codes = np.where(light <= 0.0031308, 12.92 * light, 1.055 * light ** (1 / 2.4) - 0.055)
        path = folder / f"{at:03d}.tif"
        save_tiff(path, np.rint(65535 * np.clip(codes, 0, 1)).astype(np.uint16), DPI)
        yield path


def notes_job(folder: Path, pages: int) -> Iterator[Path]:
    """Leaves of notes: crops of a real scan, first lying anywhere, then in one place."""
    rng = np.random.default_rng(12)
    leaf = cv2.imread(str(REAL / "notesA1.jpg"))[..., ::-1]
    height, width = leaf.shape[0] - 400, leaf.shape[1] - 300
    for at in range(pages):
        y = int(rng.integers(0, 400))
        x = int(rng.integers(0, 300)) if at < pages // 2 else 150
        path = folder / f"{at:03d}.tif"
        save_tiff(path, np.ascontiguousarray(leaf[y : y + height, x : x + width]), 300)
        yield path
