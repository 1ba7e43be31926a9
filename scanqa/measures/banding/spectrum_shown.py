"""The figure of periodic changes: amplitude over period, with the floor of the noise."""

from __future__ import annotations

import numpy as np

from scanqa.measures.banding.periodic import Spectrum, Wave
from scanqa.model import Curve, Evidence, Placement
from scanqa.reading.profiles import Profiles

CURVE_POINTS = 300


def picture(placement: Placement, bed: Profiles, found: Spectrum, wave: Wave | None) -> Evidence:
    """Amplitude spectrum over the period, the highest of each few bins."""
    period_mm = bed.pitch_mm / found.frequency[::-1]
    edges = np.geomspace(period_mm[0], period_mm[-1] * 1.0001, CURVE_POINTS + 1)
    starts = np.unique(np.searchsorted(period_mm, edges[:-1]))
    starts = starts[starts < period_mm.size]
    highest = np.maximum.reduceat(found.amplitude[::-1], starts)
    floor = np.maximum.reduceat(found.floor[::-1], starts)
    lines = () if wave is None else ((wave.period * bed.pitch_mm, "strongest"),)
    return Evidence(
        explains="banding",
        kind="curves",
        title="Periodic change of light along travel",
        scan=placement.scan.name,
        x_label="period, mm",
        y_label="amplitude, % of light",
        unit="%",
        curves=(
            Curve("amplitude", period_mm[starts], 100 * highest),
            Curve("floor of the noise", period_mm[starts], 100 * floor),
        ),
        lines_mm=lines,
        note="A wave stands out if it is about four times the floor or more.",
    )
