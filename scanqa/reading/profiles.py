"""Mean profiles of a blank scan's bed, as the logarithm of light, where there is paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import MM_PER_INCH, Direction, Floats, Placement
from scanqa.numeric.lightness import luma
from scanqa.numeric.line_fit import local_pattern
from scanqa.numeric.medians import medians
from scanqa.numeric.spread import sigma_about_zero

MARGIN_MM = 1.0  # shadow of the frame
LIT = 0.5  # of the middle's light, for paper to be there
UNDITHERED_CODES = 0.35  # noise per sample under which rounding does not average out


@dataclass(frozen=True, slots=True, eq=False)
class Profiles:
    """Log light of one scan along one axis, its ends and dark margins cut off."""

    stack: Floats  # (luma and channels, bands, samples)
    weights: Floats  # samples in each band
    first: int  # sample of the image that is stack[..., 0]
    first_band: int
    floor: float  # noise of an amplitude that rounding leaves
    pitch_mm: float  # between samples
    band_mm: float
    length_mm: float  # of the image along the lines
    per: int = 1  # samples of the image to one of the profile

    def at_mm(self, sample: NDArray[Any] | float) -> Floats:
        """Image mm of places in the profile."""
        return (self.at_px(sample) + 0.5) * (self.pitch_mm / self.per)

    def at_px(self, sample: NDArray[Any] | float) -> Floats:
        """Samples of the image, centres at whole numbers."""
        return np.asarray((np.asarray(sample) + 0.5) * self.per + self.first - 0.5)

    def mean(self, signal: int = 0) -> Floats:
        """Profile of all bands together."""
        return np.asarray(self.weights @ self.stack[signal] / self.weights.sum())

    def extent_mm(self, bands: tuple[int, int]) -> tuple[float, float]:
        """Where a run of bands begins and ends; the outermost bands reach the image's ends."""
        start = (bands[0] + self.first_band) * self.band_mm
        end = (bands[1] + self.first_band) * self.band_mm
        return min(start, self.length_mm), min(end, self.length_mm)


def profiles(placement: Placement, axis: Direction) -> Profiles | None:
    """Log light, (luma and channels, bands, samples), where there is paper; None if nowhere."""
    overview = placement.overview
    width_mm, height_mm = placement.size_mm
    if axis == "travel":
        codes = overview.column_means
        pitch_mm, length_mm = MM_PER_INCH / placement.dpi[0], height_mm
        band_mm = overview.band_rows_px * MM_PER_INCH / placement.dpi[1]
        weights = np.full(len(codes), float(overview.band_rows_px))
        weights[-1] = placement.scan.height_px - overview.band_rows_px * (len(codes) - 1)
    else:
        codes = overview.row_means.transpose(1, 0, 2)
        pitch_mm, length_mm = MM_PER_INCH / placement.dpi[1], width_mm
        band_mm = width_mm / len(codes)
        weights = np.full(len(codes), placement.scan.width_px / len(codes))
    light = placement.light.light(codes)
    level = luma(light)
    samples = _lit(medians(level, 0), math.ceil(MARGIN_MM / pitch_mm))
    bands = _lit(medians(level), 0)
    if samples is None or bands is None or samples.stop - samples.start < 64:
        return None
    planes = [level, *np.moveaxis(light, -1, 0)] if light.shape[-1] == 3 else [level]
    stack = np.stack([plane[bands, samples] for plane in planes]).astype(np.float64)
    if stack.min() <= 0:
        return None
    return Profiles(
        stack=np.log(stack),
        weights=weights[bands],
        first=samples.start,
        first_band=bands.start,
        floor=_rounding(placement, codes[bands, samples], weights[bands]),
        pitch_mm=pitch_mm,
        band_mm=band_mm,
        length_mm=length_mm,
    )


def _lit(level: Floats, margin: int) -> slice | None:
    """The run of samples round the middle that has at least half of the middle's light."""
    dark = np.flatnonzero(level < LIT * np.median(level))
    middle = len(level) // 2
    first = int(dark[dark < middle].max() + 1) if np.any(dark < middle) else 0
    end = int(dark[dark >= middle].min()) if np.any(dark >= middle) else len(level)
    first, end = first + margin, end - margin
    return slice(first, end) if end > first else None


def _rounding(placement: Placement, codes: NDArray[np.float32], weights: Floats) -> float:
    """Noise of log light that whole codes leave when there is too little grain to dither them."""
    means = codes.mean(axis=-1).astype(np.float64)
    fine, _ = local_pattern(means, 8)
    between = sigma_about_zero((fine - fine.mean(axis=0)) * np.sqrt(weights)[:, None], axis=1)
    if np.median(between) >= UNDITHERED_CODES or len(codes) < 2:
        return 0.0
    middle = np.full((1, codes.shape[-1]), np.median(means))
    step = placement.light.light(middle + 0.5) - placement.light.light(middle - 0.5)
    return float(np.mean(step / placement.light.light(middle))) / math.sqrt(12)


def coarser(bed: Profiles, per: int, start: int, floor: float) -> Profiles:
    """A profile of means over blocks of `per` samples, one of which starts at sample `start`.

    `floor` is the noise of log light that the blocks leave at the least.
    """
    skipped = (start - bed.first) % per
    whole = (bed.stack.shape[2] - skipped) // per
    cut = bed.stack[..., skipped : skipped + whole * per]
    return replace(
        bed,
        stack=cut.reshape(*cut.shape[:2], whole, per).mean(axis=-1),
        first=bed.first + skipped,
        floor=max(bed.floor, floor),
        pitch_mm=bed.pitch_mm * per,
        per=per,
    )


def same_domain(profiles: Sequence[Profiles]) -> list[Profiles]:
    """Profiles of scans of one size cut to the samples and bands that all of them have."""
    first = max(p.first for p in profiles)
    end = min(p.first + p.stack.shape[2] for p in profiles)
    first_band = max(p.first_band for p in profiles)
    end_band = min(p.first_band + p.stack.shape[1] for p in profiles)
    return [
        replace(
            p,
            stack=p.stack[
                :,
                first_band - p.first_band : end_band - p.first_band,
                first - p.first : end - p.first,
            ],
            weights=p.weights[first_band - p.first_band : end_band - p.first_band],
            first=first,
            first_band=first_band,
        )
        for p in profiles
    ]
