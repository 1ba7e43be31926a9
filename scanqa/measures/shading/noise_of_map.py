"""What a map of light shows where there is nothing but noise: grain and clouds of the paper.

The largest less the least of many places is not nought where all are alike. How large it is by
accident is found by drawing noise like that which the smoothing leaves of the cells: of its size,
and as alike from neighbour to neighbour as clouds of some size are (white noise under a Gaussian).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from scanqa.model import Floats
from scanqa.numeric.spread import CUT, cut_sigma, sigma_about_zero

CLOUDS = np.array([0.0, 0.3, 0.6, 1.0, 1.5])  # sigma of their Gaussian, in cells
FINE = 20  # steps to a cell, for means over it
DRAWS, SEED = 16, 3


KNOWN_TO = 1 / np.sqrt(12)  # what noise adds lies between a half and one and a half of the draws


@dataclass(frozen=True, slots=True)
class Added:
    """What noise adds to a figure that it can only enlarge, and the uncertainty of that."""

    size: float
    error: float


@dataclass(frozen=True, slots=True)
class ByNoise:
    """What noise adds to the range of a map, and to its standard deviation."""

    to_range: Added
    to_deviation: Added


def by_noise(
    smooth: Floats,
    rest: Floats,
    read: Callable[[Floats], Floats],
    cells: tuple[slice, slice],
) -> ByNoise:
    """What noise adds to range and deviation of a smooth map.

    Noise is drawn on a map that has little of it: the means of rows times those of columns, as lamp
    and carriage make light.

    Parameters
    ----------
    smooth : (places down, places across)
        The map: at the cells, and at the borders that light reaches.
    rest : (rows, columns)
        Cells less the map.
    read : callable
        Makes the map from cells, (…, rows, columns).
    cells : (slice, slice)
        Where the cells are among the places. The range is that of all places, the deviation that
        of the cells.
    """
    size = float(cut_sigma(rest.ravel()))
    if size == 0:
        return ByNoise(Added(0.0, 0.0), Added(0.0, 0.0))
    white = np.random.default_rng(SEED).standard_normal((DRAWS, *rest.shape))
    inner = (..., *cells)

    def left(drawn: Floats) -> Floats:
        return drawn - read(drawn)[inner]

    drawn = _clouds(white, _size_of_clouds(_likeness(rest[None]), white, left))
    noise = read(drawn)
    noise *= size / float(cut_sigma((drawn - noise[inner]).ravel()))
    rows = _profile(smooth.mean(axis=1), noise.mean(axis=2))
    even = np.outer(rows, _profile(smooth.mean(axis=0), noise.mean(axis=1))) / smooth.mean()
    wider = np.ptp(even + noise, axis=(1, 2)) - np.ptp(even)
    rougher = (even + noise)[inner].std(axis=(1, 2)) - even[inner].std()
    # Where one corner is the darkest, noise scatters more than where several may be.
    again = np.ptp(smooth + noise, axis=(1, 2))
    return ByNoise(_added(wider, float(again.std())), _added(rougher))


def _added(draws: Floats, least: float = 0.0) -> Added:
    """Mean of the draws; they scatter less than one place does where several are alike."""
    size = max(float(draws.mean()), 0.0)
    return Added(size, float(np.hypot(KNOWN_TO * size, max(draws.std(), least))))


def _profile(means: Floats, of_noise: Floats) -> Floats:
    """Means of rows or columns, drawn in by the share of their variance that is noise."""
    power = float(np.square(of_noise - of_noise.mean(axis=1, keepdims=True)).mean())
    share = max(1 - power / max(float(means.var()), power), 0.0) if power else 1.0
    return np.asarray(means.mean() + np.sqrt(share) * (means - means.mean()), np.float64)


def _size_of_clouds(seen: float, white: Floats, left: Callable[[Floats], Floats]) -> float:
    """Clouds of which the smoothing leaves as much likeness as is seen."""
    alike = [_likeness(left(_clouds(white, sigma))) for sigma in CLOUDS]
    return float(np.interp(seen, alike, CLOUDS))


def _clouds(white: Floats, sigma: float) -> Floats:
    """White noise of cells made as alike as means over cells of clouds are."""
    if sigma == 0:
        return white
    rows, columns = (_root(count, sigma) for count in white.shape[1:])
    return np.asarray(rows @ white @ columns.T, np.float64)


def _root(count: int, sigma: float) -> Floats:
    """Matrix whose square holds the correlations of cells along one axis."""
    off = np.arange(-FINE, FINE + 1) / FINE
    apart = np.arange(count)[:, None] + off
    alike = (np.exp(-((apart / (2 * sigma)) ** 2)) * (1 - np.abs(off))).sum(axis=1)
    places = np.abs(np.subtract.outer(np.arange(count), np.arange(count)))
    values, vectors = np.linalg.eigh((alike / alike[0])[places])
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0)), np.float64)


def _likeness(rest: Floats) -> float:
    """Correlation of neighbours in (…, rows, columns), mean of both axes; wild values are cut."""
    most = CUT * float(sigma_about_zero(rest.ravel()))
    cut = np.clip(rest, -most, most) if most else rest
    power = float(np.mean(cut**2))
    if power == 0 or min(rest.shape[1:]) < 2:
        return 0.0
    down = float(np.mean(cut[:, 1:] * cut[:, :-1]))
    across = float(np.mean(cut[..., 1:] * cut[..., :-1]))
    return (down + across) / 2 / power
