"""Grain, bands, unsteady rows and unsteady travel."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

from scanqa.findings.signs.sign import Looked, graded, sign
from scanqa.findings.statistic import at_dpi, figure, known, members, pick, quoted
from scanqa.summary import Summary, value_of

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
INDEX = "noise.light_index"


def noise(measured: Sequence[Summary]) -> Looked:
    """Light that reaches the sensor, and grain."""
    light = pick(measured, INDEX)
    if light:
        index, error = _light_index(light)
        yield sign(
            "little-light",
            graded(-index, (-LITTLE_LIGHT[0], -LITTLE_LIGHT[1])),
            INDEX,
            numbers={"index": index, "uncertainty": error},
        )
    grain = figure(measured, "noise.temporal", "highest")
    if grain:
        yield sign(
            "grainy",
            graded(grain.value, GRAINY),
            "noise.temporal",
            numbers={"delta_L": grain.value},
        )
    read = figure(measured, "noise.read", "median")
    gain = figure(measured, "noise.gain", "median")
    if read and gain:
        of_read = (read.value / 100) ** 2
        of_light = gain.value * 1e-6
        yield "noise-without-light", of_read > READ_SHARE * (of_read + of_light)


def _light_index(found: Sequence[Summary]) -> tuple[float, float]:
    """Median over the channels and the random part of its uncertainty.

    Channels differ by design, so that their scatter says nothing of how well the median is known.
    What a curve leaves open is the same in two checks of one unit.
    """
    channels = members(found)
    error = statistics.median(m.random or 0.0 for m in channels) / len(channels) ** 0.5
    return statistics.median(map(value_of, channels)), error


def fainter(measured: Sequence[Summary], earlier: Sequence[Summary]) -> Looked:
    """Light against that of an earlier check, at the finest dpi that both know."""
    light, before = known(measured, INDEX), known(earlier, INDEX)
    both = [s.key.dpi for s in light if at_dpi(before, s.key.dpi)]
    if not both:
        return
    dpi = max(both)
    index, error = _light_index(at_dpi(light, dpi))
    old_index, old_error = _light_index(at_dpi(before, dpi))
    ratio = index / old_index
    spread = ratio * ((error / index) ** 2 + (old_error / old_index) ** 2) ** 0.5
    severity = graded(-ratio, tuple(-limit for limit in FAINTER))
    yield sign(
        "fainter",
        severity if ratio + 2 * spread < 1 else None,
        INDEX,
        numbers={"ratio": ratio, "uncertainty": spread, "index": index, "before": old_index},
    )


def banding(measured: Sequence[Summary]) -> Looked:
    """Bands, unsteady rows, unsteady travel."""
    bands = figure(measured, "banding.amplitude", "highest")
    periods = members(pick(measured, "banding.period"))
    # A bound from above says that none was found.
    seen = any(m.status != "at-most" for m in members(pick(measured, "banding.amplitude")))
    if bands:
        yield sign(
            "bands",
            graded(bands.value, BANDS) if seen else None,
            "banding.amplitude",
            "banding.period",
            numbers={
                "percent": bands.value,
                "period_mm": statistics.median(map(value_of, periods)) if periods else None,
            },
            quoted=quoted(periods),
        )
        yield from _of_bands(measured)
    amplitude = bands.value if bands and seen else 0.0
    # The scanner's own is in every scan: what one has more than another is of its paper.
    unsteady = figure(measured, "banding.unsteadiness", "lowest")
    if unsteady:
        rest = max(unsteady.value**2 - amplitude**2 / 2, 0.0) ** 0.5
        # Clouds of a paper may be a part of it: what is beyond two uncertainties is not.
        sure = max(rest - 2 * (unsteady.uncertainty or 0.0), 0.0)
        yield sign(
            "unsteady",
            graded(sure, UNSTEADY) if rest > BESIDE_BANDS * amplitude else None,
            "banding.unsteadiness",
            numbers={"percent": rest},
        )
    jitter = figure(measured, "geometry.travel_jitter", "highest")
    if jitter:
        yield sign(
            "jitter",
            graded(jitter.value, JITTER),
            "geometry.travel_jitter",
            numbers={"um": jitter.value},
        )


def _of_bands(measured: Sequence[Summary]) -> Looked:
    periods = [value_of(m) for m in members(pick(measured, "banding.period"))]
    spread = figure(measured, "banding.phase_spread", "highest")
    hertz = figure(measured, "banding.frequency", "median")
    if spread and periods and min(periods) >= LEAST_PERIOD_MM:
        moved_mm = spread.value / (2 * math.pi) * statistics.median(periods)
        yield "crests-move", moved_mm >= CRESTS_MOVE_MM
    if hertz:
        near = [abs(hertz.value / (2 * f) - 1) < MAINS_TOLERANCE for f in MAINS_HZ]
        yield "mains", any(near)
    if periods:
        yield "as-fine-as-steps", statistics.median(periods) < STEPS_MM
