"""Jobs of pages, played by the simulator with known truth: pages, faults, the files they make.

Truth is what was laid on the glass and planted; the watch sees the files only.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Literal

import cv2
import numpy as np

from scanqa.scans.save import save_jpeg, save_tiff
from scanqa.simulate.job_pages import KINDS, Kind, Laid, reflectance
from scanqa.simulate.job_scanner import DirtLine, JobScanner, State, scanned

Format = Literal["tif", "jpg"]


@dataclass(frozen=True)
class Page:
    """A page of a job and how it is scanned and saved.

    Attributes
    ----------
    after : callable
        What is done to the codes afterwards.
    """

    laid: Laid
    state: State = field(default_factory=State)
    format: Format = "tif"
    quality: int = 90
    dpi: float | None = None
    colour: bool = False
    after: Callable[[np.ndarray], np.ndarray] = lambda codes: codes


@dataclass(frozen=True)
class Play:
    """A job.

    Attributes
    ----------
    kinds : tuple of str
        Of the pages, in a random order.
    turned : bool
        Every second page lay upside down and was turned afterwards; fronts and backs mirrored.
    loose : (mm, degrees)
        Scatter of how pages lie.
    """

    seed: int
    pages: int = 60
    kinds: tuple[Kind, ...] = KINDS
    turned: bool = False
    loose: tuple[float, float] = (0.7, 0.2)
    scanner: JobScanner = field(default_factory=lambda: JobScanner(dpi=200))
    format: Format = "tif"
    quality: int = 90
    gutter: float = 0.12
    blank_first: bool = True

    def plan(self) -> list[Page]:
        """The sound job."""
        rng = np.random.default_rng((self.seed, 5))
        made = []
        for at in range(self.pages):
            kind: Kind = self.kinds[int(rng.integers(len(self.kinds)))]
            turned = self.turned and at % 2 == 1
            laid = Laid(
                kind,
                seed=self.seed * 10_000 + at,
                side="back" if self.turned and at % 2 else "front",
                shift_mm=(float(rng.normal(0, self.loose[0])), float(rng.normal(0, self.loose[0]))),
                turn_deg=float(rng.normal(0, self.loose[1])),
                paper=0.82 * (1 + 0.004 * float(rng.standard_normal())),
            )
            state = State(upside_down=turned, gutter=self.gutter)
            made.append(Page(laid, state, self.format, self.quality))
        if self.blank_first:
            made[0] = blank(made[0])
        return made


def blank(page: Page) -> Page:
    """White paper over the whole glass, scanned as the page was to be."""
    laid = Laid("blank", page.laid.seed)
    return replace(page, laid=laid, state=replace(page.state, gutter=0.0, upside_down=False))


def dirty(plan: list[Page], line: DirtLine, first: int, last: int) -> list[Page]:
    """A line of dirt from one page to another."""
    return [
        replace(page, state=replace(page.state, lines=(*page.state.lines, line)))
        if first <= at <= last
        else page
        for at, page in enumerate(plan)
    ]


def changed(plan: list[Page], first: int, last: int, **state: object) -> list[Page]:
    """Another state from one page to another."""
    return [
        replace(page, state=replace(page.state, **state)) if first <= at <= last else page  # type: ignore[arg-type]
        for at, page in enumerate(plan)
    ]


def made(page: Page, scanner: JobScanner, seed: int) -> np.ndarray:
    """The codes of a page."""
    dpi = page.dpi or scanner.dpi
    used = replace(scanner, dpi=dpi)
    paper = reflectance(page.laid, scanner.size_mm, dpi)
    return page.after(scanned(paper, used, page.state, seed, colour=page.colour))


def write(folder: Path, name: str, page: Page, scanner: JobScanner, seed: int) -> Path:
    """Scan a page into a folder."""
    codes, dpi = made(page, scanner, seed), page.dpi or scanner.dpi
    path = folder / f"{name}.{page.format}"
    if page.format == "tif":
        save_tiff(path, codes, dpi)
    else:
        save_jpeg(path, codes, dpi, quality=page.quality)
    return path


def files(folder: Path, play: Play, plan: list[Page]) -> Iterator[Path]:
    """The files of a job, as they are scanned, one after the other."""
    cv2.setNumThreads(1)
    for at, page in zip(itertools.count(), plan, strict=False):
        yield write(folder, f"{at:04d}", page, play.scanner, play.seed * 100_000 + at)
