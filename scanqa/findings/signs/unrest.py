"""Grain, bands, unsteady rows and unsteady travel."""

from __future__ import annotations

import math
import statistics

from scanqa.findings.signs.sign import Seen, Sign, evidence, graded, value_of
from scanqa.findings.statistic import summarise
from scanqa.model import Results, Severity

LITTLE_LIGHT = 20.0, 6.0  # thousand electrons: 0.7 % and 1.3 % of noise on white
FAINTER = 0.9, 0.7, 0.4  # of the light index of the earlier record
GRAINY = 0.6, 1.2  # L*, from scan to scan
READ_SHARE = 0.5  # of the variance on white that does not come with the light
BANDS = 0.05, 0.25, 1.0  # % of light, half crest to trough; 0.25 % is 0.2 L* from crest to trough
CRESTS_MOVE_MM = 0.08  # a carriage finds its home to within a step or two of its motor
LEAST_PERIOD_MM = 0.8  # of bands, for that to tell
STEPS_MM = 0.7  # motor steps are finer, teeth and pulleys coarser
MAINS_HZ, MAINS_TOLERANCE = (50.0, 60.0), 0.03
UNSTEADY = 0.06, 0.15  # % rms from row to row
BESIDE_BANDS = 0.5  # of a wave's amplitude: less may be its own, that is not quite a sine
JITTER = 25.0, 60.0  # µm


def noise(results: Results) -> Seen:
    """Light that reaches the sensor, and grain."""
    index = _light_index(results)
    if index is not None:
        severity = graded(-index[0], (-LITTLE_LIGHT[0], -LITTLE_LIGHT[1]))
        sign = Sign(
            f"little light reaches the sensor ({index[0]:.0f} thousand electrons)",
            f"the grain on white paper is what {index[0]:.1f} ± {index[1]:.1f} thousand electrons "
            "at full scale would give",
            severity,
            ("noise.light_index",),
        )
        yield "little-light", (sign,) if severity else ()
    grain = summarise(results, "noise.temporal", "highest")
    if grain:
        severity = graded(grain.value, GRAINY)
        sign = Sign(
            f"grain of {grain.value:.1f} L* on white paper",
            f"standard deviation of what changes from scan to scan: {grain.value:.2f} L*",
            severity,
            ("noise.temporal",),
        )
        yield "grainy", (sign,) if severity else ()
    read = [value_of(m) for m in results.named("noise.read")]
    gain = [value_of(m) for m in results.named("noise.gain")]
    if read and gain:
        of_read = (statistics.median(read) / 100) ** 2
        of_light = statistics.median(gain) * 1e-6
        yield "noise-without-light", evidence(of_read > READ_SHARE * (of_read + of_light))


def _light_index(results: Results) -> tuple[float, float] | None:
    """Median over the channels and its uncertainty."""
    found = results.named("noise.light_index")
    if not found:
        return None
    error = statistics.median(m.uncertainty or 0.0 for m in found) / len(found) ** 0.5
    return statistics.median(map(value_of, found)), error


def fainter(results: Results, earlier: Results | None) -> Seen:
    """Light against that of an earlier check."""
    now = _light_index(results)
    before = _light_index(earlier) if earlier is not None else None
    if now is None or before is None:
        return
    ratio = now[0] / before[0]
    error = ratio * ((now[1] / now[0]) ** 2 + (before[1] / before[0]) ** 2) ** 0.5
    severity = graded(-ratio, tuple(-limit for limit in FAINTER))
    if ratio + 2 * error >= 1:
        severity = None
    sign = Sign(
        f"{100 * ratio:.0f} % of the light of the earlier check is left",
        f"light index {now[0]:.1f} against {before[0]:.1f} thousand electrons: "
        f"{100 * ratio:.0f} ± {100 * error:.0f} %",
        severity,
        ("noise.light_index",),
    )
    yield "fainter", (sign,) if severity else ()


def banding(results: Results) -> Seen:
    """Bands, unsteady rows, unsteady travel."""
    amplitudes = results.named("banding.amplitude")
    band = max(map(value_of, amplitudes), default=0.0)
    if amplitudes:
        severity = graded(band, BANDS)
        yield "bands", (_bands(results, band, severity),) if severity else ()
        yield from _of_bands(results)
    unsteady = summarise(results, "banding.unsteadiness", "highest")
    if unsteady:
        rest = max(unsteady.value**2 - band**2 / 2, 0.0) ** 0.5
        severity = graded(rest, UNSTEADY) if rest > BESIDE_BANDS * band else None
        sign = Sign(
            f"rows differ irregularly by {rest:.2f} %",
            f"rms of what all columns share from row to row, beside a regular wave: {rest:.2f} %",
            severity,
            ("banding.unsteadiness",),
        )
        yield "unsteady", (sign,) if severity else ()
    jitter = summarise(results, "geometry.travel_jitter", "highest")
    if jitter:
        severity = graded(jitter.value, JITTER)
        sign = Sign(
            f"the carriage runs unsteadily by {jitter.value:.0f} µm",
            f"standard deviation of where rows lie: {jitter.value:.0f} µm",
            severity,
            ("geometry.travel_jitter",),
        )
        yield "jitter", (sign,) if severity else ()


def _bands(results: Results, band: float, severity: Severity) -> Sign:
    periods = results.named("banding.period")
    every = f" every {statistics.median(map(value_of, periods)):.2f} mm" if periods else ""
    return Sign(
        f"bands of {band:.2f} %{every} along travel",
        "; ".join(dict.fromkeys(m.reason for m in periods if m.reason)),
        severity,
        ("banding.amplitude", "banding.period"),
    )


def _of_bands(results: Results) -> Seen:
    periods = [value_of(m) for m in results.named("banding.period")]
    spreads = [value_of(m) for m in results.named("banding.phase_spread")]
    hertz = [value_of(m) for m in results.named("banding.frequency")]
    if spreads and periods and min(periods) >= LEAST_PERIOD_MM:
        moved_mm = max(spreads) / (2 * math.pi) * statistics.median(periods)
        yield "crests-move", evidence(moved_mm >= CRESTS_MOVE_MM)
    if hertz:
        near = [abs(statistics.median(hertz) / (2 * f) - 1) < MAINS_TOLERANCE for f in MAINS_HZ]
        yield "mains", evidence(any(near))
    if periods:
        yield "as-fine-as-steps", evidence(statistics.median(periods) < STEPS_MM)
