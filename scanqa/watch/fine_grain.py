"""What the samples themselves tell, in strips as they came: grain, edges, blocks, periods, codes.

**Edges**: the steepest step of an edge, of its height over four samples; only of edges that reach
full ink, for a stem too thin for the optics is neither as dark nor as soft as it seems. Type faces
still differ: so the left half is held against the right half of the same page.
**Grain**: vertical second difference of bare paper; the sensor's noise fills it, texture hardly.
**Texture**: what neighbours of bare paper share, over what next neighbours share: white noise drops
out, and softening draws the two together.
**Blocks**: third difference by phase of eight columns (ITU-T T.81: blocks of 8 × 8).
**Resampling**: variance of interpolated grain is periodic (Gallagher, CRV 2005; from memory);
periods of JPEG's eight samples are left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.model import Array, Pixels

PAPER_CODES = 7  # about the most frequent bright code: bare paper
LEAST_EDGE = 60  # codes
INK, FULL_DEPTH = 1.0, 0.85  # percentile that is ink; of its depth, over four samples
FEWEST_EDGES = 400
FEWEST_BARE = 5000
LOCAL = 64  # samples whose own level is taken off
PHASES, CLIP = 8, 8
GROUP = 16  # rows whose grain is put together
LOWEST, NEAR_EIGHTHS = 0.004, 0.004  # cycles per sample
NEIGHBOUR_COUNT = 20  # samples that both neighbours of an empty code must have


@dataclass(frozen=True, slots=True)
class Fine:
    """Of one page; see `features.PageFeatures`."""

    grain: float | None
    texture: tuple[float, float] | None
    edges: tuple[float, float] | None
    blocks: float
    resampled: float
    gaps: float


def fine_of(samples: Sequence[Pixels], codes: Array) -> Fine:
    """Measure strips of a page.

    Parameters
    ----------
    samples : sequence of (rows, columns) uint8
        Luma codes, not reduced.
    codes : (256,)
        How often each code occurs.
    """
    paper = _paper_code(samples)
    signed = [part.astype(np.int16) for part in samples if part.shape[0] >= 3]
    bare = [np.abs(part - paper) <= PAPER_CODES for part in signed]
    return Fine(
        grain=_grain(signed, bare),
        texture=_texture(signed, bare),
        edges=_edges(signed, paper),
        blocks=_blocks(signed),
        resampled=_resampled(signed, bare),
        gaps=_gaps(codes),
    )


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


def _texture(parts: Sequence[Array], bare: Sequence[Array]) -> tuple[float, float] | None:
    """Ratio of covariances at two and at one sample apart, of second differences, by halves."""
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


def _edges(parts: Sequence[Array], paper: int) -> tuple[float, float] | None:
    """Mean over edges of full depth of their steepest step, of their height; left and right."""
    if not parts:
        return None
    ink = float(np.percentile(np.concatenate([part[::4, ::4].ravel() for part in parts]), INK))
    height = FULL_DEPTH * (paper - ink)
    if height < LEAST_EDGE:
        return None
    total, count = np.zeros(2), np.zeros(2)
    for part in parts:
        rows = part[::2]
        one = np.abs(rows[:, 1:] - rows[:, :-1])
        size = np.abs(rows[:, 4:] - rows[:, :-4])
        at, x = np.nonzero(size > height)
        steepest = np.maximum.reduce([one[at, x + lag] for lag in range(4)])
        share = steepest / size[at, x]
        left = x < size.shape[1] // 2
        total += (share[left].sum(), share[~left].sum())
        count += (np.count_nonzero(left), np.count_nonzero(~left))
    if count.min() < FEWEST_EDGES:
        return None
    return float(total[0] / count[0]), float(total[1] / count[1])


def _blocks(parts: Sequence[Array]) -> float:
    sums, width = np.zeros(PHASES), min((part.shape[1] for part in parts), default=0)
    usable = (width - 3) // PHASES * PHASES
    if usable < PHASES:
        return 1.0
    for part in parts:
        rows = part[::2]
        third = rows[:, 3:] - 3 * rows[:, 2:-1] + 3 * rows[:, 1:-2] - rows[:, :-3]
        size = np.minimum(np.abs(third[:, :usable]), CLIP)
        sums += size.sum(axis=0, dtype=np.float64).reshape(-1, PHASES).sum(axis=0)
    usual = float(np.median(sums))
    return float(sums.max() / usual) if usual > 0 else 1.0


def _resampled(parts: Sequence[Array], bare: Sequence[Array]) -> float:
    power: Array | float = 0.0
    length = 0
    for part, on in zip(parts, bare, strict=True):
        second = (part[:, 2:] - 2 * part[:, 1:-1] + part[:, :-2]).astype(np.float32)
        known = on[:, 2:] & on[:, 1:-1] & on[:, :-2]
        size = np.where(known, np.abs(second), 0)
        rows = len(size) // GROUP * GROUP
        if rows == 0:
            continue
        columns = size.shape[1]
        sums = size[:rows].reshape(-1, GROUP, columns).sum(axis=1)
        numbers = known[:rows].reshape(-1, GROUP, columns).sum(axis=1)
        usual = sums.sum() / max(numbers.sum(), 1)
        off = np.where(numbers >= GROUP // 2, sums / np.maximum(numbers, 1) - usual, 0)
        length = columns
        power = power + np.square(np.abs(np.fft.rfft(off, axis=1))).sum(axis=0)
    if length == 0 or not np.any(power):
        return 1.0
    frequency = np.arange(len(np.atleast_1d(power))) / length
    eighths = np.abs(frequency * PHASES - np.rint(frequency * PHASES)) / PHASES
    used = (frequency > LOWEST) & (eighths > NEAR_EIGHTHS)
    picked = np.asarray(power)[used]
    return float(picked.max() / max(float(np.median(picked)), 1e-12)) if picked.size else 1.0


def _gaps(codes: Array) -> float:
    """Empty codes between filled ones, as a share of all between."""
    inner = codes[1:-1]
    beside = np.minimum(codes[:-2], codes[2:]) >= NEIGHBOUR_COUNT
    whole = max(int(np.count_nonzero(codes >= NEIGHBOUR_COUNT)), 1)
    return float(np.count_nonzero(beside & (inner == 0)) / whole)
