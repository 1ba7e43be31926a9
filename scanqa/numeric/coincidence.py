"""Spots that several pictures share, and what spots such pictures share by chance.

A spot in two pictures of unlike things at one place is no accident only if such things, laid
otherwise, do not agree as well. How well they do is seen from the data: the pictures are compared
displaced, where nothing that is fixed agrees. That holds whatever the tails of their grain are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats

SEED, GROW = 5.0, 3.0  # scatters, in every picture: to begin a spot, and to belong to one
ALIKE = 0.35  # of the contrast of a spot, by which it may differ from picture to picture
SHIFTS, NEAREST, FARTHEST = 32, 6, 60  # displacements tried, and how far, in blocks
ACCIDENTS = 1  # of them left out: one may be that by which a paper was moved


@dataclass(frozen=True, slots=True, eq=False)
class Picture:
    """Contrast of each block, and the same over its local scatter, (rows, columns)."""

    contrast: Floats
    score: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Spot:
    """Touching blocks that agree: their indices, and the least contrast of the clearest one."""

    contrast: float
    rows: NDArray[np.intp]
    columns: NDArray[np.intp]


def shared_spots(pictures: Sequence[Picture], least: float) -> list[Spot]:
    """Spots that all pictures have in place, by like contrast of at least `least` at their top."""
    return list(_spots(pictures, least))


def strongest_by_chance(pictures: Sequence[Picture], spots: Sequence[Spot], least: float) -> float:
    """Contrast of the strongest spot that displaced pictures share; nought if they share none.

    Parameters
    ----------
    pictures : sequence of Picture
        Two or more of one size.
    spots : sequence of Spot
        What they share in place, which is left out.
    least : float
        As for `shared_spots`.
    """
    bare = []
    for picture in pictures:
        score, contrast = picture.score.copy(), picture.contrast.copy()
        for spot in spots:
            score[spot.rows, spot.columns] = contrast[spot.rows, spot.columns] = 0.0
        bare.append(Picture(contrast, score))
    rng = np.random.default_rng(1)
    seeds = np.nonzero(np.abs(bare[0].contrast) >= least)
    found = [0.0] * (1 + ACCIDENTS)
    for _ in range(SHIFTS):
        ways = rng.integers(NEAREST, FARTHEST, (len(bare), 2)) * rng.choice([-1, 1], (len(bare), 2))
        ways[0] = 0
        sought = max(least, found[0])  # only what changes the answer
        if not _may_agree(
            [_displaced(p, way, *seeds) for p, way in zip(bare, ways, strict=True)], sought
        ):
            found = sorted((*found, 0.0))[-1 - ACCIDENTS :]
            continue
        moved = [
            Picture(np.roll(p.contrast, way, (0, 1)), np.roll(p.score, way, (0, 1)))
            for p, way in zip(bare, ways.tolist(), strict=True)
        ]
        found.append(max((spot.contrast for spot in _spots(moved, sought)), default=0.0))
        found = sorted(found)[-1 - ACCIDENTS :]
    return found[0]


def _displaced(
    picture: Picture, way: NDArray[np.int64], rows: NDArray[np.intp], columns: NDArray[np.intp]
) -> Picture:
    """What a picture that is displaced, round and round, has at some places."""
    at = (rows - way[0]) % picture.score.shape[0], (columns - way[1]) % picture.score.shape[1]
    return Picture(picture.contrast[at], picture.score[at])


def _may_agree(pictures: Sequence[Picture], least: float) -> bool:
    """Whether a spot of all pictures can begin anywhere; with most accidents none can."""
    weakest = np.min([np.abs(picture.contrast) for picture in pictures], axis=0)
    clear = np.stack([picture.score[weakest >= least] for picture in pictures])
    return bool(np.any(clear.min(axis=0) > SEED) or np.any(clear.max(axis=0) < -SEED))


def _spots(pictures: Sequence[Picture], least: float) -> Iterator[Spot]:
    from scipy.ndimage import find_objects, label

    if not _may_agree(pictures, least):
        return
    sizes = np.stack([np.abs(picture.contrast) for picture in pictures])
    weakest = sizes.min(axis=0)
    scores = np.stack([picture.score for picture in pictures])
    low, high = scores.min(axis=0), scores.max(axis=0)
    common = np.where(low > 0, low, np.where(high < 0, high, 0.0))
    strongest = sizes.max(axis=0)
    common = np.where(weakest >= least / 2, common, 0.0)
    for sign in (1, -1):
        if not np.any((sign * common > SEED) & (weakest >= least)):
            continue
        labels, _ = label(sign * common > GROW, np.ones((3, 3)))
        for index, box in enumerate(find_objects(labels), start=1):
            rows, columns = np.nonzero(labels[box] == index)
            rows, columns = rows + box[0].start, columns + box[1].start
            if np.max(sign * common[rows, columns]) <= SEED:
                continue
            top = int(np.argmax(weakest[rows, columns]))
            at = rows[top], columns[top]
            noise = weakest[at] / abs(common[at])
            if weakest[at] < least or strongest[at] - weakest[at] > ALIKE * strongest[at] + noise:
                continue
            yield Spot(float(weakest[at]), rows, columns)
