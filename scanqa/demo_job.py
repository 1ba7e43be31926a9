"""The demo's job: 24 pages of a nursery catalogue, during which dirt falls on heron's sensor.

Every second page lies upside down on the glass, for the book hangs over its edge, and is turned
afterwards. The catalogue and its varieties are invented, like the Tarn Valley Orchard Society.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np

from scanqa.scans.save import save_tiff
from scanqa.simulate.job_pages import Kind, Laid, reflectance
from scanqa.simulate.job_scanner import DirtLine, JobScanner, State, scanned

PAGES, FIRST_DIRTY = 24, 16
HERON = JobScanner(dpi=150, seed=21)
DIRT = DirtLine(at_mm=112.6, width_mm=0.2, contrast=-0.022)
CATALOGUE: tuple[Kind, ...] = ("text", "columns", "picture", "text", "columns", "coloured")


def play_job(
    folder: Path, *, progress: Callable[[int, int, str], None] = lambda done, total, name: None
) -> list[Path]:
    """Scan the catalogue into a folder, page by page; the first is a blank.

    Parameters
    ----------
    folder : Path
        Made if it is not there; pages that are there are replaced.
    progress : callable
        Told how many pages are done, of how many, and the name of the next.
    """
    folder.mkdir(parents=True, exist_ok=True)
    made = []
    for at in range(PAGES):
        path = folder / f"{at:04d}.tif"
        progress(at, PAGES, path.name)
        save_tiff(path, _codes(at), HERON.dpi)
        made.append(path)
    return made


def _codes(at: int) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    rng = np.random.default_rng((2026, at))
    turned = at % 2 == 1
    laid = Laid(
        kind="blank" if at == 0 else CATALOGUE[at % len(CATALOGUE)],
        seed=3000 + at,
        side="back" if turned else "front",
        shift_mm=(float(rng.normal(0, 0.7)), float(rng.normal(0, 0.7))),
        turn_deg=float(rng.normal(0, 0.2)),
    )
    state = State(
        lines=(DIRT,) if at >= FIRST_DIRTY else (),
        gutter=0.0 if at == 0 else 0.12,
        upside_down=turned,
    )
    paper = reflectance(laid, HERON.size_mm, HERON.dpi)
    return scanned(paper, HERON, state, at)
