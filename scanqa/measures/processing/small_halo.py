"""What sharpening too slight to be called so may add to sharpness.

An unsharp mask of amount a and radius r leaves a halo beside edges and lifts the finest grain over
the coarser one; a small radius leaves hardly any halo, a large one hardly lifts the ratio of the
grain. Together they bound a for every radius, and the largest rise of SFR50 that is left within
both bounds is part of the doubt of the scanner's sharpness: anything between nothing and that.

With F = 1 - exp(-2π²r²f²) the mask's response is 1 + a F(f). All in closed form, for a Gaussian
edge of one pixel.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
from scipy.special import ndtr

from scanqa.measures.processing.grain import COARSER, FINEST
from scanqa.measures.processing.halo import HALO_SEEN
from scanqa.model import (
    DIRECTIONS,
    Direction,
    Floats,
    Measurement,
    Reason,
    Results,
    Shared,
    taken_back,
    with_doubt,
)

RADII_PX = tuple(np.geomspace(0.6, 3.2, 15).tolist())
AMOUNTS = np.linspace(0.0, 0.6, 61)
LIFTED = 1.05  # grain that is surely more than this was lifted in software
SIGMAS = 3.0
TOUCHED = (
    "sharpness.sfr50",
    "sharpness.sfr10",
    "sharpness.sampling_efficiency",
    "sharpness.effective_dpi",
)


def with_small_halos(results: Results) -> Results:
    """Results whose sharpness carries what unseen sharpening may have lifted.

    Parameters
    ----------
    results : Results
        With `processing.halo` and `processing.grain_kept` where they were measured. One driver
        sharpens all scans or none: the best look at each counts.
    """
    looks = {direction: _look(results, direction) for direction in (*DIRECTIONS, None)}
    return replace(
        results,
        measurements=tuple(_doubted(m, looks[m.direction]) for m in results.measurements),
    )


@dataclass(frozen=True, slots=True)
class _Look:
    """What halo and grain of one direction say of sharpening.

    Attributes
    ----------
    lifted : float or None
        Grain that was surely lifted in software, of what it should be.
    share : float
        By how much SFR50 may have risen unseen.
    """

    lifted: float | None
    share: float


def _look(results: Results, direction: Direction | None) -> _Look:
    halos, grains = (
        [m for m in results.named(name) if m.status == "ok" and m.direction in (direction, None)]
        for name in ("processing.halo", "processing.grain_kept")
    )
    lifted = [g.value for g in grains if _end(g, -SIGMAS) > LIFTED]
    share = most_lifted(
        min((_end(h, 2.0) for h in halos), default=HALO_SEEN),
        min((max(_end(g, 2.0), 1.0) for g in grains), default=math.inf),
    )
    return _Look(lifted[0] if lifted else None, share)


def _doubted(m: Measurement, look: _Look) -> Measurement:
    held_by_samples = m.status == "at-least" and m.reason_kind == "sampling"
    if m.name not in TOUCHED or m.value is None or held_by_samples:
        return m
    if look.lifted is not None:
        words = (
            f"grain was lifted in software ({look.lifted:.2f} of what it should be): the edges "
            f"are sharpened, too; it read {m.value:.3g} {m.unit}"
        )
        return taken_back(m, Reason("software", words))
    return with_doubt(m, Shared("rule", "halo", m.value * look.share / math.sqrt(3)))


def _end(m: Measurement, sigmas: float) -> float:
    return (m.value or 0.0) + sigmas * (m.uncertainty or 0.0)


def most_lifted(halo_percent: float, grain: float) -> float:
    """Largest share by which SFR50 may have risen.

    Parameters
    ----------
    halo_percent : float
        No halo is larger.
    grain : float
        Finest over coarser grain (power) is no more than this; infinite where that is not known.
    """
    least = 0.0
    for halo, ratio, lift in _masks():
        within = np.maximum.accumulate((halo > max(halo_percent, 0.0)) | (ratio > grain)) == 0
        least = max(least, float(lift[within].max(initial=0.0)))
    return least


@cache
def _masks() -> Sequence[tuple[Floats, Floats, Floats]]:
    """For each radius: halo in percent, ratio of grain and lift of SFR50 over `AMOUNTS`."""
    return tuple((_halo(r), _ratio(r), _lift(r)) for r in RADII_PX)


def _mask(radius: float, f: Floats) -> Floats:
    """F of the module's text."""
    return np.asarray(1 - np.exp(-2 * (np.pi * radius * f) ** 2))


def _halo(radius: float) -> Floats:
    x = np.linspace(0.0, 12.0, 601)
    sharp, soft = ndtr(x), ndtr(x / math.hypot(1.0, radius))
    edges = (1 + AMOUNTS[:, None]) * sharp - AMOUNTS[:, None] * soft
    return np.asarray(100 * (edges.max(axis=1) - 1).clip(min=0))


def _ratio(radius: float) -> Floats:
    fine, coarse = (
        np.mean((1 + AMOUNTS[:, None] * _mask(radius, np.linspace(*band, 21))) ** 2, axis=1)
        for band in (FINEST, COARSER)
    )
    return np.asarray(fine / coarse)


def _lift(radius: float) -> Floats:
    f = np.linspace(0.05, 0.6, 1101)
    blur = np.exp(-2 * (np.pi * f) ** 2)
    responses = blur * (1 + AMOUNTS[:, None] * _mask(radius, f))
    at = np.array([f[np.flatnonzero(row < 0.5)[0]] for row in responses])
    return np.asarray(at / at[0] - 1)
