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
from scanqa.numeric.line_fit import local_pattern
from scanqa.numeric.spread import sigma_about_zero

PADDING = 4
BLOCK_BINS = 24  # independent bins that a floor rests on
FLOOR_ERROR = 1.5  # by how much a floor from 24 bins may be too low at the odds asked for
FEWEST_CYCLES = 8


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
    while True:
        best = int(np.argmax(ratio))
        if ratio[best] < least_ratio(independent, false_alarms):
            return
        frequency = float(found.frequency[best])
        if 0 < best < ratio.size - 1:
            low, middle, high = np.log(np.maximum(found.amplitude[best - 1 : best + 2], 1e-30))
            bend = low - 2 * middle + high
            if bend < 0:
                step = float(found.frequency[1] - found.frequency[0])
                frequency += step * float(np.clip(0.5 * (low - high) / bend, -0.5, 0.5))
        yield _fitted(profile, frequency, longest, float(found.floor[best]))
        ratio[max(best - 2 * PADDING, 0) : best + 2 * PADDING + 1] = 0.0  # its own lobe


def least_ratio(independent: float, false_alarms: float) -> float:
    """Power over its floor that noise in so many bins exceeds with a probability."""
    return FLOOR_ERROR * math.log(independent / false_alarms)


def _fitted(profile: Floats, frequency: float, longest: float, floor: float) -> Wave:
    fine, lost = detrended(profile, longest)
    x = np.arange(fine.size)
    window = np.hanning(fine.size + 2)[1:-1]
    turn = np.exp(-2j * np.pi * frequency * x)
    value = 2 * complex((fine * window * turn).sum()) / window.sum()
    value /= surviving(frequency, profile.size, longest)
    amplitude = abs(value)
    error = floor / math.sqrt(2)  # of one quadrature: half of the noise power each
    # Cramér–Rao for the frequency of a sine is √12/2π · u(A)/A/n; a Hann window costs 1.4 × that,
    # of which 1.22 (the root of its noise bandwidth) is in the floor already. Simulated: 1.1.
    of_frequency = 1.13 * math.sqrt(12) / (2 * math.pi) * error / amplitude / fine.size
    phase = float(np.angle(value)) - 2 * math.pi * frequency * lost
    return Wave(
        period=1 / frequency,
        period_error=of_frequency / frequency**2,
        amplitude=amplitude,
        amplitude_error=error,
        phase=math.remainder(phase, 2 * math.pi),
    )
