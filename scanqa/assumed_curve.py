"""What a tone curve that is only assumed leaves open, in every value that rests on it.

A file without a profile, and a scanner whose curve nobody told, is read as sRGB. Were its curve
another, contrast, sharpness and lightness would be too. Nothing is corrected: the doubt is a shared
part of the uncertainty, ``curve``, which is the same in all values of one scanner, so that it drops
out of its history.

The tones of a printed sheet speak for the assumption, or do not. Halftones follow Murray & Davies
(1936) with dot gain and light spread (Yule & Nielsen 1951): one curve with two free numbers. An
S-curve of the scanner's software makes light tones lighter and dark ones darker, which no print
does. Tones that follow print rule out strong curves of that kind, not another gamma. With measured
values of the patches (`Told.reference`) the curve is known as well as the scan agrees with them.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from scanqa.model import Floats, Measurement, Placement, Results, Shared
from scanqa.numeric.lightness import lstar
from scanqa.reading.patches import patch_light

ASSUMED = "sRGB assumed"  # as `scanqa.scans.linear` says it, perhaps with the reason
AGREES_L = 2.0  # L* by which a scan may differ from measured patches
LIKE_PRINT_L = 1.2  # by which tones may differ from those of print
FEWEST_TONES = 6
RIM_MM = 1.0  # of a patch left out
DOT_GAIN = np.linspace(-0.05, 0.35, 41)  # at half cover
YULE_NIELSEN = np.linspace(1.0, 3.0, 9)


@dataclass(frozen=True, slots=True)
class Kind:
    """How far the curve enters a kind of quantity: relative, of the distance from `about`."""

    alone: float
    plain: float
    about: float = 0.0


@cache
def _table() -> tuple[dict[str, Kind], dict[str, str]]:
    text = (resources.files("scanqa.catalogue") / "assumed_curve.toml").read_text("utf-8")
    data: dict[str, Any] = tomllib.loads(text)
    return {name: Kind(**row) for name, row in data["kind"].items()}, data["measure"]


def kind_of(measure: str) -> Kind | None:
    """How the curve enters a measure; None if it does not."""
    kinds, measures = _table()
    fitting = [name for name in measures if measure.startswith(name)]
    return kinds[measures[max(fitting, key=len)]] if fitting else None


def with_doubt(results: Results, placements: Sequence[Placement], scanner: str) -> Results:
    """Results whose values carry what the assumed curve leaves open.

    Parameters
    ----------
    results : Results
        Of all families.
    placements : sequence of Placement
        The scans behind them.
    scanner : str
        Whose curve it is: two scanners do not share it.
    """
    assumed = {p.scan.name for p in placements if p.light.source.startswith(ASSUMED)}
    if not assumed or _agrees_with_reference(results):
        return results
    plain = _tones_are_print(placements)
    of = f"{scanner}: {ASSUMED}"
    return replace(
        results,
        measurements=tuple(
            _doubted(m, of, plain=plain) if not m.scan or m.scan in assumed else m
            for m in results.measurements
        ),
    )


def _doubted(m: Measurement, of: str, *, plain: bool) -> Measurement:
    kind = kind_of(m.name)
    if kind is None or m.value is None:
        return m
    size = (kind.plain if plain else kind.alone) * abs(m.value - kind.about)
    if size == 0:
        return m
    return replace(
        m,
        uncertainty=math.hypot(m.uncertainty or 0.0, size),
        shared=(*m.shared, Shared("curve", of, size)),
    )


def _agrees_with_reference(results: Results) -> bool:
    found = results.named("tone.response")
    return any(m.value is not None and m.value <= AGREES_L for m in found)


# ------------------------------------------------------------------------- tones of the print


def _tones_are_print(placements: Sequence[Placement]) -> bool:
    """Whether the printed patches of some sheet look as print makes them."""
    for placement in placements:
        if placement.role != "bed-sheet" or placement.piece is None or placement.to_px is None:
            continue
        covers, light = [], []
        for patch in placement.piece.patches:
            found = patch_light(placement, patch.box_mm, rim_mm=RIM_MM)
            if found is not None:
                covers.append(patch.cover)
                light.append(found.light)
        if len(covers) >= FEWEST_TONES:
            return misfit_of_print(np.array(covers), np.array(light)) < LIKE_PRINT_L
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
    best = math.inf
    for n in YULE_NIELSEN:
        mixed = gained * ink ** (1 / n) + (1 - gained) * paper ** (1 / n)
        apart = np.asarray(lstar(mixed**n)) - np.asarray(lstar(light))
        best = min(best, float(np.sqrt((apart**2).mean(axis=1)).min()))
    return best
