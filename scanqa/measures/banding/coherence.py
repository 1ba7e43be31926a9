"""Whether a wave along travel is one wave over the whole width, and lies square to the travel.

The sensor reads a row at one moment: what carriage or lamp do is the same in all columns, crests
exactly square to the travel. Clouds of the paper have another phase in every column, and its wire
lines and rulings lean with the paper: half a tenth of a degree over 200 mm is 0.17 mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from scanqa.measures.banding.periodic import Wave, detrended
from scanqa.model import Floats
from scanqa.numeric.line_fit import local_pattern

Complexes: TypeAlias = NDArray[np.complex128]

MOST_LEAN = math.tan(math.radians(3.0))  # of paper that somebody laid by hand
LEANS = 16.0  # squares of uncertainties by which a lean explains more: four standard ones
LITTLE_LEAN, SURE = 0.1, 5.0  # radians over the width, and uncertainties, of a lean that counts
NEAR_ROWS, SIDES = 20, 0.3  # reach of the background in rows; share that may be missing
FINER = 8  # leans tried within the one that turns the phase by a whole turn over the width
FEWEST = 4  # parts of the width


@dataclass(frozen=True, slots=True)
class Coherence:
    """How a wave goes over the width.

    Attributes
    ----------
    strength : float
        Square of the common amplitude over its variance, from the scatter of the parts.
    leans : bool
        Whether its crests are not square to the travel.
    """

    strength: float
    leans: bool


def coherence(stack: Floats, places: Floats, wave: Wave, longest: float) -> Coherence | None:
    """Compare the wave in parts of the width.

    Parameters
    ----------
    stack : (bands, samples)
        Profile along travel of each part.
    places : (bands,)
        Middle of each, in samples of travel.
    wave : Wave
        As found in their mean.
    longest : float
        As it was searched with, samples.

    Returns
    -------
    Coherence or None
        None with too few parts.
    """
    if len(stack) < FEWEST:
        return None
    parts = np.array([_at_wave(band, wave, longest) for band in stack])
    most = 2 * math.pi / wave.period * MOST_LEAN
    span = float(np.ptp(places)) or 1.0
    count = min(max(math.ceil(most * span / (2 * math.pi) * FINER), 2), 4000)
    leans = np.linspace(-most, most, 2 * count + 1)
    turned = np.abs(np.exp(-1j * np.outer(leans, places - places.mean())) @ parts) / len(parts)
    best = int(np.argmax(turned))
    straight = complex(parts.mean())
    lean = np.exp(-1j * leans[best] * (places - places.mean()))
    variance = _variance_of_mean(parts * lean)
    gain = (float(turned[best]) ** 2 - abs(straight) ** 2) / max(variance, 1e-300)
    own = _variance_of_mean(parts)
    leaning = gain > LEANS + math.log(len(leans)) or _leans_a_little(parts, places)
    return Coherence(abs(straight) ** 2 / max(own, 1e-300), leaning)


def as_parts_differ(wave: Wave, strength: float) -> Wave:
    """A wave with the errors that its parts over the width tell, where they are the larger.

    Clouds of the paper are stronger at some periods than at their neighbours.
    """
    error = wave.amplitude / math.sqrt(2 * strength) if strength > 0 else 0.0
    more = max(error / wave.amplitude_error, 1.0) if wave.amplitude_error > 0 else 1.0
    return replace(
        wave, amplitude_error=more * wave.amplitude_error, period_error=more * wave.period_error
    )


def shared(stack: Floats, wave: Wave, longest: float) -> float:
    """Amplitude of another scan at the frequency of a wave, crests square to the travel."""
    return abs(complex(np.mean([_at_wave(band, wave, longest) for band in stack])))


def sides_differ(stack: Floats) -> bool:
    """Whether rows share less from side to side than from column to column: lines that lean.

    Rows that the scanner itself makes lighter or darker are so over the whole width.
    """
    third = len(stack) // 3
    if third < 2 or stack.shape[1] < 4 * NEAR_ROWS:
        return False
    fine, _ = local_pattern(stack, NEAR_ROWS)
    sides = fine[:third].mean(axis=0), fine[-third:].mean(axis=0)
    beside = [
        fine[part][start::2].mean(axis=0)
        for part in (slice(None, third), slice(-third, None))
        for start in (0, 1)
    ]
    over = sides[0] * sides[1]
    within = (beside[0] * beside[1] + beside[2] * beside[3]) / 2
    error = float(np.std(over - within)) / math.sqrt(max(over.size / 10, 1))
    return float((within - over).mean()) > max(SIDES * float(within.mean()), SURE * error)


def _leans_a_little(parts: Complexes, places: Floats) -> bool:
    """Whether the phase goes steadily along the width, by less than a turn but for certain."""
    mean = complex(parts.mean())
    x = (places - places.mean()) / (np.ptp(places) or 1.0)
    phase = np.imag(parts * mean.conjugate()) / max(abs(mean) ** 2, 1e-300)  # while it is small
    slope = float(x @ phase / (x @ x))
    rest = phase - phase.mean() - slope * x
    error = math.sqrt(float(rest @ rest) / max(len(x) - 2, 1) / float(x @ x))
    return abs(slope) > max(LITTLE_LEAN, SURE * error)


def _at_wave(band: Floats, wave: Wave, longest: float) -> complex:
    """Amplitude and phase of one part at the frequency of the wave."""
    fine, lost = detrended(band, longest)
    window = np.hanning(fine.size + 2)[1:-1]
    turn = np.exp(-2j * np.pi * (np.arange(fine.size) + lost) / wave.period)
    return 2 * complex((fine * window * turn).sum()) / float(window.sum())


def _variance_of_mean(parts: Complexes) -> float:
    """Variance of the mean of complex parts of which neighbours may resemble each other."""
    rest = parts - parts.mean()
    squares = float(np.square(np.abs(rest)).sum())
    if squares <= 0:
        return 0.0
    alike = float(np.clip(np.real(np.sum(rest[1:] * rest[:-1].conj())) / squares, 0.0, 0.9))
    return squares / (len(parts) * (len(parts) - 1)) * (1 + alike) / (1 - alike)
