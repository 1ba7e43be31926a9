"""How the level moves over blank scans taken one after the other.

*Level*: change of the mean light from the first scan to the last, in per cent of the last. *Settle
time*: an exponential ``level + start exp(-t / τ)`` is fitted to the levels against time; the
figure is the time from the first scan until the fitted level is within 0.5 % of its end.

Most scanners measure a white strip before each scan and rescale to it: they hide a lamp that
warms up between scans, and what shows here is what is left. Leave the paper where it is; paper
that moves adds its own unevenness to the scatter.

Times are those of the files: a copied file may have lost its time. Fails: fewer than two scans; for
the settle time fewer than five, times unknown, or a level that is still moving at the end (then a
lower bound). Fit: see `scanqa.measures.drift.exponential` (NIST StRD).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from scanqa.measures.drift.exponential import RateFit, fit_rate, settling
from scanqa.model import (
    Calibrated,
    Curve,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Reason,
    Results,
    Told,
    not_measurable,
    of_role,
)
from scanqa.numeric.lightness import luma

SETTLED = 0.005  # of the level at the end
MIN_SCANS = 5  # a level, a start and a rate, and two to tell the scatter from
MIN_GAP_S = 3.0  # no scan is faster: files that lie closer in time were copied
CALIBRATED = {
    "each-scan": "the driver calibrated before each scan: what the lamp does between is hidden",
    "kept": "the driver may have used a calibration that it kept",
    "off": "without calibration: this is the lamp's own light",
}
SIGNIFICANT = 3.0  # standard errors by which a start differs from nought


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Change of level and settle time over consecutive blank scans.

    Parameters
    ----------
    scans : sequence of Placement
        Blank ones count, in order of the times of their files.
    told : Told
        Not needed.
    """
    blanks = of_role(scans, "blank")
    if len(blanks) < 2:
        why = "fewer than two blank scans: scan plain paper several times without moving it"
        return _missing(Reason("too-few", why))
    series = _series(blanks)
    if series.level.min() <= 0:
        return _missing(Reason("too-dark", "a blank scan is black"))
    fit = _fit(series)
    found = (_change(series, fit), _settle_time(series, fit))
    said = CALIBRATED.get(_calibrated(blanks), "")
    return Results(
        tuple(_with_words(each, said) for each in found), evidence=(_evidence(series, fit),)
    )


def _calibrated(blanks: Sequence[Placement]) -> Calibrated:
    """What all blanks say of the driver's calibration; not told where they differ."""
    said = {b.scan.driver.calibrated if b.scan.driver else "not-told" for b in blanks}
    return said.pop() if len(said) == 1 else "not-told"


def _with_words(m: Measurement, said: str) -> Measurement:
    return replace(m, reason="; ".join(filter(None, (m.reason, said)))) if said else m


def _missing(why: Reason) -> Results:
    return Results((not_measurable("drift.level", why), not_measurable("drift.settle_time", why)))


@dataclass(frozen=True, slots=True, eq=False)
class _Series:
    """Light of each scan in order, and seconds since the first (or why they are not known)."""

    level: Floats
    seconds: Floats | Reason


def _series(blanks: Sequence[Placement]) -> _Series:
    levels = np.array([_level(blank) for blank in blanks])
    stamps = [blank.scan.modified for blank in blanks]
    if not all(stamps):
        return _Series(levels, Reason("not-told", "the files do not say when they were written"))
    at = np.array([datetime.fromisoformat(stamp).timestamp() for stamp in stamps])
    order = np.argsort(at, kind="stable")
    levels, at = levels[order], at[order]
    if np.diff(at).min() < MIN_GAP_S:
        why = "the files were written too close together: they were copied"
        return _Series(levels, Reason("not-told", why))
    return _Series(levels, at - at[0])


def _level(placement: Placement) -> float:
    """Median light of the inner half of a scan."""
    preview = placement.overview.preview
    rows, cols = preview.shape[0] // 4, preview.shape[1] // 4
    inner = preview[rows : preview.shape[0] - rows, cols : preview.shape[1] - cols]
    return float(np.median(luma(placement.light.light(inner))))


def _fit(series: _Series) -> RateFit | None:
    """Settling between the shortest gap and ten times the whole, or None if none shows."""
    if isinstance(series.seconds, Reason) or len(series.level) < MIN_SCANS:
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
        return Measurement("drift.level", change, None, reason=why, reason_kind="too-few")
    if fit is not None:
        scatter = fit.residual_sd
    else:
        at = np.arange(len(level)) if isinstance(series.seconds, Reason) else series.seconds
        rest = level - np.polyval(np.polyfit(at, level, 1), at)
        scatter = math.sqrt(float(np.sum(rest**2)) / (len(level) - 2))
    return Measurement("drift.level", change, 100 * math.sqrt(2) * scatter / float(level[-1]))


def _settle_time(series: _Series, fit: RateFit | None) -> Measurement:
    name = "drift.settle_time"
    if isinstance(series.seconds, Reason):
        return not_measurable(name, series.seconds)
    if len(series.level) < MIN_SCANS:
        why = f"{len(series.level)} scans only: at least {MIN_SCANS} show a settling"
        return not_measurable(name, Reason("too-few", why))
    span = float(series.seconds[-1])
    if fit is None:
        spread = 100 * float(np.ptp(series.level) / series.level.mean())
        if spread > 100 * SETTLED:
            why = "the level moves, but not towards an end that shows: scan for longer"
            return Measurement(name, span, None, "at-least", why, reason_kind="range")
        return Measurement(name, 0.0, None, reason=f"no settling shows: all within {spread:.2f} %")
    end, start = fit.coefficients
    share = abs(start / end) / SETTLED
    if share <= 1:
        return Measurement(name, 0.0, None, reason="within 0.5 % of its end from the first scan on")
    time = math.log(share) / fit.rate
    if end <= 0 or 1 / fit.rate > span or time > 2 * span:
        why = "the level is still moving at the last scan: scan for longer"
        return Measurement(name, span, None, "at-least", why, reason_kind="range")
    of_rate = time * fit.rate_sd / fit.rate
    of_start = float(fit.coefficient_sds[1]) / abs(start) / fit.rate
    return Measurement(name, time, math.hypot(of_rate, of_start))


def _evidence(series: _Series, fit: RateFit | None) -> Evidence:
    end = float(series.level[-1])
    fault = series.seconds.words if isinstance(series.seconds, Reason) else ""
    at = (
        np.arange(len(series.level)) + 1.0 if isinstance(series.seconds, Reason) else series.seconds
    )
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
        x_label="Scan" if fault else "Time since the first scan, s",
        y_label="Light against the last scan, %",
        unit="%",
        curves=tuple(curves),
        note=fault,
    )
