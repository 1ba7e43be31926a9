"""Scans of small scenes for traps: plain and ugly paper on a simulated scanner, as TIFF files."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from scanqa.scans.save import save_tiff
from scanqa.simulate import scan
from scanqa.simulate.coverage import Shape
from scanqa.simulate.frames import inverse, rectangle
from scanqa.simulate.scanner import Scanner
from scanqa.simulate.scenes import BlankScene, Laid, Paper, Scene

GLASS = (108.0, 150.0)
PAPER = Paper(seed=5)
MOVED, ASKEW = (3.2, -4.1), 0.4

Box = tuple[float, float, float, float]  # left, top, right, bottom on the paper, mm


@dataclass(frozen=True)
class MarkedPaper:
    """Plain paper with boxes of its own, each of a share of the paper's reflectance."""

    blank: BlankScene
    boxes: tuple[tuple[Box, float], ...]

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        laid = self.blank.lay(glass_mm)
        onto = inverse(laid.to_paper)
        shapes = tuple(
            Shape((rectangle(*box),), share * laid.base).moved(onto) for box, share in self.boxes
        )
        return replace(laid, shapes=shapes)


def lies(paper: Paper = PAPER) -> dict[str, BlankScene]:
    """The ways that a sheet is laid here: at first, moved, turned by a quarter and by half."""
    width, height = GLASS
    return {
        "first": BlankScene(paper),
        "moved": BlankScene(paper, moved_mm=MOVED, turn_deg=ASKEW),
        "quarter": BlankScene(paper, moved_mm=(width + 2.0, -3.0), turn_deg=90.3),
        "half": BlankScene(paper, moved_mm=(width + 2.0, height - 3.0), turn_deg=180.3),
    }


def scans(
    ways: Sequence[str],
    *,
    paper: Paper = PAPER,
    boxes: tuple[tuple[Box, float], ...] = (),
    scanner: Scanner | None = None,
    dpi: float = 150,
    seed: int = 1,
) -> Callable[[Path], Sequence[Path]]:
    """Blank scans of one sheet, laid in turn in these ways."""
    plain = lies(paper)
    laid: dict[str, Scene] = {
        f"blank-{at}-{way}": MarkedPaper(plain[way], boxes) if boxes else plain[way]
        for at, way in enumerate(ways, 1)
    }
    return written(laid, scanner or Scanner("bench", glass_mm=GLASS), dpi=dpi, seed=seed)


def written(
    laid: Mapping[str, Scene], scanner: Scanner, *, dpi: float, seed: int = 1
) -> Callable[[Path], Sequence[Path]]:
    """A function that simulates scenes and writes them, a minute apart."""

    def make(folder: Path) -> Sequence[Path]:
        files = []
        for at, (name, scene) in enumerate(laid.items()):
            rng = np.random.default_rng([seed, at])
            simulated = scan(scene, scanner, dpi=dpi, rng=rng)
            files.append(folder / f"{name}.tif")
            save_tiff(files[-1], simulated.pixels, simulated.dpi)
            written_at = 1_700_000_000 + 60 * at
            os.utime(files[-1], (written_at, written_at))
        return files

    return make


def lines_along(pitch_mm: float, width_mm: float, share: float) -> tuple[tuple[Box, float], ...]:
    """Lines down the paper at a pitch: chain lines of laid paper, a ruling."""
    places = np.arange(-300.0, 400.0, pitch_mm) + 0.37 * pitch_mm
    return tuple(((x, -300.0, x + width_mm, 500.0), share) for x in map(float, places))


def lines_across(pitch_mm: float, width_mm: float, share: float) -> tuple[tuple[Box, float], ...]:
    """Lines over the paper at a pitch: wire lines of laid paper, a ruling."""
    places = np.arange(-300.0, 500.0, pitch_mm) + 0.41 * pitch_mm
    return tuple(((-300.0, y, 400.0, y + width_mm), share) for y in map(float, places))


def flecks(count: int, seed: int) -> tuple[tuple[Box, float], ...]:
    """Specks of recycled paper: 0.15 to 0.5 mm, up to a third darker."""
    rng = np.random.default_rng(seed)
    boxes = []
    for _ in range(count):
        x, y = (float(rng.uniform(-160, 260)) for _ in range(2))
        wide, high = (float(rng.uniform(0.15, 0.5)) for _ in range(2))
        boxes.append(((x, y, x + wide, y + high), float(rng.uniform(0.65, 0.95))))
    return tuple(boxes)
