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
    Field,
    displacement,
    far_window,
    lies_still,
    moved_window,
    paper_field,
    shared_along,
)
from scanqa.measures.noise.windows import Sample, sample
from scanqa.model import Floats, Placement
from scanqa.numeric.lightness import lstar, luma


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
    """

    total: float
    in_place: float
    grain: float | None
    moved_px: tuple[float, float] | None
    still: bool
    light_total: Floats
    light_grain: Floats
    level: Floats

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
    return [_split(one, other, field, second) for one, other in zip(ones, others, strict=True)]


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
    light = luma(second.light.light(second.scan.window(window)))
    found = displacement(one.grain, flatten(lstar(light)), anywhere=True)
    if found is None:
        return None
    return found[0] + window.row - one.window.row, found[1] + window.col - one.window.col


def _split(one: Sample, other: Sample, field: Field | None, second: Placement) -> Split:
    planes, others = _planes(one.light), _planes(other.light)
    window = one.window
    there = None if field is None else moved_window(window, field, second)
    grain, of_light, moved_px = None, np.zeros(len(planes)), None
    if field is not None:
        moved_px = field(window.row + window.height / 2, window.col + window.width / 2)
    if field is not None and there is not None:
        moved = sample(second, there)
        shared = shared_along(
            [one.grain, *planes], [moved.grain, *_planes(moved.light)], window, there, field
        )
        grain, of_light = float(shared[0]), shared[1:]
    means = np.concatenate([one.light.mean(axis=(0, 1)), [float(luma(one.light).mean())]])
    return Split(
        total=float(one.grain.var() + other.grain.var()) / 2,
        in_place=float(np.mean(one.grain * other.grain)),
        grain=grain,
        moved_px=moved_px,
        still=lies_still(one.grain, other.grain),
        light_total=np.array(
            [
                (float(np.var(a)) + float(np.var(b))) / 2 - float(np.mean(a * b))
                for a, b in zip(planes, others, strict=True)
            ]
        ),
        light_grain=of_light,
        level=means[-1:] if len(planes) == 1 else means,
    )


def _planes(light: Floats) -> list[Floats]:
    """Channels of a window rid of shading, luma last (grey: the one channel)."""
    if light.shape[-1] == 1:
        return [flatten(light[..., 0])]
    return [flatten(light[..., channel]) for channel in range(3)] + [flatten(luma(light))]
