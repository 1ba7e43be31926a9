"""The strongest periodic part of a profile.

Power spectrum under a Hann window, against the local floor of its neighbours (the median over
blocks of equal width in log frequency, over ln 2: the mean of an exponential variable from its
median). A bin of noise exceeds x times its floor with probability exp(−x) (Priestley, *Spectral
Analysis and Time Series*, 1981, §6.1), which gives the threshold over all bins.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats
from scanqa.numeric.least_within import least_within
from scanqa.numeric.line_fit import local_pattern
from scanqa.numeric.spread import sigma_about_zero

PADDING = 4
BLOCK_BINS = 24  # independent bins that a floor rests on
FLOOR_ERROR = 1.5  # by how much a floor from 24 bins may be too low at the odds asked for
FEWEST_CYCLES = 8
REACH_CYCLES = 2.0  # over the length: half the lobe of a sine under a Hann window
FEWEST_FITTED = 5
# Cramér–Rao for the frequency of a sine is √12/2π · u(A)/A/n (Rife & Boorstyn 1974). Under a Hann
# window w it is larger by √(Σw²t² / 12 (Σwt²)²) = 1.53, of which 1.22, the root of the window's
# noise bandwidth, is in u(A) already.
OF_FREQUENCY = 1.53 / 1.22 * math.sqrt(12) / (2 * math.pi)


@dataclass(frozen=True, slots=True)
class Wave:
    """A sine in a profile: ``amplitude · cos(2π x / period + phase)``.

    Attributes
    ----------
    period, period_error : float
        Samples; standard uncertainty.
    amplitude, amplitude_error : float
        Half of crest to trough, in units of the profile.
    phase : float
        Radians at sample 0.
    """

    period: float
    period_error: float
    amplitude: float
    amplitude_error: float
    phase: float


@dataclass(frozen=True, slots=True, eq=False)
class Spectrum:
    """Amplitude spectrum and its floor, (bins,); frequency in cycles per sample."""

    frequency: Floats
    amplitude: Floats
    floor: Floats


def detrended(profile: Floats, longest: float) -> tuple[Floats, int]:
    """Profile less what is slower than `longest` samples, outliers cut, and the samples lost.

    The smoother is a local cubic over ± 0.75 `longest`; see `surviving` for its effect.
    """
    reach = _reach(profile.size, longest)
    fine, _ = local_pattern(profile, reach)
    limit = 5 * float(sigma_about_zero(fine)) + 1e-15
    return np.clip(fine, -limit, limit), reach


def _reach(samples: int, longest: float) -> int:
    return max(min(round(0.75 * longest), (samples - 16) // 4), 4)


def _taps(samples: int, longest: float) -> Floats:
    """The filter that `detrended` is, its middle tap in the middle."""
    reach = _reach(samples, longest)
    impulse = np.zeros(4 * reach + 1)
    impulse[2 * reach] = 1.0
    left, _ = local_pattern(impulse, reach)
    return left


def surviving(frequency: float, samples: int, longest: float) -> float:
    """Share of a sine's amplitude that `detrended` leaves."""
    taps = _taps(samples, longest)
    x = np.arange(taps.size) - taps.size // 2
    return float(np.cos(2 * np.pi * frequency * x) @ taps)


def _surviving_bins(size: int, samples: int, longest: float) -> Floats:
    """The same at every bin of a transform of `size`: the transform of the symmetric filter."""
    taps = _taps(samples, longest)
    centred = np.roll(np.pad(taps, (0, size - taps.size)), -(taps.size // 2))
    return np.asarray(np.fft.rfft(centred).real, np.float64)


def spectrum(profile: Floats, longest: float) -> Spectrum:
    """Amplitude spectrum of a profile from `longest` samples of period to two, and its floor."""
    fine, _ = detrended(profile, longest)
    window = np.hanning(fine.size + 2)[1:-1]
    size = PADDING * 2 ** math.ceil(math.log2(fine.size))
    power: Floats = np.abs(np.fft.rfft(fine * window, size)) ** 2
    frequency: Floats = np.asarray(np.fft.rfftfreq(size), np.float64)
    first = int(np.searchsorted(frequency, max(1 / longest, FEWEST_CYCLES / fine.size)))
    frequency, power = frequency[first:-1], power[first:-1]
    per_bin = size / fine.size
    floor = _floor(power, frequency, round(BLOCK_BINS * per_bin))
    left = _surviving_bins(size, profile.size, longest)[first:-1]
    gain = 2 / window.sum() / np.maximum(left, 0.05)
    return Spectrum(frequency, np.sqrt(power) * gain, np.sqrt(floor) * gain)


def _floor(power: Floats, frequency: Floats, fewest: int) -> Floats:
    """Mean noise power at each bin: medians of blocks, straight between them in log-log."""
    edges = [0]
    while edges[-1] < power.size:
        edges.append(min(edges[-1] + max(fewest, edges[-1] // 5), power.size))
    if len(edges) > 2 and edges[-1] - edges[-2] < fewest:
        del edges[-2]
    blocks = [slice(a, b) for a, b in itertools.pairwise(edges)]
    middles = [float(np.log(frequency[block]).mean()) for block in blocks]
    tiny = float(np.finfo(np.float64).tiny)
    levels = [math.log(max(float(np.median(power[b])) / math.log(2), tiny)) for b in blocks]
    return np.asarray(np.exp(np.interp(np.log(frequency), middles, levels)))


def waves(profile: Floats, *, longest: float, false_alarms: float) -> Iterator[Wave]:
    """All sines that stand out from the floor of their neighbourhood, the clearest first.

    Parameters
    ----------
    profile : (n,)
        At least 64 samples.
    longest : float
        Longest period searched for, samples; at least eight must fit in.
    false_alarms : float
        Probability that noise alone gives a wave.
    """
    found = spectrum(profile, longest)
    if found.frequency.size < 2 * BLOCK_BINS:
        return
    ratio = (found.amplitude / np.maximum(found.floor, 1e-30)) ** 2
    independent = found.frequency.size / PADDING
    kept = profile.size - 2 * _reach(profile.size, longest)
    lobe = round(2 / kept / float(found.frequency[1] - found.frequency[0]))  # half, under Hann
    while True:
        best = int(np.argmax(ratio))
        if ratio[best] < least_ratio(independent, false_alarms):
            return
        beside = slice(max(best - lobe, 0), best + lobe + 1)
        if found.amplitude[best] < found.amplitude[beside].max():
            ratio[best] = 0.0  # flank or side lobe of a stronger one
            continue
        ratio[beside] = 0.0
        near, floor = float(found.frequency[best]), float(found.floor[best])
        wave = _fitted(profile, near, longest, floor)
        if wave is not None:
            yield wave


def least_ratio(independent: float, false_alarms: float) -> float:
    """Power over its floor that noise in so many bins exceeds with a probability."""
    return FLOOR_ERROR * math.log(independent / false_alarms)


def _fitted(profile: Floats, near: float, longest: float, floor: float) -> Wave | None:
    """The sine near a frequency that leaves least under the window; None if it is a trend.

    The peak of a spectrum is not where the sine is: of eight cycles it is off by up to 1 %,
    because the wave's mirror at the negative frequency and the slope of the filter pull at it.
    A sine through the filter is a sine of the same frequency, so that the fit is free of both.
    What rises up to the end of the search is a trend, not a wave.
    """
    fine, lost = detrended(profile, longest)
    window = np.hanning(fine.size + 2)[1:-1]
    reach = REACH_CYCLES / fine.size
    low, high = max(near - reach, FEWEST_FITTED / fine.size), min(near + reach, 0.5)
    frequency = least_within(
        lambda f: -_explained(fine, window, f)[0], low, high, near=1e-6 * reach
    )
    if frequency - low < 0.01 * reach:
        return None
    value = _explained(fine, window, frequency)[1] / surviving(frequency, profile.size, longest)
    amplitude = abs(value)
    error = floor / math.sqrt(2)  # of one quadrature: half of the noise power each
    of_frequency = OF_FREQUENCY * error / amplitude / fine.size
    phase = float(np.angle(value)) - 2 * math.pi * frequency * lost
    return Wave(
        period=1 / frequency,
        period_error=of_frequency / frequency**2,
        amplitude=amplitude,
        amplitude_error=error,
        phase=math.remainder(phase, 2 * math.pi),
    )


def _explained(fine: Floats, window: Floats, frequency: float) -> tuple[float, complex]:
    """Weighted squares that a sine of a frequency takes away, and its ``amplitude · exp(i phase)``.

    Phase at the first sample of `fine`.
    """
    angle = 2 * math.pi * frequency * np.arange(fine.size)
    waves = np.stack((np.cos(angle), np.sin(angle)))
    right = (waves * window) @ fine
    cosine, sine = np.linalg.solve((waves * window) @ waves.T, right)
    return float(right @ (cosine, sine)), complex(cosine, -sine)
