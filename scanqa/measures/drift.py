"""How the level moves over blank scans taken one after the other.

*Level*: change of the mean light from the first scan to the last, in per cent of the last. *Settle
time*: an exponential ``level + start exp(-t / τ)`` is fitted to the levels against time; the
figure is the time from the first scan until the fitted level is within 0.5 % of its end.

Most scanners measure a white strip before each scan and rescale to it: they hide a lamp that
warms up between scans, and what shows here is what is left. Leave the paper where it is; paper
that moves adds its own unevenness to the scatter.

Times are those of the files unless they are given: a copied file may have lost its time. Fails:
fewer than two scans; for the settle time fewer than five, times unknown, or a level that is still
moving at the end (then a lower bound). Fit: see `scanqa.numeric.exponential` (NIST StRD).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from scanqa.model import Curve, Evidence, Floats, Measurement, Placement, Results, not_measurable
from scanqa.numeric.exponential import RateFit, fit_rate, settling
from scanqa.numeric.lightness import luma

SETTLED = 0.005  # of the level at the end
MIN_SCANS = 5  # a level, a start and a rate, and two to tell the scatter from
MIN_GAP_S = 3.0  # no scan is faster: files that lie closer in time were copied
SIGNIFICANT = 3.0  # standard errors by which a start differs from nought


def measure(placements: Sequence[Placement], *, seconds: Sequence[float] | None = None) -> Results:
    """Change of level and settle time over consecutive blank scans.

    Parameters
    ----------
    placements : sequence of Placement
        Blank scans; in the order of scanning if `seconds` is given, else put in order by the time
        of their files.
    seconds : sequence of float, optional
        When each was scanned, from any start.

    Raises
    ------
    ValueError
        If `seconds` has another length.
    """
    if seconds is not None and len(seconds) != len(placements):
        raise ValueError(f"{len(seconds)} times for {len(placements)} scans")
    if len(placements) < 2:
        why = "fewer than two blank scans: scan plain paper several times without moving it"
        return Results(
            (not_measurable("drift.level", why), not_measurable("drift.settle_time", why))
        )
    series = _series(placements, seconds)
    if series.level.min() <= 0:
        why = "a blank scan is black"
        return Results(
            (not_measurable("drift.level", why), not_measurable("drift.settle_time", why))
        )
    fit = _fit(series)
    settle = _settle_time(series, fit)
    return Results((_change(series, fit), settle), evidence=(_evidence(series, fit),))


@dataclass(frozen=True, slots=True, eq=False)
class _Series:
    """Light of each scan in order, and seconds since the first (or why they are not known)."""

    level: Floats
    seconds: Floats | None
    fault: str = ""


def _series(placements: Sequence[Placement], seconds: Sequence[float] | None) -> _Series:
    levels = np.array([_level(placement) for placement in placements])
    if seconds is None:
        stamps = [placement.scan.modified for placement in placements]
        if not all(stamps):
            return _Series(levels, None, "the files do not say when they were written")
        seconds = [datetime.fromisoformat(stamp).timestamp() for stamp in stamps]
    at = np.asarray(seconds, np.float64)
    order = np.argsort(at, kind="stable")
    levels, at = levels[order], at[order]
    if np.diff(at).min() < MIN_GAP_S:
        return _Series(levels, None, "the files were written too close together: they were copied")
    return _Series(levels, at - at[0])


def _level(placement: Placement) -> float:
    """Median light of the inner half of a scan."""
    preview = placement.overview.preview
    rows, cols = preview.shape[0] // 4, preview.shape[1] // 4
    inner = preview[rows : preview.shape[0] - rows, cols : preview.shape[1] - cols]
    return float(np.median(luma(placement.light.light(inner))))


def _fit(series: _Series) -> RateFit | None:
    """Settling between the shortest gap and ten times the whole, or None if none shows."""
    if series.seconds is None or len(series.level) < MIN_SCANS:
        return None
    span, gap = float(series.seconds[-1]), float(np.diff(series.seconds).min())
    fit = fit_rate(series.level, settling(series.seconds), 0.1 / span, 5 / gap)
    if fit is None or abs(fit.coefficients[1]) < SIGNIFICANT * fit.coefficient_sds[1]:
        return None
    return fit


def _change(series: _Series, fit: RateFit | None) -> Measurement:
    """Last less first, over the last; the scatter about the fit (or about a line) is its error."""
    level = series.level
    change = 100 * float((level[-1] - level[0]) / level[-1])
    if len(level) < 4:
        why = f"{len(level)} scans only: their scatter is not known"
        return Measurement("drift.level", change, None, reason=why)
    if fit is not None:
        scatter = fit.residual_sd
    else:
        at = np.arange(len(level)) if series.seconds is None else series.seconds
        rest = level - np.polyval(np.polyfit(at, level, 1), at)
        scatter = math.sqrt(float(np.sum(rest**2)) / (len(level) - 2))
    return Measurement("drift.level", change, 100 * math.sqrt(2) * scatter / float(level[-1]))


def _settle_time(series: _Series, fit: RateFit | None) -> Measurement:
    name = "drift.settle_time"
    if series.seconds is None:
        return not_measurable(name, series.fault)
    if len(series.level) < MIN_SCANS:
        return not_measurable(
            name, f"{len(series.level)} scans only: at least {MIN_SCANS} show a settling"
        )
    span = float(series.seconds[-1])
    if fit is None:
        spread = 100 * float(np.ptp(series.level) / series.level.mean())
        if spread > 100 * SETTLED:
            why = "the level moves, but not towards an end that shows: scan for longer"
            return Measurement(name, span, None, "lower-bound", why)
        return Measurement(name, 0.0, None, reason=f"no settling shows: all within {spread:.2f} %")
    end, start = fit.coefficients
    share = abs(start / end) / SETTLED
    if share <= 1:
        return Measurement(name, 0.0, None, reason="within 0.5 % of its end from the first scan on")
    time = math.log(share) / fit.rate
    if end <= 0 or 1 / fit.rate > span or time > 2 * span:
        why = "the level is still moving at the last scan: scan for longer"
        return Measurement(name, span, None, "lower-bound", why)
    of_rate = time * fit.rate_sd / fit.rate
    of_start = float(fit.coefficient_sds[1]) / abs(start) / fit.rate
    return Measurement(name, time, math.hypot(of_rate, of_start))


def _evidence(series: _Series, fit: RateFit | None) -> Evidence:
    end = float(series.level[-1])
    at = np.arange(len(series.level)) + 1.0 if series.seconds is None else series.seconds
    curves = [Curve("scans", np.asarray(at, np.float64), 100 * series.level / end)]
    if fit is not None:
        fine = np.linspace(0, float(at[-1]), 200)
        smooth = settling(fine)(fit.rate) @ fit.coefficients
        curves.append(
            Curve(f"settling, time constant {1 / fit.rate:.0f} s", fine, 100 * smooth / end)
        )
    return Evidence(
        "drift",
        "curves",
        "Level of blank scans taken one after the other",
        x_label="Scan" if series.seconds is None else "Time since the first scan, s",
        y_label="Light against the last scan, %",
        unit="%",
        curves=tuple(curves),
        note=series.fault,
    )
