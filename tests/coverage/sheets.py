"""Geometry, registration and tones of a printed sheet, and dead margins by the strips.

Truth: the device's own scale, shear and colour lines (`Scanner`), and its curve. The sheet is
printed too large or too small; its bars are read with a steel rule, or not at all. Of a third its
patches were measured.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from scanqa.model import LUMA_WEIGHTS, Told
from scanqa.sheets import sheet
from scanqa.simulate.scenes import SheetScene, StripsScene
from scanqa.simulate.truth import lstar
from tests.coverage import Tried
from tests.coverage.hard import drawn, measured, one, scanned

RULE_SD_MM = 0.04  # and rounded to 0.1 mm: 0.05 in all
REFERENCE_SHARE = 1 / 3
GLASS_MM = (216.0, 300.0)
SHEET, STRIPS = sheet("bed-sheet-a4"), sheet("edge-strip-a4")
HUNG = ("left", "top")
NOTE = """Without bars the printer's own scale (1 %, one sigma) is all of the doubt of dpi; the
ratio of the two axes comes free of it where the sheet was turned (reversal). A rule read to 0.1 mm
is 0.05 mm of 180: ± 0.06 % at 95 %. `tone.clipped` is a count; `tone.white` and `tone.black` stand
with blanks, as do `colour.paper_*`; where the carriage is steady no travel jitter is stated.
"""


def case(rng):
    at = drawn(rng, dpi=(100, 150))
    measured_patches = rng.random() < REFERENCE_SHARE
    if measured_patches:  # a densitometer reads the very patch, clouds of its paper and all
        at = replace(at, paper=replace(at.paper, features=(), texture=0.001))
    scale = rng.normal(0, 0.002, 2)
    unit = at.scanner(
        glass_mm=GLASS_MM, scale_error=(float(scale[0]), float(scale[1])),
        shear_deg=float(rng.normal(0, 0.05)),
        dead_margin_mm={side: float(rng.uniform(0.2, 4.0)) for side in HUNG},
    )  # fmt: skip
    corner = (float(rng.uniform(1, 4)), float(rng.uniform(0.5, 1.5)))
    turn = float(rng.uniform(-0.7, 0.7))
    lying = SheetScene(SHEET, corner, turn, paper=at.paper, printer=at.printer)
    scans, truth = scanned(lying, unit, at, "bed-sheet")
    if rng.random() < 0.3:  # reversal
        half = SheetScene(SHEET, corner, turn + 180, paper=at.paper, printer=at.printer)
        scans += scanned(half, unit, at, "bed-sheet-half")[0]
    told = Told(
        bars_mm=_read(rng, at) if rng.random() < 0.5 else None,
        reference=_reference(at) if measured_patches else None,
    )
    found = measured(scans, told, "geometry", "colour", "tone")
    words = "with bars" if told.bars_mm else "without bars"
    for name, true in zip(("across", "travel"), truth.true_dpi, strict=True):
        for m in one(found, f"geometry.dpi_{name}"):
            yield Tried(f"geometry.dpi, {words}", m, true, relative=True)
    for m in one(found, "geometry.orthogonality"):
        yield Tried(f"geometry.orthogonality, {words}", m, _out_of_square(unit))
    for m in one(found, "geometry.skew"):
        yield Tried("geometry.skew", m, truth.skew_deg)
    yield from _rest_of_geometry(found, at, words)
    for m in one(found, "tone.response"):
        if told.reference:
            yield Tried(m.name, m, _response(at, unit))
    yield from _registration(found, unit)
    hung = StripsScene(
        STRIPS, dict(zip((p.name for p in STRIPS.pieces), HUNG, strict=False)),
        paper=at.paper, printer=at.printer,
    )  # fmt: skip
    strips, _ = scanned(hung, unit, at, "strips")
    margins = measured(strips, Told(), "edges")
    for side in HUNG:
        for m in one(margins, f"edges.dead_margin_{side}"):
            yield Tried("edges.dead_margin", m, _never_seen(unit, side, at.dpi))


def _rest_of_geometry(found, at, words):
    """Nothing bends or jerks; the printer's own scale is told where the sheet was turned."""
    for name in ("geometry.distortion", "geometry.printer_distortion"):
        for m in one(found, name):
            yield Tried(f"{name} (none)", m, 0.0)
    for name, scale in (("across", at.printer.scale_x), ("down", at.printer.scale_y)):
        for m in one(found, f"geometry.printer_{name}"):
            yield Tried(f"geometry.printer_across and _down, {words}", m, 100 * (scale - 1))
    for m in one(found, "geometry.printer_squareness"):
        yield Tried(m.name, m, 0.0)


def _reflectances(at):
    """Of each patch of the sheet, by its name: ink on a share of paper (Murray and Davies)."""
    ink = 10**-at.printer.ink_density
    (piece,) = SHEET.pieces
    return {p.name: at.paper.reflectance * (1 - p.cover * (1 - ink)) for p in piece.patches}


def _reference(at):
    """What a densitometer reads of the patches."""
    tint = float(np.dot(LUMA_WEIGHTS, at.paper.tint))
    return {name: {"D_VIS": -np.log10(light * tint)} for name, light in _reflectances(at).items()}


def _response(at, unit):
    """Largest error of L*: what the unit's curve makes of light, read as sRGB."""
    tint, weights = np.asarray(at.paper.tint), np.asarray(LUMA_WEIGHTS)
    errors = []
    for light in _reflectances(at).values():
        given = light * tint / unit.white_reflectance + unit.black_light
        seen = lstar(weights @ _as_srgb(given, at.output.tone)) - lstar(weights @ (light * tint))
        errors.append(float(np.abs(seen)))
    return max(errors)


def _as_srgb(light, tone):
    """Light that a reader takes for sRGB (IEC 61966-2-1), from light behind another curve."""
    if tone == "srgb":
        return light
    code = light ** (1 / float(tone.removeprefix("gamma-")))
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def _never_seen(unit, side, dpi):
    """Glass before the first pixel in the middle of a side: a lean of the travel shifts it."""
    axis = HUNG.index(side)
    middle = np.array([0.0, GLASS_MM[1] / 2]) if axis == 0 else np.array([GLASS_MM[0] / 2, 0.0])
    onto = unit.glass_to_px((dpi, dpi))
    at_px = float((onto[:, :2] @ middle + onto[:, 2])[axis])
    return (-0.5 - at_px) * 25.4 / unit.true_dpi((dpi, dpi))[axis]


def _read(rng, at):
    """Bars as a rule reads them, to a tenth of a millimetre."""
    drawn_mm = np.asarray(SHEET.bars_mm)
    true = drawn_mm * (at.printer.scale_x, at.printer.scale_y)
    return tuple(np.round(true + rng.normal(0, RULE_SD_MM, 2), 1))


def _out_of_square(unit):
    """From the pixel's step to the right to that downwards, on the paper, less 90°."""
    linear = np.linalg.inv(unit.glass_to_px((100.0, 100.0))[:, :2])
    right, down = linear[:, 0], linear[:, 1]
    angle = np.degrees(np.arctan2(down[1], down[0]) - np.arctan2(right[1], right[0]))
    return float(angle - 90)


def _registration(found, unit):
    for channel, moved in (("red", unit.sensor.red_px), ("blue", unit.sensor.blue_px)):
        for axis, direction in enumerate(("across", "travel")):
            sites = one(found, "colour.registration", channel=channel, direction=direction)
            for m in list(sites)[:6]:
                yield Tried("colour.registration", m, moved[axis])
