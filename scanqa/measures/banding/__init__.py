"""Periodic change of the level along the carriage's travel.

Row means of blank scans, as the logarithm of light, are searched for a sine (`periodic`) with a
period from two rows to an eighth of the length, 40 mm at most. The likely source follows from the
period, from whether the phase is the same in every scan (what is tied to the carriage repeats, the
mains do not), and, where the time of one line is known, from the frequency: a lamp on a poor
supply flickers at twice that of the mains.

A wave must be one over the whole width, its crests square to the travel (`coherence`): that tells
it from clouds, wire lines and rulings of the paper, unless they lie straight in every scan.

Fails in scans shorter than a few periods and where the paper is at the top of the scale.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from scanqa.measures.banding.coherence import as_parts_differ, coherence, shared, sides_differ
from scanqa.measures.banding.periodic import PADDING, Spectrum, Wave, least_ratio, spectrum, waves
from scanqa.measures.banding.spectrum_shown import picture
from scanqa.model import (
    Measurement,
    Placement,
    Reason,
    Results,
    Shared,
    Told,
    not_measurable,
    of_role,
    with_doubt,
)
from scanqa.numeric.jpeg_trace import BLOCK
from scanqa.numeric.line_fit import local_pattern
from scanqa.numeric.spread import sigma_about_zero
from scanqa.reading.cut_off import SATURATED, clipped_share
from scanqa.reading.jpeg_grid import JpegGrid, jpeg_grid
from scanqa.reading.profiles import Profiles, coarser, profiles

LONGEST_MM = 40.0
FALSE_ALARMS = 2e-4  # per scan
MOST_WAVES = 24  # looked at: those of paper may be the clearest
OVERTONES = 8
STEADY = 4.0  # of the rounding noise of levels
IN_ALL = 0.4  # of a wave's amplitude, that every other scan must have
UNLIKE = 0.02  # of the period, between the clearest waves of two scans
WEAKER = 0.5  # of the amplitude of a wave of the paper
COHERENT = 20.0  # of a wave's strength over the width: by chance once in 1e8 for many parts
FEWEST_ROWS, FEWEST_AFTER_JPEG = 400, 64  # the latter each of two blocks
MAINS_HZ = (50.0, 60.0)
FLICKER_TOLERANCE = 0.03  # the stated time of a line is seldom better known
SAME_PHASE = 0.7  # radians of spread up to which the phase counts as the same in all scans
FLICKER_REACH_MM = 5.0  # unsteadiness is what changes faster than about this
# How true a carriage's steps are to the dpi that is stated, one sigma: millimetres of the image are
# by that dpi (common practice, no source: some tenths of a per cent).
DPI_SHARE = 0.003
SIGMAS = 1.95  # a little less than of the interval that is stated
OUTLIERS = 6.0  # scatters: single rows beyond are lines (a matter of `streaks`)


LINED = Reason("uneven", "lines of the paper run across the bed: lay plain paper")


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Strongest periodic change along travel, of each blank scan.

    Parameters
    ----------
    scans : sequence of Placement
        Blank ones count: plain white paper.
    told : Told
        `line_time_ms`: what the scanner takes for one row at this dpi, when it is known.

    Returns
    -------
    Results
        ``banding.amplitude`` (half of crest to trough, % of light) and ``banding.period`` (mm) of
        each scan; where no band is found the amplitude is at most what would have stood out, and
        the period is not measurable. The reason of a period names likely sources.
        ``banding.phase_spread`` (rad) and ``banding.frequency`` (Hz) of each wave, and
        ``banding.unsteadiness`` (% rms) of each scan.
    """
    results = Results()
    kept: list[tuple[Placement, Profiles, Wave]] = []
    searched: list[_Searched] = []
    for placement in of_role(scans, "blank"):
        bed = _bed(placement)
        if isinstance(bed, Reason):
            missing = (_missing(what, placement, bed) for what in ("amplitude", "period"))
            results += Results(tuple(missing))
            continue
        one = _search(placement, bed)
        if isinstance(one, Reason):
            missing = (_missing(what, placement, one) for what in ("amplitude", "period"))
            results += Results(tuple(missing))
            continue
        searched.append(one)
    lined = any(one.lined for one in searched)
    for one in searched:
        results += Results((_steadiness(one, lined),))
        wave = one.wave if _of_scanner(one, searched) else None
        if wave is None:
            results += _no_wave(one.placement, one.found, one.grid)
        else:
            kept.append((one.placement, one.bed, wave))
        results += Results(evidence=(picture(one.placement, one.bed, one.found, wave),))
    for placement, bed, wave in kept:
        phases = _phases(wave, kept)
        source = _source(placement, bed, wave, phases, told.line_time_ms)
        results += _values(placement, bed, wave, source)
        results += _phase_and_frequency(placement, bed, wave, phases, told.line_time_ms)
    return results


@dataclass(frozen=True, slots=True, eq=False)
class _Searched:
    """A scan, the profiles that were searched, the clearest wave, and those that lean."""

    placement: Placement
    bed: Profiles
    grid: JpegGrid | None
    found: Spectrum
    wave: Wave | None
    leaning: list[Wave]

    @property
    def lined(self) -> bool:
        """Whether what its rows share leans over the width, as lines of a paper do."""
        return bool(self.leaning) or sides_differ(self.bed.stack[0])


def _steadiness(one: _Searched, lined: bool) -> Measurement:
    """Unsteadiness, unless JPEG or lines of the paper hide it."""
    if one.grid is not None:
        return _missing("unsteadiness", one.placement, one.grid.why)
    if lined:
        return _missing("unsteadiness", one.placement, LINED)
    return _unsteadiness(one.placement, one.bed)


def _search(placement: Placement, bed: Profiles) -> _Searched | Reason:
    """Search a scan, after JPEG by rows of two blocks each."""
    grid = jpeg_grid(placement)
    if grid is not None:
        floor = grid.light(placement, grid.level) / math.sqrt(12)
        bed = coarser(bed, 2 * BLOCK, grid.row, floor)
        if bed.stack.shape[2] < FEWEST_AFTER_JPEG:
            return grid.why
    longest = _longest(bed)
    wave, leaning = _wave_of_scanner(bed, longest)
    return _Searched(placement, bed, grid, spectrum(bed.mean(), longest), wave, leaning)


def _longest(bed: Profiles) -> float:
    return float(min(LONGEST_MM / bed.pitch_mm, bed.stack.shape[2] / 8))


def _of_scanner(one: _Searched, searched: Sequence[_Searched]) -> bool:
    """Whether the wave of a scan is in all scans of its sampling, and leans in none of them."""
    wave = one.wave
    if wave is None:
        return False
    others = [each for each in searched if abs(each.bed.pitch_mm - one.bed.pitch_mm) < 1e-9]
    if any(_may_be_its(wave, leaning) for each in others for leaning in each.leaning):
        return False
    if any(each.wave and abs(each.wave.period / wave.period - 1) > UNLIKE for each in others):
        return False
    return all(
        each is one or shared(each.bed.stack[0], wave, _longest(each.bed)) > IN_ALL * wave.amplitude
        for each in others
    )


def _wave_of_scanner(bed: Profiles, longest: float) -> tuple[Wave | None, list[Wave]]:
    """The clearest wave that is one wave over the whole width, and those that lean (the paper's).

    A harmonic of what leans is the paper's too.
    """
    stack = bed.stack[0]
    places = (np.arange(stack.shape[0]) + 0.5) * bed.band_mm / bed.pitch_mm
    leaning: list[Wave] = []
    found = waves(bed.mean(), longest=longest, false_alarms=FALSE_ALARMS)
    least = STEADY * bed.floor if bed.per > 1 else 0.0  # what levels of JPEG may make
    for wave in itertools.islice(found, MOST_WAVES):
        whole = coherence(stack, places, wave, longest)
        if whole is None:
            return wave, leaning
        wave = as_parts_differ(wave, whole.strength)
        if whole.leans:
            leaning.append(wave)
        elif (
            whole.strength > COHERENT
            and wave.amplitude > least
            and not any(_same_period(wave, each) for each in leaning)
        ):
            return wave, leaning
    return None, leaning


def _may_be_its(wave: Wave, leaning: Wave) -> bool:
    """Whether a wave may be a paper's that leans in another scan, and lies straight in this one.

    What is far weaker than a ruling may be what the search left of it.
    """
    return _same_period(wave, leaning) or wave.amplitude < WEAKER * leaning.amplitude


def _same_period(one: Wave, other: Wave) -> bool:
    """Whether one has the period of another, or that of one of its overtones."""
    ratio = max(one.period, other.period) / min(one.period, other.period)
    whole = round(ratio)
    doubt = 3 * math.hypot(one.period_error / one.period, other.period_error / other.period)
    return whole <= OVERTONES and abs(ratio / whole - 1) < max(doubt, 0.003)


def _bed(placement: Placement) -> Profiles | Reason:
    """Row profiles of a scan, or why they cannot show a period."""
    if clipped_share(placement) > SATURATED:
        return Reason("clipped", "the paper is at the top of the scale")
    bed = profiles(placement, "across")
    why = "no evenly white paper, or too short a scan, to see a period repeat"
    if bed is None:
        return Reason("too-dark", why)
    return Reason("too-small", why) if bed.stack.shape[2] < FEWEST_ROWS else bed


def _missing(what: str, placement: Placement, why: Reason) -> Measurement:
    name = placement.scan.name
    return not_measurable(f"banding.{what}", why, name, direction="travel", channel="luma")


def _no_wave(placement: Placement, found: Spectrum, grid: JpegGrid | None) -> Results:
    """No band: at most one that would have stood out at any period.

    JPEG may hide one of about a step of its levels.
    """
    independent = found.frequency.size / PADDING
    least = float(found.floor.max()) * math.sqrt(least_ratio(independent, FALSE_ALARMS))
    why = Reason("noise", "no periodic change stands out of the noise; this much would have")
    if grid is not None:
        least, why = max(least, grid.light(placement, max(grid.level, grid.hidden))), grid.why
    amplitude = Measurement(
        "banding.amplitude",
        100 * least,
        100 * float(np.median(found.floor)) / math.sqrt(2),
        "at-most",
        why.words,
        reason_kind=why.kind,
        scan=placement.scan.name,
        direction="travel",
        channel="luma",
    )
    none = Reason("no-detail", "no periodic change was found")
    return Results((amplitude, _missing("period", placement, none)))


def _values(placement: Placement, bed: Profiles, wave: Wave, source: str) -> Results:
    where: dict[str, Any] = {"scan": placement.scan.name, "direction": "travel", "channel": "luma"}
    size, error = 100 * wave.amplitude, 100 * wave.amplitude_error
    period_mm, error_mm = wave.period * bed.pitch_mm, wave.period_error * bed.pitch_mm
    period = Measurement("banding.period", period_mm, error_mm, reason=source, **where)
    dpi = Shared("rule", f"{placement.dpi[1]:g} dpi", DPI_SHARE * period_mm)
    return Results(
        (Measurement("banding.amplitude", size, error, **where), with_doubt(period, dpi))
    )


def _phase_and_frequency(
    placement: Placement,
    bed: Profiles,
    wave: Wave,
    phases: Sequence[float],
    line_time_ms: float | None,
) -> Results:
    """What tells a carriage from a lamp: whether crests stay in place, and the frequency."""
    where: dict[str, Any] = {"scan": placement.scan.name, "direction": "travel", "channel": "luma"}
    spread, frequency = "banding.phase_spread", "banding.frequency"
    if len(phases) > 1:
        one = Measurement(spread, _spread(phases), None, **where)
    else:
        why = "no second scan shows the same period: scan plain paper twice"
        one = not_measurable(spread, Reason("no-scan", why), **where)
    if line_time_ms is not None:
        hertz = 1000 / (wave.period * bed.per * line_time_ms)
        error = hertz * wave.period_error / wave.period
        two = Measurement(frequency, hertz, error, **where)
    else:
        why = "the time of a line is not known"
        two = not_measurable(frequency, Reason("not-told", why), **where)
    return Results((one, two))


def _unsteadiness(placement: Placement, bed: Profiles) -> Measurement:
    """Rms of what the left and the right third share from row to row, slow changes taken off.

    Their noise differs, so that the mean product of the two is the variance of what is common:
    light that flickers, steps of the carriage. Clouds of the paper, which neighbouring columns
    share, do not reach from one to the other. Lines in the paper across the bed are in it too.
    """
    name, bands = "banding.unsteadiness", bed.stack.shape[1]
    reach = max(round(FLICKER_REACH_MM / bed.pitch_mm), 8)
    where: dict[str, Any] = {"direction": "travel", "channel": "luma"}
    if bands < 2 or bed.stack.shape[2] < 4 * reach:
        why = Reason("too-small", "the scan is too small")
        return not_measurable(name, why, placement.scan.name, **where)
    fine, gain = local_pattern(bed.stack[0], reach)
    third = bands // 3
    apart = (fine[:third], fine[-third:]) if third else (fine[::2], fine[1::2])
    halves = [part.mean(axis=0) / gain for part in apart]
    limits = [OUTLIERS * float(sigma_about_zero(half)) for half in halves]
    kept = np.all([np.abs(h) <= limit for h, limit in zip(halves, limits, strict=True)], axis=0)
    product = (halves[0] * halves[1])[kept]
    variance = max(float(product.mean()), 0.0)
    # Neighbouring rows of paper share its grain: a tenth as many are independent.
    error = float(product.std()) / math.sqrt(max(product.size / 10, 1))
    rms = math.sqrt(variance)
    # The root is steep near nought: two errors of the variance to either side, as half of that.
    ends = (math.sqrt(variance + 2 * error), math.sqrt(max(variance - 2 * error, 0.0)))
    uncertainty = 100 * max(ends[0] - rms, rms - ends[1]) / SIGMAS
    return Measurement(name, 100 * rms, uncertainty, scan=placement.scan.name, **where)


def _phases(wave: Wave, waves: Sequence[tuple[Placement, Profiles, Wave]]) -> list[float]:
    """Phases at the first row of the image of the waves of the same period, this one's too."""
    out = []
    for _, bed, other in waves:
        error = max(3 * math.hypot(wave.period_error, other.period_error), 0.002 * wave.period)
        if abs(other.period - wave.period) < error:
            out.append(other.phase - 2 * math.pi * float(bed.at_px(0)) / bed.per / other.period)
    return out


def _source(
    placement: Placement,
    bed: Profiles,
    wave: Wave,
    phases: Sequence[float],
    line_time_ms: float | None,
) -> str:
    """Likely sources in words, the likeliest first. Common practice in the trade, no source.

    One way of laying the paper does not tell them from the paper: parts are not named here.
    """
    period_mm = wave.period * bed.pitch_mm
    fixed = len(phases) > 1 and _spread(phases) < SAME_PHASE
    loose = len(phases) > 1 and not fixed
    told = ""
    if fixed:
        told = "; the phase is the same in every scan, so it is tied to the carriage or the bed"
    elif loose:
        told = "; the phase differs from scan to scan, so it is not tied to the carriage"
    if (
        placement.scan.lossy
        and abs(wave.period * bed.per - round(wave.period * bed.per / 8) * 8) < 0.02
    ):
        return "blocks of the lossy compression of this file" + told
    flicker = None
    if line_time_ms is not None:
        hertz = 1000 / (wave.period * bed.per * line_time_ms)
        flicker = any(abs(hertz / (2 * f) - 1) < FLICKER_TOLERANCE for f in MAINS_HZ)
        if flicker and not fixed:
            return f"flicker of the lamp at twice the mains frequency ({hertz:.0f} Hz)" + told
    mechanical = _mechanical(wave.period * bed.per, period_mm)
    if flicker is False:
        return f"{mechanical}; not the mains ({hertz:.0f} Hz)" + told
    times = " or ".join(
        f"{1000 / (2 * f * wave.period * bed.per):.2f} ms ({f:.0f} Hz mains)" for f in MAINS_HZ
    )
    if loose:
        return f"flicker of the lamp, if a line takes {times}; else {mechanical}" + told
    return f"{mechanical}; else flicker of the lamp, if a line takes {times}" + told


def _mechanical(period_px: float, period_mm: float) -> str:
    if period_px < 4.5:
        return "rows read by staggered lines of the sensor, or single steps of the motor"
    if period_mm < 0.7:
        return "single steps of the carriage's drive"
    if period_mm < 5:
        return "fine parts of the carriage's drive"
    return "a turning part of the carriage's drive"


def _spread(phases: Sequence[float]) -> float:
    """Circular standard deviation, radians."""
    length = abs(complex(np.mean(np.exp(1j * np.asarray(phases)))))
    return math.sqrt(max(-2 * math.log(max(length, 1e-9)), 0.0))
