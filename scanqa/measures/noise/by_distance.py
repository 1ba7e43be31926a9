"""By how much two scans of one paper differ, as a function of how far their samples lie apart.

Samples of two scans hardly ever fall on the same points of the paper. Half the mean square by which
they differ (the two-frame method of ISO 15739, a structure function or variogram of the paper)
is noise alone at distance nought and rises by what the paper's grain is. So it is gathered by
distance over all windows of the bed, a smooth rise is fitted, and it is read off at nought: clouds
of the paper cancel in each difference, and it does not matter whether the sheet was turned.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scanqa.measures.noise.turned import AffineField, places
from scanqa.model import Floats, Window
from scanqa.numeric.least_within import least_within

REACH_PX = 2.6  # distance up to which samples are compared; a square follows clouds so far
ENOUGH_ROWS = 128  # of a window: more tell hardly more, for the paper is what is not known
NEAR_PX = 1.0  # distance beyond which every other row is enough to tell the rise
BIN_PX = 0.125
WIDE_PX = 8  # apart, where differences have no more in common than light and clouds
IN_BOTH = 0.5  # of a window's samples that must lie in both scans
CLOSE_PX = 0.5  # samples nearer than about this tell a window's own value
RANGE_PX = (0.25, 3.0)  # of the widths of grain that are sought; wider is like a square
MOST_OFF_PX = 0.3  # of the field of displacement, which is found to some tenth
SLIMMEST = 0.4  # logarithm of the width along one axis over that of both
TURNS, NEAR_ENOUGH = 3, 0.01
UNSEEN = 1 / 3  # of the rise nearer than the nearest samples: beyond, the shape decides all
STEPS = math.ceil(REACH_PX / BIN_PX) + 1  # bins from nought outwards
SIDE = 2 * STEPS + 1
# The rise of a real grain lies between that of a Gaussian and one with a narrower crest, not beyond
# half the way, for lens and pixel round every crest: uniform over that half, 0.5/√3 of the way.
SHAPE_SHARE = 0.3

Rise = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True, eq=False)
class ByDistance:
    """Half the squares by which planes of one window differ in two scans, in bins of distance.

    Attributes
    ----------
    counts, rows, columns : (bins,)
        Pairs of samples, and the mean distance of each along travel and across.
    squares : (planes, bins)
        Mean of half the squared difference.
    """

    counts: Floats
    rows: Floats
    columns: Floats
    squares: Floats


def by_distance(
    ones: Sequence[Floats],
    others: Sequence[Floats],
    window: Window,
    there: Window,
    field: AffineField,
) -> ByDistance | None:
    """Gather one window; None where few of its samples lie in both scans."""
    rows, columns = ones[0].shape
    step = max(rows // ENOUGH_ROWS, 1)
    place = places(window, there, field)
    nearest = np.rint(place).astype(np.int64)
    place, base = place[:, ::step], nearest[:, ::step]
    left = base - place
    reach = round(REACH_PX)
    counts = np.zeros(SIDE * SIDE)
    sums = np.zeros((len(ones) + 2, SIDE * SIDE))
    in_both = 0
    for down in range(-reach, reach + 1):
        for right in range(-reach, reach + 1):
            if max(abs(down) - 0.5, 0) ** 2 + max(abs(right) - 0.5, 0) ** 2 > REACH_PX**2:
                continue
            row, column = base[0] + down, base[1] + right
            y, x = left[0] + down, left[1] + right
            distance = y * y + x * x
            use = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
            in_both += int(use.sum()) if down == right == 0 else 0
            use &= distance <= REACH_PX**2
            use[1::2] &= distance[1::2] <= NEAR_PX**2
            y, x, row, column = y[use], x[use], row[use], column[use]
            bins = (np.rint(y / BIN_PX) + STEPS) * SIDE + np.rint(x / BIN_PX) + STEPS
            bins = bins.astype(np.int64)
            counts += np.bincount(bins, minlength=SIDE * SIDE)
            for at, values in enumerate((y, x)):
                sums[at] += np.bincount(bins, values, SIDE * SIDE)
            for at, (one, other) in enumerate(zip(ones, others, strict=True)):
                squares = np.square(one[::step][use] - other[row, column]) / 2
                sums[at + 2] += np.bincount(bins, squares, SIDE * SIDE)
    if in_both < IN_BOTH * left[0].size:
        return None
    kept = counts > 0
    means = sums[:, kept] / counts[kept]
    means[2:] -= _wide(ones, others, nearest)[:, None]
    return ByDistance(counts[kept], means[0], means[1], means[2:])


def _wide(ones: Sequence[Floats], others: Sequence[Floats], nearest: NDArray[np.int64]) -> Floats:
    """What differs over wide parts, (planes,): light that falls off otherwise at the other place.

    Half the mean product of differences that lie `WIDE_PX` and twice that apart along both
    diagonals, where neither noise nor a pattern of columns or rows is alike, continued to nought
    by a parabola.
    """
    rows, columns = ones[0].shape
    inside = (nearest >= 0).all(axis=0) & (nearest[0] < rows) & (nearest[1] < columns)
    row, column = np.clip(nearest, 0, [[[rows - 1]], [[columns - 1]]])
    out = []
    for one, other in zip(ones, others, strict=True):
        unlike = np.where(inside, one - other[row, column], 0.0)
        near, far = (_diagonal(unlike, inside, by) for by in (WIDE_PX, 2 * WIDE_PX))
        out.append((near + (near - far) / 3) / 2)
    return np.array(out)


def _diagonal(unlike: Floats, inside: NDArray[np.bool_], by: int) -> float:
    """Mean product of values so many samples apart along both diagonals."""
    products = pairs = 0.0
    for down, up in ((np.s_[:-by], np.s_[by:]), (np.s_[by:], np.s_[:-by])):
        here, there = (down, np.s_[:-by]), (up, np.s_[by:])
        products += float(np.sum(unlike[here] * unlike[there]))
        pairs += float(np.sum(inside[here] & inside[there]))
    return products / max(pairs, 1.0)


def at_nought(found: Sequence[ByDistance], scales: Floats) -> tuple[Floats, Floats] | None:
    """What is left at distance nought, of each window and plane, and by how much it may be off.

    Parameters
    ----------
    found : sequence of ByDistance
        Windows.
    scales : (windows, planes)
        What the paper's part of the square goes with: the squared level.

    Returns
    -------
    (windows, planes), (planes,)
        Values; the doubt that is one for all windows. None where no samples come near enough to
        each other for a grain so fine.
    """
    counts = np.concatenate([each.counts for each in found])
    at = np.concatenate([np.stack([each.rows, each.columns]) for each in found], axis=1)
    squares = np.concatenate(
        [each.squares / scale[:, None] for each, scale in zip(found, scales, strict=True)], axis=1
    )
    ends = []
    for crest in (_gaussian, _narrower):
        terms = _terms(crest, at, counts, squares[0] / squares[0].mean())
        if terms[1].min() > UNSEEN:
            return None
        weight = np.sqrt(counts)
        fits = np.linalg.lstsq((terms * weight).T, (squares * weight).T, rcond=None)[0]
        rise = terms[1:].T @ fits[1:]  # (pairs, planes), nought at distance nought
        ends.append(_of_windows(found, squares, rise, at))
    apart = np.abs(np.median(ends[1] - ends[0], axis=0))
    return ends[0] * scales, SHAPE_SHARE * apart * np.median(scales, axis=0)


def _of_windows(found: Sequence[ByDistance], squares: Floats, rise: Floats, at: Floats) -> Floats:
    """Mean of each window less the rise, samples that lie close counting most."""
    out, start = [], 0
    for each in found:
        part = slice(start, start + len(each.counts))
        start = part.stop
        distance = np.square(at[:, part]).sum(axis=0)
        weight = each.counts * np.exp(-(distance - distance.min()) / (2 * CLOSE_PX**2))
        out.append((squares[:, part] - rise[part].T) @ weight / weight.sum())
    return np.array(out)


def _gaussian(squared: Floats) -> Floats:
    """Crest of the covariance of grain under a Gaussian, by squared distance over width."""
    return np.exp(-squared / 2)


def _narrower(squared: Floats) -> Floats:
    """Crest of the same bend at nought as seen from afar, with longer tails (Matérn, 3/2)."""
    root = np.sqrt(3 * squared)
    return (1 + root) * np.exp(-root)


def _terms(crest: Rise, at: Floats, counts: Floats, squares: Floats) -> Floats:
    """Terms of the rise that fits best: a constant, a crest's fall, a square; (3, pairs).

    Only samples that come close to each other tell by how much the paper's place is off, and how
    much wider its grain is along one axis. One number after the other is sought, in turns.
    """
    near = np.square(at).sum(axis=0).min() < MOST_OFF_PX**2
    places, weight, seen = _pooled(at, counts, squares)

    def left(numbers: Floats) -> float:
        design = _shape(crest, numbers, places).T * weight[:, None]
        fit = np.linalg.lstsq(design, seen * weight, rcond=None)[0]
        return float(np.sum(np.square(seen * weight - design @ fit)))

    low, high = np.log(RANGE_PX)
    widths = np.linspace(low, high, 9)
    best = np.array([min(widths, key=lambda width: left(np.array([width, 0, 0, 0]))), 0, 0, 0])
    step = widths[1] - widths[0]
    for _ in range(TURNS):
        ends = [(max(best[0] - step, low), min(best[0] + step, high))]
        if near:
            ends += [
                (-SLIMMEST, SLIMMEST),
                (-MOST_OFF_PX, MOST_OFF_PX),
                (-MOST_OFF_PX, MOST_OFF_PX),
            ]
        for number, (least, most) in enumerate(ends):
            tried = best.copy()

            def of(value: float, tried: Floats = tried, number: int = number) -> float:
                tried[number] = value
                return left(tried)

            best[number] = least_within(of, least, most, NEAR_ENOUGH)
    return _shape(crest, best, at)


def _shape(crest: Rise, numbers: Floats, at: Floats) -> Floats:
    """Terms for a width and how much slimmer it is along one axis (logarithms), and a middle."""
    width, slimness, *middle = numbers
    widths, off = np.exp([width + slimness, width - slimness]), np.array(middle)
    y, x = at - off[:, None]
    fall = crest(np.asarray(np.sum((off / widths) ** 2))) - crest(
        (y / widths[0]) ** 2 + (x / widths[1]) ** 2
    )
    return np.stack([np.ones_like(y), fall, y * y + x * x - off @ off])


def _pooled(at: Floats, counts: Floats, squares: Floats) -> tuple[Floats, Floats, Floats]:
    """Mean places, weights and mean squares of all windows together, by bins."""
    _, bins = np.unique(np.rint(at / BIN_PX), axis=1, return_inverse=True)
    bins = bins.ravel()
    whole = np.bincount(bins, counts)
    places = np.stack([np.bincount(bins, counts * each) / whole for each in at])
    return places, np.sqrt(whole / whole.sum()), np.bincount(bins, counts * squares) / whole
