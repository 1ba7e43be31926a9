"""Unsteadiness of the carriage from line to line.

The near-horizontal borders of the tags are followed column by column. A border that was printed
straight and is read too high in some rows was crossed too late there. Each border is compared
with its own straight line, so that bends and slow waves drop out: what is left has periods up to
about the height that a slanted border spans (1.4 mm for a tag of 16 mm).

The roughness of print and the noise of pixels differ from border to border, but a row is read at
one moment in its whole width: only what the borders in a row have in *common* is the carriage's.
The mean product of different borders' deviations in the same rows is the variance of the jitter,
free of the rest (an unsteady paper feed of the printer looks the same; turn the sheet by 90° to
tell).

A wave is read a little too small: twice averaged over the height of a pixel, and each border's
own straight line takes part of it (15 % in all for two waves along a border; nothing is added for
it, but a tenth of the value to its uncertainty).

Uncertainty: the scatter of that product over groups of neighbouring rows, and that tenth. Fails
if too few rows hold several borders (the sheet lies askew), and says so if the product does not
stand out.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from scanqa.model import (
    MM_PER_INCH,
    Curve,
    Edge,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Reason,
    Results,
    Window,
    not_measurable,
)
from scanqa.numeric.lightness import luma
from scanqa.numeric.linear_fit import robust_least_squares
from scanqa.numeric.own_signal import periodogram
from scanqa.numeric.step import crossings

JITTER = "geometry.travel_jitter"
METHOD_SHARE = 0.1  # of the value, uncertainty of what the method itself loses
STEEPEST = 0.25  # slope of a border that counts as near-horizontal
REACH_PX, MIDDLE_PX = 8.0, 3.0
LEAST_PX = 24  # columns of a border
LEAST_GROUPS = 6
GROUP_GAP_MM = 3.0  # rows further apart than this are of different groups
SPECTRUM_CY_MM = (0.7, 400)  # lowest frequency, number of frequencies
LONGER = "each border's own straight line takes longer ones off, so that nothing is said of them"
INCLUDED = (
    "the printer's own unsteadiness is included; periods up to about 1 mm only, longer not seen"
)
NO_BORDER = Reason("not-found", "no near-horizontal border could be followed")
ASKEW = Reason("too-few", "too few rows hold several borders: lay the sheet straight, to within 1°")


@dataclass(frozen=True, slots=True, eq=False)
class Deviations:
    """Mean deviation of each border in each row that it crosses, µm; NaN elsewhere."""

    rows: Floats  # (rows,) pixel rows
    um: Floats  # (rows, borders)


def travel_jitter(placement: Placement) -> Results:
    """Standard deviation of the common part of all borders' deviations, and its spectrum."""
    found = deviations(placement)
    scan = placement.scan.name
    if found is None:
        return Results((not_measurable(JITTER, NO_BORDER, scan),))
    pitch_mm = MM_PER_INCH / placement.dpi[1]
    products = common_variance(found, GROUP_GAP_MM / pitch_mm)
    if products is None:
        return Results((not_measurable(JITTER, ASKEW, scan),))
    variance, error = products
    if variance < 3 * error:
        limit = math.sqrt(max(variance, 0.0) + 2 * error)
        why = Reason(
            "noise", f"none above {limit:.1f} µm among waves of up to about 1 mm: {LONGER}"
        )
        return Results(
            (not_measurable(JITTER, why, scan),), evidence=_spectrum(found, pitch_mm, scan)
        )
    value = math.sqrt(variance)
    uncertainty = math.hypot(error / (2 * value), METHOD_SHARE * value)
    row = Measurement(
        JITTER,
        value,
        uncertainty,
        reason=INCLUDED,
        reason_kind="print",
        scan=scan,
        direction="travel",
    )
    return Results((row,), evidence=_spectrum(found, pitch_mm, scan))


def deviations(placement: Placement) -> Deviations | None:
    """Follow every near-horizontal printed border of the sheet."""
    assert placement.piece is not None
    borders = [
        border
        for edge in placement.piece.edges
        if edge.kind == "printed"
        for border in [_followed(placement, edge)]
        if border is not None
    ]
    if not borders:
        return None
    rows = np.unique(np.concatenate([rows for rows, _ in borders]))
    um = np.full((len(rows), len(borders)), np.nan)
    for column, (where, values) in enumerate(borders):
        um[np.searchsorted(rows, where), column] = values
    return Deviations(rows.astype(float), um)


def _followed(placement: Placement, edge: Edge) -> tuple[Floats, Floats] | None:
    """Rows that a border crosses and its mean deviation in each, in µm of travel."""
    start, end = placement.sheet_px(np.array([edge.start_mm, edge.end_mm]))
    run = end - start
    if abs(run[1]) > STEEPEST * abs(run[0]) or abs(run[0]) < LEAST_PX:
        return None
    columns = np.arange(math.ceil(min(start[0], end[0])), math.floor(max(start[0], end[0])) + 1)
    base = np.stack([columns, start[1] + (columns - start[0]) * run[1] / run[0]], axis=1)
    # Walking from start to end the ink lies to the right, so the paper is up if we walk right.
    outward = np.array([0.0, -1.0 if run[0] > 0 else 1.0])
    reach = min(0.9 * edge.reach_mm * placement.dpi[1] / MM_PER_INCH, REACH_PX)
    low = np.floor(base.min(axis=0) - np.array([0, reach + 2])).astype(int)
    high = np.ceil(base.max(axis=0) + np.array([1, reach + 2])).astype(int)
    size = (placement.scan.width_px, placement.scan.height_px)
    if low.min() < 0 or np.any(high >= size):
        return None
    window = Window(int(low[1]), int(low[0]), int(high[1] - low[1] + 1), int(high[0] - low[0] + 1))
    plane = luma(placement.light.light(placement.scan.window(window)))
    off = crossings(plane, base - low, outward, reach_px=reach, middle_px=min(MIDDLE_PX, reach))
    if off is None:
        return None
    good = ~np.isnan(off)
    if np.count_nonzero(good) < LEAST_PX:
        return None
    return _by_row(columns[good], base[good, 1], off[good] * outward[1], placement.dpi[1])


def _by_row(columns: Floats, lines: Floats, off: Floats, dpi: float) -> tuple[Floats, Floats]:
    """Deviation of a border from its own straight line, averaged over the columns of each row."""
    along = columns - columns.mean()
    fit = robust_least_squares(np.stack([np.ones_like(along), along], axis=1), off)
    kept = fit.weights > 0  # dust and torn ink are set aside
    at = np.rint(lines + off - fit.residuals)[kept]
    rows, index = np.unique(at, return_inverse=True)
    sums = np.bincount(index, fit.residuals[kept])
    return rows, sums / np.bincount(index) * 1e3 * MM_PER_INCH / dpi


def common_variance(found: Deviations, gap_rows: float) -> tuple[float, float] | None:
    """Variance of what borders share, µm², and its standard error; None with too few rows.

    For n borders in a row, sum over pairs of d_i d_j = ((Σd)² - Σd²) / 2.
    """
    seen = ~np.isnan(found.um)
    count = seen.sum(axis=1)
    shared = count >= 2
    if not shared.any():
        return None
    values = np.where(seen, found.um, 0.0)[shared]
    rows, count = found.rows[shared], count[shared]
    products = (values.sum(axis=1) ** 2 - (values**2).sum(axis=1)) / (count * (count - 1))
    weights = (count - 1).astype(float)
    group = np.concatenate([[0], np.cumsum(np.diff(rows) > gap_rows)])
    if group[-1] + 1 < LEAST_GROUPS:
        return None
    per_group = np.bincount(group, weights * products) / np.bincount(group, weights)
    share = np.bincount(group, weights) / weights.sum()
    variance = float((share * per_group).sum())
    groups = len(per_group)
    error = math.sqrt(float((share**2 * (per_group - variance) ** 2).sum()) * groups / (groups - 1))
    return variance, error


def _spectrum(found: Deviations, pitch_mm: float, scan: str) -> tuple[Evidence, ...]:
    """Amplitudes of waves fitted one by one to the mean deviation of each row."""
    seen = ~np.isnan(found.um)
    mean = np.where(seen, found.um, 0.0).sum(axis=1) / seen.sum(axis=1)
    lowest, count = SPECTRUM_CY_MM
    highest = 0.5 / pitch_mm
    if highest <= lowest:
        return ()
    frequency = np.linspace(lowest, highest, count)
    power = periodogram(found.rows * pitch_mm, mean, frequency)
    amplitude = np.sqrt(4 * power / len(mean))
    return (
        Evidence(
            JITTER,
            "curves",
            "Unsteady travel by frequency",
            scan=scan,
            x_label="waves per mm of travel",
            y_label="amplitude, µm",
            curves=(Curve("travel", frequency, amplitude),),
            note="a tall narrow peak is a periodic fault: a worn tooth, a bent shaft, a motor step",
        ),
    )
