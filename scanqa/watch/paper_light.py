"""Light, tint, unevenness across and skew of a reduced page."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import cv2
import numpy as np

from scanqa.model import Array, Linear, Pixels
from scanqa.watch.bare_paper import FLOOR, LOG_STEP, SMALL, BarePaper
from scanqa.watch.features import BANDS

EVERY = 4  # reduced samples of which one is looked at
LEAST_SHARE = 0.02  # of a band's samples, for its paper to count
STEEPEST = 0.06  # slope of lines of print that is looked for, 3.4°
LEAST_ALIKE = 0.35  # correlation of the lines at both sides
ROW_SHARE = (0.08, 0.42, 0.58, 0.92)  # of the width: the two sides whose lines are compared
BLANK_BARE, BLANK_EVEN = 0.985, 0.12  # share bare; log light from the page's paper
PERCENT = 100.0


@dataclass(frozen=True, slots=True)
class PaperLight:
    """Of one page; see `features.PageFeatures`."""

    light: float
    tint: tuple[float, float] | None
    across: tuple[float, ...]
    skew_deg: float | None
    bare: float
    blank: bool


def paper_light(reduced: Pixels, logs: Array, paper: BarePaper, light: Linear) -> PaperLight:
    """Measure the bare paper of a page."""
    on = paper.bare[::EVERY, ::EVERY].view(np.bool_)
    seen = logs[::EVERY, ::EVERY]
    bare = cv2.countNonZero(paper.bare) / paper.bare.size
    level = LOG_STEP * float(seen[on].mean()) if on.any() else paper.usual
    tint = _tint(reduced[:: 2 * EVERY, :: 2 * EVERY], on[::2, ::2], light)
    even = float(np.abs(paper.level - paper.usual).max())
    return PaperLight(
        light=level,
        tint=tint,
        across=_across(seen, on, level),
        skew_deg=_skew(paper),
        bare=bare,
        blank=bare >= BLANK_BARE and even < BLANK_EVEN,
    )


def _tint(reduced: Pixels, on: Array, light: Linear) -> tuple[float, float] | None:
    if reduced.shape[2] != 3 or not on.any():
        return None
    middle = light.light(reduced[on][None]).astype(np.float64)[0].mean(axis=0)
    red, green, blue = np.log(np.maximum(middle, FLOOR))
    return float(red - green), float(blue - green)


def _across(seen: Array, on: Array, level: float) -> tuple[float, ...]:
    bounds = np.linspace(0, seen.shape[1], BANDS + 1).astype(int)
    made = []
    for a, b in itertools.pairwise(bounds):
        used = seen[:, a:b][on[:, a:b]]
        enough = used.size >= LEAST_SHARE * max(on[:, a:b].size, 1) and used.size > 0
        off = LOG_STEP * float(used.mean()) - level if enough else math.nan
        made.append(PERCENT * math.expm1(off))
    return tuple(made)


def _skew(paper: BarePaper) -> float | None:
    """Slope of the lines of print, by how far they have shifted from one side to the other."""
    height, width = paper.bare.shape
    a, b, c, d = (round(share * width) for share in ROW_SHARE)
    left, right = (
        cv2.reduce(paper.bare[:, part], 1, cv2.REDUCE_SUM, dtype=cv2.CV_32F)[:, 0] / len(part_px)
        for part, part_px in ((slice(a, b), range(a, b)), (slice(c, d), range(c, d)))
    )
    apart = (c + d - a - b) / 2
    reach = math.ceil(STEEPEST * apart)
    if height < 4 * reach or height < SMALL * 10:
        return None
    left, right = left - left.mean(), right - right.mean()
    size = float(np.sqrt((left**2).sum() * (right**2).sum()))
    if size < 1e-6:
        return None
    length = 2 * height
    both = np.fft.irfft(np.conj(np.fft.rfft(left, length)) * np.fft.rfft(right, length), length)
    lags = np.arange(-reach, reach + 1)
    values = both[lags] / size
    best = int(np.argmax(values))
    if values[best] < LEAST_ALIKE or best in (0, len(lags) - 1):
        return None
    before, here, after = values[best - 1 : best + 2]
    bent = before - 2 * here + after
    part = 0.0 if bent == 0 else 0.5 * (before - after) / bent
    return math.degrees(math.atan((lags[best] + part) / apart))
