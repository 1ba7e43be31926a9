"""Which way, and where, a page's columns lie on the sensor: told by the column pattern.

Each sensor column is a little off its neighbours, always alike. What is off by far (rules, lines,
edges) is print as likely as not: it is cut out with what is beside it, so are stretches that are
rough all over, and the rest is clipped. What remains of two pages is alike if their columns are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scanqa.model import Array

CUT, BESIDE = 4.0, 13  # deviations; columns cut out to either side
CLIPPED = 2.5  # deviations
STRETCH, ROUGH = 61, 1.6  # columns of a stretch; its rms in deviations
CERTAIN, MARGIN = 6.0, 4.0  # score of one way, and by how much it must beat the other
FEWEST = 120  # columns in common
CERTAIN_ANYWHERE = 8.0  # of hundreds of places tried


@dataclass(frozen=True, slots=True)
class Lie:
    """How a page lies on the sensor: the other way, shifted by so many columns."""

    turned: bool
    shift: int
    score: float


def clean(off: Array) -> Array:
    """The part of a page's columns that is pattern: unit deviation, 0 where not used."""
    known = np.isfinite(off)
    if np.count_nonzero(known) < FEWEST:
        return np.zeros(len(off))
    values = np.where(known, off, 0.0).astype(np.float64)
    sd = 1.4826 * float(np.median(np.abs(values[known])))
    if sd <= 0:
        return np.zeros(len(off))
    values /= sd
    wild = np.abs(values) > CUT
    if wild.any():
        near = np.convolve(wild.astype(float), np.ones(2 * BESIDE + 1), mode="same") > 0.5
        known = known & ~near
    values = np.where(known, np.clip(values, -CLIPPED, CLIPPED), 0.0)
    window = np.ones(STRETCH)
    counts = np.maximum(np.convolve(known.astype(float), window, mode="same"), 1.0)
    rms = np.sqrt(np.maximum(np.convolve(values**2, window, mode="same"), 0) / counts)
    return np.where(rms <= ROUGH, values, 0.0)


def score(one: Array, other: Array) -> float:
    """How much two cleaned pages are alike, in deviations of chance; 0 if too little is common."""
    both = (one != 0) & (other != 0)
    number = int(np.count_nonzero(both))
    if number < FEWEST:
        return 0.0
    a, b = one[both], other[both]
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size * number**0.5 if size > 0 else 0.0


def lie_of(page: Array, pattern: Array) -> Lie | None:
    """How a page of the pattern's width lies; None if neither way is certain.

    Parameters
    ----------
    page, pattern : (columns,)
        Cleaned.
    """
    upright, turned = score(page, pattern), score(page[::-1], pattern)
    best = max(upright, turned)
    if best < CERTAIN or abs(upright - turned) < MARGIN:
        return None
    return Lie(turned > upright, 0, best)


def lie_anywhere(page: Array, pattern: Array) -> Lie | None:
    """How a cropped page lies: the place, either way, where the pattern agrees by far the most."""
    found = []
    for turned in (False, True):
        given = page[::-1] if turned else page
        products = np.correlate(pattern, given, mode="valid")
        energy = np.correlate(pattern**2, (given != 0).astype(float), mode="valid")
        own = np.correlate((pattern != 0).astype(float), given**2, mode="valid")
        number = np.correlate((pattern != 0).astype(float), (given != 0).astype(float), "valid")
        size = np.sqrt(np.maximum(energy * own, 1e-12))
        scores = np.where(number >= FEWEST, products / size * np.sqrt(number), 0.0)
        at = int(np.argmax(scores))
        rest = np.delete(scores, slice(max(at - 3, 0), at + 4))
        found.append((float(scores[at]), at, float(rest.max(initial=0.0)), turned))
    found.sort(reverse=True)
    best, at, beside, turned = found[0]
    if best < CERTAIN_ANYWHERE or best - max(beside, found[1][0]) < MARGIN:
        return None
    return Lie(turned, at, best)


def laid(values: Array, lie: Lie, width: int) -> Array:
    """Columns of a page where they lie on a sensor of `width` columns; NaN elsewhere."""
    given = values[::-1] if lie.turned else values
    if lie.shift == 0 and len(given) == width:
        return np.array(given, np.float32)
    made = np.full(width, np.nan, np.float32)
    made[lie.shift : lie.shift + len(given)] = given
    return made
