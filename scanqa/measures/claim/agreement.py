"""Do pieces from all over an image agree on one frequency of original samples, for any reason.

*Coherence*: the first harmonic of residual over phase, turned back by s f, summed over the pieces
that share a start; those sums' sum, squared, over the sum of their squares. For independent phases
it is exponentially distributed with mean 1 (Rayleigh's test); agreement gives up to the number of
starts. Because only agreement counts, soft lenses, screens, text and grain raise no alarm, whatever
their spectrum.

Pieces that lie beside each other agree in any image: a line of text has one top and one foot for
all of them. That is why they are summed first.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scanqa.measures.claim.kernels import COARSE, PIECE, outside_coarse
from scanqa.model import Floats

FREQUENCIES = np.arange(0.12, 0.862, 0.0025)  # factors 8.3 to 1.16; a step turns a piece by 0.16
_ROUNDED = tuple(round(float(f), 6) for f in FREQUENCIES)
APART = 0.008  # in f, between trials that are looked at as different
LEAST_COHERENCE = 10.0  # of a trial; what rounding explains needs no more
_PRINTED = 8.0  # agreement of the light itself, by chance once in 3000
_PRINTED_POWER = 0.01  # codes²; what an interpolation's whole numbers leave there is a tenth of it


def coherence(flat: Floats, starts: NDArray[np.int_], name: str) -> Floats:
    """Coherence of the starts at each frequency of the grid, and the frequency refined.

    Parameters
    ----------
    flat : (pieces, half of PIECE²)
        Covariances of pieces, `packed`.
    starts : (pieces,)
        Sample at which each begins.
    name : str
        Of the kernel whose spaces are tried.

    Returns
    -------
    (frequencies, 2)
        Coherence, 1 by chance; frequency in original samples per sample.
    """
    residual = flat.astype(np.float32) @ outside_coarse(_ROUNDED, name)
    residual = residual.reshape(len(flat), len(FREQUENCIES), COARSE)
    mean = residual.mean(axis=2, keepdims=True)
    wave = np.exp(2j * np.pi * np.arange(COARSE) / COARSE)
    harmonic = (residual / np.maximum(mean, 1e-6)) @ wave
    places, which = np.unique(starts, return_inverse=True)
    sums = harmonic.T @ (which[:, np.newaxis] == np.arange(len(places))).astype(np.float64)
    energy = np.maximum(np.sum(np.abs(sums) ** 2, axis=1), 1e-9)
    step = FREQUENCIES[1] - FREQUENCIES[0]
    offsets = np.linspace(-step / 2, step / 2, 41)
    sums *= np.exp(-2j * np.pi * np.outer(FREQUENCIES, places))
    turned = sums @ np.exp(-2j * np.pi * np.outer(places, offsets))
    agreement = np.abs(turned) ** 2 / energy[:, np.newaxis]
    best = agreement.argmax(axis=1)
    return np.stack(
        [np.take_along_axis(agreement, best[:, np.newaxis], 1)[:, 0], FREQUENCIES + offsets[best]],
        axis=1,
    )


def peaks(trials: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Coherent trials, highest first, one for each neighbourhood of frequency."""
    found: list[tuple[float, float]] = []
    for agreement, f in trials:
        if agreement < LEAST_COHERENCE or len(found) == 8:
            break
        if all(abs(f - other) > APART for _, other in found):
            found.append((agreement, f))
    return found


def printed(means: Floats, starts: NDArray[np.int_], f: float) -> bool:
    """Whether the print itself repeats at f or its half: a screen, rules, a hatched area.

    A screen at 45° or 0° is a lattice along the lines as well, and agrees with itself. It shows as
    the light itself, first order, which an interpolation at f never does: every kernel has a zero
    there, or the interpolation of a constant would not be one.
    """
    taper = np.hanning(PIECE)
    centred = means - means.mean(axis=1, keepdims=True)
    for order in (1, 2):
        for alias in range(order):
            at = (f + alias) / order
            light = centred @ (taper * np.exp(-2j * np.pi * at * np.arange(PIECE)))
            turned = light * np.exp(-2j * np.pi * at * starts)
            power = 2 * abs(turned.mean()) ** 2 / taper.sum() ** 2
            if power > _PRINTED_POWER and _agreement(turned, starts) > _PRINTED:
                return True
    return False


def _agreement(phasors: NDArray[np.complex128], starts: NDArray[np.int_]) -> float:
    """Rayleigh's ratio of the sums over each start: 1 by chance, their number in full agreement."""
    sums = np.array([phasors[starts == start].sum() for start in np.unique(starts)])
    return float(np.abs(sums.sum()) ** 2 / max(float(np.sum(np.abs(sums) ** 2)), 1e-9))
