"""The parts of the noise in each window of two scans of one paper.

The two-frame method of ISO 15739 and of photon transfer, var(A − B)/2 = var A − cov(A, B): what
both scans share in place is fixed pattern; what they share where the paper has moved to is the
paper's grain; the rest is temporal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.measures.noise.covariance import flatten
from scanqa.measures.noise.displacement import (
    FEWEST,
    displacement,
    far_window,
    lies_still,
    moved_window,
    paper_field,
    shared_along,
)
from scanqa.measures.noise.turned import (
    LITTLE_PX,
    AffineField,
    in_place_of_turned,
    inside,
    refined,
    unlike_by_pixels,
)
from scanqa.measures.noise.windows import Sample, grain_in, sample
from scanqa.model import Floats, Placement, Window
from scanqa.numeric.lightness import luma

BETWEEN = 0.7  # per square of a sample


@dataclass(frozen=True, slots=True)
class Split:
    """Variances of one window in two scans: of L*, and of the light of each channel.

    Attributes
    ----------
    total : float
        Of L*, mean of both scans.
    in_place : float
        Shared at displacement nought.
    grain : float or None
        Shared where the paper has moved to; None if not found there.
    moved_px : (rows, columns) or None
        By how much it moved.
    still : bool
        Whether its grain is shared in place.
    light_total, light_grain, level : (channels and luma,) or (1,) if grey
        Of light: total less what is shared in place; the paper's; mean level.
    grain_doubt, light_doubt : float, as `light_total`
        By how much the paper's may be off in all windows alike: grain finer than a sample.
    """

    total: float
    in_place: float
    grain: float | None
    moved_px: tuple[float, float] | None
    still: bool
    light_total: Floats
    light_grain: Floats
    level: Floats
    grain_doubt: float
    light_doubt: Floats

    @property
    def light_temporal(self) -> Floats:
        """Variance of light that differs from scan to scan, as `light_total`."""
        return self.light_total - self.light_grain


def splits(
    ones: Sequence[Sample], others: Sequence[Sample], first: Placement, second: Placement
) -> list[Split]:
    """The parts of every window; the paper's grain where the field of its displacement says.

    Parameters
    ----------
    ones, others : sequence of Sample
        Windows at the same places of both scans.
    first, second : Placement
        The scans.
    """
    found = [_moved(one, other, first, second) for one, other in zip(ones, others, strict=True)]
    field = paper_field([one.window for one in ones], found)
    width = ones[0].window.width
    if field is None or len(ones) < FEWEST or field.shear_px(width) > LITTLE_PX:
        turned = _turned(ones, found, field, second)
        if turned is not None and turned.shear_px(width) > LITTLE_PX:
            return [
                _split_turned(one, other, turned, second)
                for one, other in zip(ones, others, strict=True)
            ]
        if field is not None and turned is not None:
            field = turned  # by so little that pieces lie alike, yet not one as the other
        elif field is not None and not _agree(found, field, width):
            field = None  # it was turned, and cannot be followed
    return [_split(one, other, field, second) for one, other in zip(ones, others, strict=True)]


def _agree(found: Sequence[tuple[float, float] | None], field: AffineField, width: float) -> bool:
    """Whether two windows or more say that the sheet was not turned."""
    seen = np.array([shift for shift in found if shift is not None])
    if len(seen) < 2 or field.shear_px(width) > LITTLE_PX:
        return False
    return bool(np.ptp(seen, axis=0).max() <= LITTLE_PX)


def _turned(
    ones: Sequence[Sample],
    found: Sequence[tuple[float, float] | None],
    field: AffineField | None,
    second: Placement,
) -> AffineField | None:
    """How a sheet that was turned lies, from the best that is known without."""
    seen = [shift for shift in found if shift is not None]
    if field is None:  # one that lies still in the middle of the turn is found near nought
        start = np.median(np.array(seen), axis=0) if seen else np.zeros(2)
        field = AffineField(start, np.zeros((2, 2)))
    return refined(
        [one.window for one in ones],
        [one.grain for one in ones],
        lambda window: grain_in(second, window),
        field,
        (second.scan.height_px, second.scan.width_px),
    )


def _moved(
    one: Sample, other: Sample, first: Placement, second: Placement
) -> tuple[float, float] | None:
    """Rows and columns by which the paper under a window has moved, if that can be seen."""
    found = displacement(one.grain, other.grain)
    if found is not None:
        return found
    if lies_still(one.grain, other.grain):
        return None
    window = far_window(one.window, first, second)
    if window is None:
        return None
    found = displacement(one.grain, grain_in(second, window), anywhere=True)
    if found is None:
        return None
    return found[0] + window.row - one.window.row, found[1] + window.col - one.window.col


def _split(one: Sample, other: Sample, field: AffineField | None, second: Placement) -> Split:
    window = one.window
    there = None if field is None else moved_window(window, field, second)
    shared, moved_px = None, None
    if field is not None:
        moved_px = field(window.row + window.height / 2, window.col + window.width / 2)
    doubt = None
    ones, others = _all(one), _all(other)
    if field is not None and there is not None:
        shared = shared_along(ones, _all(sample(second, there)), window, there, field)
        doubt = _between_samples(ones, shared, window, field)
    in_place = np.array([float(np.mean(a * b)) for a, b in zip(ones, others, strict=True)])
    still = lies_still(one.grain, other.grain)
    variances = _variances(ones, others)
    return _put_together(one, variances, in_place, shared, moved_px, still=still, doubt=doubt)


def _between_samples(
    planes: Sequence[Floats], shared: Floats, window: Window, field: AffineField
) -> Floats:
    """By how much grain that lies between the samples of the other scan may be more than found.

    The part that neighbours do not share is lost the more, the farther its place from a sample:
    of a Gaussian of a third of one some 1.4 of the square of the distance, here with half of that
    as a standard uncertainty, for a crest through three samples wins back a part.
    """
    row, column = field(window.row + window.height / 2, window.col + window.width / 2)
    off = (row - round(row)) ** 2 + (column - round(column)) ** 2
    beside = np.array([float(np.mean(plane[:, 1:] * plane[:, :-1])) for plane in planes])
    return np.asarray(BETWEEN * off * np.clip(shared - beside, 0.0, None), np.float64)


def _split_turned(one: Sample, other: Sample, field: AffineField, second: Placement) -> Split:
    """The parts of a window of a sheet that was turned."""
    window = one.window
    there = inside(window, field, (second.scan.height_px, second.scan.width_px))
    ones, others = _all(one), _all(other)
    variances = _variances(ones, others)
    in_place = in_place_of_turned(ones, others, window, field)
    shared, doubt = None, None
    if in_place is not None:
        unlike = unlike_by_pixels(ones, _all(sample(second, there)), window, there, field)
        if unlike is not None:
            shared, doubt = variances - unlike[0], unlike[1]
    if in_place is None:
        in_place = np.zeros(len(ones))
    moved_px = field(window.row + window.height / 2, window.col + window.width / 2)
    return _put_together(one, variances, in_place, shared, moved_px, still=False, doubt=doubt)


def _put_together(
    one: Sample,
    variances: Floats,
    in_place: Floats,
    shared: Floats | None,
    moved_px: tuple[float, float] | None,
    *,
    still: bool,
    doubt: Floats | None = None,
) -> Split:
    """Variances of a window, given what both scans share in place and where the paper lies."""
    doubts = np.zeros(len(in_place)) if doubt is None else doubt
    means = np.concatenate([one.light.mean(axis=(0, 1)), [float(luma(one.light).mean())]])
    return Split(
        total=float(variances[0]),
        in_place=float(in_place[0]),
        grain=None if shared is None else float(shared[0]),
        moved_px=moved_px,
        still=still,
        light_total=variances[1:] - in_place[1:],
        light_grain=np.zeros(len(in_place) - 1) if shared is None else shared[1:],
        level=means[-1:] if len(in_place) == 2 else means,
        grain_doubt=float(doubts[0]),
        light_doubt=doubts[1:],
    )


def _variances(ones: Sequence[Floats], others: Sequence[Floats]) -> Floats:
    """Mean of the variances of both scans, of each plane."""
    return np.array([float(a.var() + b.var()) / 2 for a, b in zip(ones, others, strict=True)])


def _all(seen: Sample) -> list[Floats]:
    """Grain of L*, then of the light of each channel and luma, rid of shading."""
    return [seen.grain, *_planes(seen.light)]


def _planes(light: Floats) -> list[Floats]:
    """Channels of a window rid of shading, luma last (grey: the one channel)."""
    if light.shape[-1] == 1:
        return [flatten(light[..., 0])]
    return [flatten(light[..., channel]) for channel in range(3)] + [flatten(luma(light))]
