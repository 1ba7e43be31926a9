"""Doubt by a tone curve that nobody stated, for every value whose row says how it depends on it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from scanqa.catalogue import CATALOGUE, FAMILIES
from scanqa.model import Measurement, Placement, Results
from scanqa.numeric.curve_doubt import (
    EXPONENT_SD,
    doubted,
    of_contrast,
    of_lightness,
    of_share,
)

SIZE: dict[str, Callable[[float], float]] = {
    "contrast": of_contrast,
    "square": lambda value: 2 * of_contrast(value),  # goes with the square of a contrast
    "decibel": lambda _: 20 * math.log10(1 + EXPONENT_SD),
    "share": of_share,
    "lightness": of_lightness,
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
    sources = {scan.scan.name: scan.light for scan in scans}

    def left(m: Measurement) -> Measurement:
        rule = CATALOGUE[m.name].curve
        if not rule or m.value is None:
            return m
        roles = FAMILIES[m.name.partition(".")[0]].roles
        of_family = (scan.light for scan in scans if scan.role in roles)
        light = sources.get(m.scan) or next(of_family, None)
        if light is None or not light.assumed:
            return m
        return doubted(m, light.source, SIZE[rule](m.value))

    return replace(results, measurements=tuple(map(left, results.measurements)))
