"""What the samples themselves tell, in strips as they came: grain, edges, blocks, periods, codes.

**Edges**: the steepest step of an edge, of its height over four samples; only of edges that reach
full ink, for a stem too thin for the optics is neither as dark nor as soft as it seems. Type faces
still differ: so the left half is held against the right half of the same page.
**Grain**: vertical second difference of bare paper; the sensor's noise fills it, texture hardly.
**Texture**: what neighbours of bare paper share, over what next neighbours share: white noise drops
out, and softening draws the two together.
**Blocks**: third difference of bare paper by phase of eight, both ways (ITU-T T.81: 8 × 8).
**Resampling**: variance of interpolated grain is periodic (Gallagher, CRV 2005; from memory);
periods of JPEG's eight samples are left out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from scanqa.model import Array, Pixels

PAPER_CODES = 7  # about the most frequent bright code: bare paper
LEAST_EDGE = 60  # codes
INK, FULL_DEPTH = 1.0, 0.85  # percentile that is ink; of its depth, over four samples
FEWEST_EDGES = 200
FEWEST_BARE, FEWEST_OF_PHASE = 5000, 2000
LOCAL = 64  # samples whose own level is taken off
PHASES, CHANCE = 8, 2.5
GROUP = 16  # rows whose grain is put together
LOWEST, NEAR_EIGHTHS = 0.004, 0.004  # cycles per sample
STANDING = 0.3
NEIGHBOUR_COUNT = 20  # samples that both neighbours of an empty code must have


@dataclass(frozen=True, slots=True)
class Fine:
    """Of one page; see `features.PageFeatures`."""

    grain: float | None
    edges: tuple[float, float] | None
    blocks: float
    resampled: float
    gaps: float


def fine_of(samples: Sequence[Pixels], codes: Array, *, lossy: bool) -> Fine:
    """Measure strips of a page.

    Parameters
    ----------
    samples : sequence of (rows, columns) uint8
        Luma codes, not reduced.
    codes : (256,)
        How often each code occurs.
    lossy : bool
        Whether the file itself says that it was compressed with loss: then its grain is JPEG's as
        much as the scanner's, and says nothing of what came before.
    """
    paper = _paper_code(samples)
    signed, bare = _bare(samples, paper)
    lossy = lossy or paper > 255 - PAPER_CODES  # a white that is cut off has no grain either
    return Fine(
        grain=None if lossy else _grain(signed, bare),
        edges=_edges([part for part in samples if len(part) >= 3], paper),
        blocks=1.0 if lossy else _blocks(signed, bare),
        resampled=1.0 if lossy else _resampled(signed, bare),
        gaps=_gaps(codes),
    )


def _bare(samples: Sequence[Pixels], paper: int) -> tuple[list[Array], list[Array]]:
    """Strips as signed codes, and where they are bare paper."""
    signed = [part.astype(np.int16) for part in samples if part.shape[0] >= 3]
    return signed, [np.abs(part - paper) <= PAPER_CODES for part in signed]


def _paper_code(samples: Sequence[Pixels]) -> int:
    """The most frequent code of the brighter half of the scale."""
    counts = np.zeros(256)
    for part in samples:
        counts += np.bincount(part[::4, ::4].ravel(), minlength=256)
    smooth = np.convolve(counts, np.ones(5), mode="same")
    return 128 + int(np.argmax(smooth[128:]))


def _grain(parts: Sequence[Array], bare: Sequence[Array]) -> float | None:
    total, number = 0.0, 0
    for part, on in zip(parts, bare, strict=True):
        part, on = part[:, ::3], on[:, ::3]
        second = part[:-2] - 2 * part[1:-1] + part[2:]
        used = second[on[:-2] & on[1:-1] & on[2:]].astype(np.float32)
        total, number = total + float(np.square(used).sum()), number + used.size
    return (total / number / 6) ** 0.5 if number >= FEWEST_BARE else None


def texture_of(samples: Sequence[Pixels]) -> tuple[float, float] | None:
    """Covariance of neighbours over that of next neighbours of bare paper, left and right half.

    Of blanks only: what print leaves bare is too little, and uneven.
    """
    parts, bare = _bare(samples, _paper_code(samples))
    width = parts[0].shape[1] if parts else 0
    sums = np.zeros((2, 2))
    numbers = np.zeros((2, 2))
    for part, on in zip(parts, bare, strict=True):
        for side, half in enumerate((slice(0, width // 2), slice(width // 2, width))):
            values, known = part[::2, half].astype(np.float32), on[::2, half]
            whole = values.shape[1] // LOCAL * LOCAL
            values, known = values[:, :whole], known[:, :whole]
            blocks, on_blocks = (v.reshape(len(v), -1, LOCAL) for v in (values, known))
            level = (blocks * on_blocks).sum(axis=2) / np.maximum(on_blocks.sum(axis=2), 1)
            values = np.where(known, values - np.repeat(level, LOCAL, axis=1), 0)
            for at, lag in enumerate((1, 2)):
                both = known[:, lag:] & known[:, :-lag]
                sums[side, at] += float((values[:, lag:] * values[:, :-lag]).sum())
                numbers[side, at] += int(np.count_nonzero(both))
    if numbers.min() < FEWEST_BARE or (sums <= 0).any():
        return None
    ratio = (sums[:, 0] / numbers[:, 0]) / (sums[:, 1] / numbers[:, 1])
    return float(ratio[0]), float(ratio[1])


def _edges(parts: Sequence[Pixels], paper: int) -> tuple[float, float] | None:
    """Mean over edges of full depth of their steepest step, of their height; left and right."""
    if not parts:
        return None
    ink = float(np.percentile(np.concatenate([part[::4, ::4].ravel() for part in parts]), INK))
    height = FULL_DEPTH * (paper - ink)
    if height < LEAST_EDGE:
        return None
    total, count = np.zeros(2), np.zeros(2)
    for part in parts:
        rows = np.ascontiguousarray(part[::2])
        one = cv2.absdiff(rows[:, 1:], rows[:, :-1])
        size = cv2.absdiff(rows[:, 4:], rows[:, :-4])
        width = size.shape[1]
        steepest = np.maximum.reduce([one[:, lag : lag + width] for lag in range(4)])
        on = size > height
        for side, half in enumerate((slice(0, width // 2), slice(width // 2, width))):
            used = on[:, half]
            share = np.divide(steepest[:, half][used], size[:, half][used], dtype=np.float32)
            total[side] += share.sum()
            count[side] += share.size
    if count.min() < FEWEST_EDGES:
        return None
    return float(total[0] / count[0]), float(total[1] / count[1])


def _blocks(parts: Sequence[Array], bare: Sequence[Array]) -> float:
    """How far one phase of eight stands out, along rows and down columns: the lesser of the two.

    Print may repeat every eight samples one way; blocks have both.
    """
    across = _phases([(part[::2], on[::2]) for part, on in zip(parts, bare, strict=True)])
    down = _phases([(part[:, ::2].T, on[:, ::2].T) for part, on in zip(parts, bare, strict=True)])
    return min(across, down)


def _phases(parts: Sequence[tuple[Array, Array]]) -> float:
    sums, numbers = np.zeros(PHASES), np.zeros(PHASES)
    for part, on in parts:
        usable = (part.shape[1] - 3) // PHASES * PHASES
        if usable < PHASES:
            continue
        third = part[:, 3:] - 3 * part[:, 2:-1] + 3 * part[:, 1:-2] - part[:, :-3]
        known = (on[:, 3:] & on[:, 2:-1] & on[:, 1:-2] & on[:, :-3])[:, :usable]
        size = np.where(known, np.abs(third[:, :usable]), 0)
        sums += size.sum(axis=0, dtype=np.float64).reshape(-1, PHASES).sum(axis=0)
        numbers += known.sum(axis=0).reshape(-1, PHASES).sum(axis=0)
    if numbers.min() < FEWEST_OF_PHASE:
        return 1.0
    means = sums / numbers
    usual = float(np.median(means))
    if usual <= 0:
        return 1.0
    # The largest of eight means of so many sizes, each with a scatter of about its mean.
    chance = CHANCE / math.sqrt(float(numbers.min()))
    return max(float(means.max() / usual) - chance, 1.0)


def _resampled(parts: Sequence[Array], bare: Sequence[Array]) -> float:
    """Strongest period of the grain along rows, of the usual.

    A period that stands at the same columns in all rows may be the column pattern's, of which one
    draw has peaks of its own: it counts for less than one that moves from row to row.
    """
    groups = [_grain_by_columns(part, on) for part, on in zip(parts, bare, strict=True)]
    grain = np.concatenate([group for group in groups if len(group)] or [np.zeros((0, 1))])
    if len(grain) < 2 or not grain.any():
        return 1.0
    moving = _strongest(grain - grain.mean(axis=0))
    return max(moving, STANDING * _strongest(grain))


def _grain_by_columns(part: Array, on: Array) -> Array:
    """Mean size of the second difference of bare paper in each column of groups of rows."""
    second = (part[:, 2:] - 2 * part[:, 1:-1] + part[:, :-2]).astype(np.float32)
    known = on[:, 2:] & on[:, 1:-1] & on[:, :-2]
    size = np.where(known, np.abs(second), 0)
    rows, columns = len(size) // GROUP * GROUP, size.shape[1]
    sums = size[:rows].reshape(-1, GROUP, columns).sum(axis=1)
    numbers = known[:rows].reshape(-1, GROUP, columns).sum(axis=1)
    usual = sums.sum() / max(numbers.sum(), 1)
    means = sums / np.maximum(numbers, 1) - usual
    return np.asarray(np.where(numbers >= GROUP // 2, means, 0))


def _strongest(grain: Array) -> float:
    """Highest peak of the mean power spectrum of rows, of its median; JPEG's periods left out."""
    power = np.square(np.abs(np.fft.rfft(grain, axis=1))).sum(axis=0)
    frequency = np.arange(len(power)) / grain.shape[1]
    eighths = np.abs(frequency * PHASES - np.rint(frequency * PHASES)) / PHASES
    picked = power[(frequency > LOWEST) & (eighths > NEAR_EIGHTHS)]
    return float(picked.max() / max(float(np.median(picked)), 1e-12)) if picked.size else 1.0


def _gaps(codes: Array) -> float:
    """Empty codes between filled ones, as a share of all between."""
    inner = codes[1:-1]
    beside = np.minimum(codes[:-2], codes[2:]) >= NEIGHBOUR_COUNT
    whole = max(int(np.count_nonzero(codes >= NEIGHBOUR_COUNT)), 1)
    return float(np.count_nonzero(beside & (inner == 0)) / whole)
