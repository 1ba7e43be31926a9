"""Darkening, reach, lift and focus of an open book, and what its ramp says of height.

Truth: the light of the page in closed form, and the response of optics and pixel (`Truth`); heights
from the beam that the book was laid by.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from scanqa.model import LUMA_WEIGHTS, Results, Told
from scanqa.sheets import sheet
from scanqa.simulate.device_faults import Shadow
from scanqa.simulate.scanner import Scanner
from scanqa.simulate.scenes import STIFFNESS, BlankScene, BookScene, RampScene
from scanqa.simulate.truth import Truth, lstar
from tests.coverage import Tried
from tests.coverage.hard import Drawn, by_curve, drawn, measured, moved, one, scanned

CASES = 130
DISTANCES, REACHES, HEIGHTS = (0, 2, 5, 10, 20), (2, 5, 10), (1, 2, 5, 10)
DPI = (100, 150, 200)
RAMP_GLASS_MM = (160.0, 300.0)
NOTE = """Heights are by a lip that stands 12 mm up within 0.4 mm, or was read by a rule to 0.2 mm:
of all heights 3.3 % or 1.7 %, one sigma. Distances are from the spine: where the dead margin was
read by eye to 0.25 mm and the book lies to 0.3 mm, a steep place (2 L* a millimetre, as at 5 mm) is
known to ± 1.5 L* at 95 %, whatever the scan. A curve that nobody stated adds to that.
"""
# How a user lays a book, folds a ramp and reads a rule (common practice, no source).
LAID_SD_MM, LIP_SD_MM, RULE_SD_MM = 0.25, 0.4, 0.2


@dataclass(frozen=True)
class Spread:
    """An open book on a unit, its ramp, and what the user read and told."""

    found: Results
    truth: Truth
    unit: Scanner
    book: BookScene
    side: str
    margin_mm: float
    at: Drawn

    def delta_L(self, from_spine_mm):
        """True darkening at distances from the spine, which may lie a little inside the plate."""
        inwards = np.asarray(from_spine_mm, float) + self.book.spine_inset_mm - self.margin_mm
        return self.truth.delta_L(self.side, np.maximum(inwards, -self.margin_mm))

    def sfr50(self, height_mm):
        """cy/mm where blur at a height (Gaussian), pixel and colour lines leave a half of luma.

        Edges that run up the slope are measured across it: along travel for a side left or right.
        """
        middle = np.asarray(0.0)
        sigma = float(self.unit.optics.sigma_um(middle, middle, height_mm)[1]) / 1000
        pixel = self.unit.optics.aperture_travel * 25.4 / self.at.dpi

        sensor = self.unit.sensor
        moved = np.array([sensor.red_px[1], 0.0, sensor.blue_px[1]]) * 25.4 / self.at.dpi

        def over(f):
            colours = abs(np.sum(LUMA_WEIGHTS * np.exp(-2j * np.pi * f * moved)))
            return np.exp(-2 * (np.pi * sigma * f) ** 2) * np.sinc(pixel * f) * colours - 0.5

        return brentq(over, 0.001, 0.999 / pixel)


def spread(rng) -> Spread:
    at = drawn(rng, dpi=DPI)
    side = str(rng.choice(["left", "right"]))
    margin = float(rng.uniform(0.3, 4.0))
    shade = {side: Shadow(float(rng.uniform(1.0, 4.0)), float(rng.uniform(0.1, 0.5)))}
    unit = at.scanner(
        dead_margin_mm={side: margin}, shadows=shade if rng.random() < 0.5 else {},
        glass_mm=RAMP_GLASS_MM,
    )  # fmt: skip
    lift_mm, length_mm = STIFFNESS[str(rng.choice(list(STIFFNESS)))]
    book = BookScene(
        side, float(lift_mm * rng.uniform(0.7, 1.3)), float(length_mm * rng.uniform(0.7, 1.3)),
        page_mm=(140.0, 200.0), paper=at.paper, spine_inset_mm=float(rng.normal(0, LAID_SD_MM)),
        text=bool(rng.random() < 0.7), seed=int(rng.integers(1 << 20)),
    )  # fmt: skip
    scans, truth = scanned(book, unit, at, "book", role="open-book", book_edge=side)
    true_mm = float(rng.normal(12.0, LIP_SD_MM))
    lip_mm = true_mm + float(rng.normal(0, RULE_SD_MM)) if rng.random() < 0.5 else None
    ramp = RampScene(sheet("gutter-ramp-a4"), side, true_mm, paper=at.paper, printer=at.printer)
    scans += scanned(ramp, unit, at, "ramp")[0]
    scans += scanned(BlankScene(at.paper, **moved(rng)), unit, at, "blank", role="blank")[0]
    read = {side: margin + float(rng.normal(0, 0.25))} if rng.random() < 0.8 else {}
    told = Told(book_edge=side, dead_margins_mm=read, ramp_height_mm=lip_mm)
    found = measured(scans, told, "gutter")
    return Spread(found, truth, unit, book, side, margin, at)


def case(rng):
    s = spread(rng)
    yield from _darkening(s)
    yield from _page(s)
    yield from _heights(s)


def _darkening(s: Spread):
    for m in one(s.found, "gutter.plateau"):
        yield Tried("gutter.plateau", m, float(lstar(np.asarray(s.truth.paper_luma))))
    for d in DISTANCES:
        for m in one(s.found, f"gutter.delta_L_at_{d}mm"):
            yield Tried(by_curve(m.name, s.at), m, float(s.delta_L([float(d)])[0]))
    for m in one(s.found, "gutter.unseen"):
        yield Tried(m.name, m, s.margin_mm - s.book.spine_inset_mm)
    fine = np.arange(0.0, 40.0, 0.002)
    darker = s.delta_L(fine)
    for limit in REACHES:
        beyond = np.flatnonzero(darker > limit)
        true = float(fine[beyond[-1]]) if beyond.size else 0.0
        for m in one(s.found, f"gutter.reach_{limit}"):
            yield Tried("gutter.reach", m, true)


def _page(s: Spread):
    for d in (0, 2, 5, 10):
        height = float(s.book.height_mm(np.asarray(float(d))))
        for m in one(s.found, f"gutter.lift_at_{d}mm"):
            yield Tried("gutter.lift", m, height)
        true = 100 * s.sfr50(height) / s.sfr50(0.0)
        for m in one(s.found, f"gutter.focus_at_{d}mm"):
            yield Tried("gutter.focus_at_*mm", m, true)


def _heights(s: Spread):
    for height in HEIGHTS:
        for m in one(s.found, f"gutter.light_at_{height}mm_height"):
            yield Tried("gutter.light_at_*_height", m, 100 * float(s.unit.lamp.lifted(height)))
        true = 100 * s.sfr50(float(height)) / s.sfr50(0.0)
        for m in one(s.found, f"gutter.focus_at_{height}mm_height"):
            yield Tried("gutter.focus_at_*_height", m, true)
    depth = brentq(lambda h: s.sfr50(h) - s.sfr50(0.0) / 2, 0.0, 60.0)
    for m in one(s.found, "gutter.depth_of_field"):
        yield Tried("gutter.depth_of_field", m, depth, relative=True)
