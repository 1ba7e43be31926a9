"""Doubt by a tone curve that nobody stated, for every value whose row says how it depends on it.

Beside another gamma, software may have bent the curve to an S. The tones of a printed sheet tell:
halftones follow Murray & Davies (1936) with dot gain and light spread (Yule & Nielsen 1951), one
curve with two free numbers, which light tones made lighter and dark ones darker do not. Nothing is
corrected by them: where they do not look like print, or were not scanned, the doubt is larger. With
measured values of the patches (`Told.reference`) the curve is known as well as the scan agrees.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from scanqa.catalogue import CATALOGUE, FAMILIES
from scanqa.model import Floats, Measurement, Placement, Results, of_role
from scanqa.numeric.curve_doubt import (
    EXPONENT_SD,
    doubted,
    of_contrast,
    of_lightness,
    of_share,
)
from scanqa.numeric.lightness import lstar
from scanqa.reading.patches import patch_light

# Of an edge from ink to paper, over gammas of 1.8 to 2.6 (worked out in the tests).
SFR50_SD, SFR10_SD = 0.04, 0.07
BENT = 1.6  # times the doubt of what rests on light near paper, where an S-curve is not ruled out
BENT_EDGE = 2.1  # and of responses
AGREES_L = 2.0  # L* by which a scan may differ from measured patches
LIKE_PRINT_L = 1.2  # by which tones may differ from those of print
FEWEST_TONES = 6
RIM_MM = 1.0  # of a patch left out
DOT_GAIN = np.linspace(-0.05, 0.35, 41)  # at half cover
YULE_NIELSEN = np.linspace(1.0, 3.0, 9)

SIZE: dict[str, Callable[[float], float]] = {
    "contrast": of_contrast,
    "square": lambda value: 2 * of_contrast(value),  # goes with the square of a contrast
    "decibel": lambda _: 20 * math.log10(1 + EXPONENT_SD),
    "share": of_share,
    "lightness": of_lightness,
    "dark": lambda value: 3 * of_contrast(value),  # near black a power of light counts for more
    "sfr50": lambda value: SFR50_SD * value,
    "sfr10": lambda value: SFR10_SD * value,
}


def with_curve_doubt(results: Results, scans: Sequence[Placement]) -> Results:
    """Add to values what the assumed curve of their scans leaves open.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner.
    scans : sequence of Placement
        All of them. A value of no scan in particular rests on the first of its family's.
    """
    if any(m.value is not None and m.value <= AGREES_L for m in results.named("tone.response")):
        return results
    sources = {scan.scan.name: scan.light for scan in scans}
    plain = not any(scan.light.assumed for scan in scans) or _tones_are_print(scans)

    def left(m: Measurement) -> Measurement:
        rule = CATALOGUE[m.name].curve
        if not rule or m.value is None:
            return m
        if m.reason_kind == "sampling" and m.status == "at-least":
            return m  # all that the samples can hold, the curve allowed for (`sharpness`)
        roles = FAMILIES[m.name.partition(".")[0]].roles
        of_family = (scan.light for scan in scans if scan.role in roles)
        light = sources.get(m.scan) or next(of_family, None)
        if light is None or not light.assumed:
            return m
        times = 1.0 if plain else BENT_EDGE if rule.startswith("sfr") else BENT
        # A contrast's doubt grows with it: of two ends the larger is the less certain.
        end = m.high if rule == "contrast" and m.high is not None else m.value
        return doubted(m, light.source, times * SIZE[rule](end))

    return replace(results, measurements=tuple(map(left, results.measurements)))


# ------------------------------------------------------------------------- tones of the print


def _tones_are_print(scans: Sequence[Placement]) -> bool:
    """Whether the printed patches of some sheet look as print makes them."""
    for sheet in of_role(scans, "bed-sheet"):
        if sheet.piece is None or sheet.to_px is None:
            continue
        read = [(p.cover, patch_light(sheet, p.box_mm, rim_mm=RIM_MM)) for p in sheet.piece.patches]
        known = [(cover, found.light) for cover, found in read if found is not None]
        if len(known) >= FEWEST_TONES:
            cover, light = np.array(known).T
            return misfit_of_print(cover, light) < LIKE_PRINT_L
    return False


def misfit_of_print(cover: Floats, light: Floats) -> float:
    """How far tones are from the nearest plain print, root mean square in L*.

    Parameters
    ----------
    cover, light : (patches,)
        Printed share of ink from 0 to 1, both ends among them, and light as read.

    Returns
    -------
    float
        Infinite where paper is not lighter than full ink.

    Notes
    -----
    Yule–Nielsen: light^(1/n) mixes paper and ink by the share of ink, which dot gain g lifts by
    4 g a (1 - a).
    """
    paper, ink = light[cover == cover.min()].mean(), light[cover == cover.max()].mean()
    if ink >= paper or cover.min() > 0 or cover.max() < 1:
        return math.inf
    gained = cover + 4 * DOT_GAIN[:, None] * cover * (1 - cover)
    gained = np.clip(gained, 0, 1)  # near full cover a parabola gains more than there is
    best = math.inf
    for n in YULE_NIELSEN:
        mixed = gained * ink ** (1 / n) + (1 - gained) * paper ** (1 / n)
        apart = np.asarray(lstar(mixed**n)) - np.asarray(lstar(light))
        best = min(best, float(np.sqrt((apart**2).mean(axis=1)).min()))
    return best
