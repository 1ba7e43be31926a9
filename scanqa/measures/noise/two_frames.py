"""The parts of the noise in each window of two scans of one paper.

The two-frame method of ISO 15739 and of photon transfer, var(A − B)/2 = var A − cov(A, B): what
both scans share in place is fixed pattern; what they share where the paper has moved to is the
paper's grain; the rest is temporal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.measures.noise.by_distance import ByDistance, at_nought, by_distance
from scanqa.measures.noise.displacement import (
    displacement,
    far_window,
    lies_still,
    paper_field,
)
from scanqa.measures.noise.turned import (
    LITTLE_PX,
    AffineField,
    in_place_of_moved,
    inside,
    refined,
)
from scanqa.measures.noise.windows import Sample, grain_in, sample
from scanqa.model import Floats, Placement

KNOWN = 0.5  # of what is left, up to which it may be off; beyond, the grain was not followed


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
    light_total: Floats
    light_grain: Floats
    moved_px: tuple[float, float] | None
    still: bool
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
    finer = _refined(ones, found, field, second)
    if finer is not None and (field is not None or finer.shear_px(width) > LITTLE_PX):
        field = finer
    elif field is not None and not _agree(found, field, width):
        field = None  # it was turned, and cannot be followed
    if field is None:
        return [_not_moved(one, other) for one, other in zip(ones, others, strict=True)]
    return _moved_splits(ones, others, field, second)


def _agree(found: Sequence[tuple[float, float] | None], field: AffineField, width: float) -> bool:
    """Whether two windows or more say that the sheet was not turned."""
    seen = np.array([shift for shift in found if shift is not None])
    if len(seen) < 2 or field.shear_px(width) > LITTLE_PX:
        return False
    return bool(np.ptp(seen, axis=0).max() <= LITTLE_PX)


def _refined(
    ones: Sequence[Sample],
    found: Sequence[tuple[float, float] | None],
    field: AffineField | None,
    second: Placement,
) -> AffineField | None:
    """Where small pieces of the sheet lie, from the best that is known without."""
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


def _not_moved(one: Sample, other: Sample) -> Split:
    """The parts of a window whose paper lies still, or is not seen to have moved."""
    planes, others = one.planes, other.planes
    in_place = np.array([float(np.mean(a * b)) for a, b in zip(planes, others, strict=True)])
    return Split(
        *_parts(_variances(planes, others), in_place, None),
        moved_px=None,
        still=lies_still(one.grain, other.grain),
        level=(one.levels + other.levels) / 2,
        grain_doubt=0.0,
        light_doubt=np.zeros(len(in_place) - 1),
    )


def _moved_splits(
    ones: Sequence[Sample], others: Sequence[Sample], field: AffineField, second: Placement
) -> list[Split]:
    """The parts of windows whose paper moved: what is left where the same paper lies is no paper.

    Grain that is finer than the samples can tell is none that was found.
    """
    size = second.scan.height_px, second.scan.width_px
    variances, in_places, levels, gathered = [], [], [], []
    for one, other in zip(ones, others, strict=True):
        there = sample(second, inside(one.window, field, size))
        planes, others_here = one.planes, other.planes
        variances.append(_variances(planes, others_here))
        in_places.append(in_place_of_moved(planes, others_here, one.window, field))
        levels.append((one.levels + there.levels) / 2)
        gathered.append(by_distance(planes, there.planes, one.window, there.window, field))
    unlike, doubt = _left(gathered, in_places, levels)
    out = []
    for at, one in enumerate(ones):
        found = in_places[at]
        shared = variances[at] - unlike[at] if at in unlike else None
        window = one.window
        out.append(
            Split(
                *_parts(variances[at], np.zeros(len(doubt)) if found is None else found, shared),
                moved_px=field(window.row + window.height / 2, window.col + window.width / 2),
                still=False,
                level=levels[at],
                grain_doubt=doubt[0],
                light_doubt=doubt[1:],
            )
        )
    return out


def _left(
    gathered: Sequence[ByDistance | None],
    in_places: Sequence[Floats | None],
    levels: Sequence[Floats],
) -> tuple[dict[int, Floats], Floats]:
    """What is left of each window where the same paper lies, by its number, and the doubt."""
    whole = {
        at: by
        for at, (by, found) in enumerate(zip(gathered, in_places, strict=True))
        if by is not None and found is not None
    }
    nothing: tuple[dict[int, Floats], Floats] = {}, np.zeros(len(levels[0]) + 1)
    if not whole:
        return nothing
    scales = np.array([[1.0, *np.square(levels[at])] for at in whole])
    left = at_nought(list(whole.values()), scales)
    if left is None or not np.all(left[1] < KNOWN * np.median(left[0], axis=0)):
        return nothing
    return dict(zip(whole, left[0], strict=True)), left[1]


def _parts(
    variances: Floats, in_place: Floats, shared: Floats | None
) -> tuple[float, float, float | None, Floats, Floats]:
    """Of L* in all, in place, of grain; of light without what is in place, and of grain."""
    return (
        float(variances[0]),
        float(in_place[0]),
        None if shared is None else float(shared[0]),
        variances[1:] - in_place[1:],
        np.zeros(len(in_place) - 1) if shared is None else shared[1:],
    )


def _variances(ones: Sequence[Floats], others: Sequence[Floats]) -> Floats:
    """Mean of the variances of both scans, of each plane."""
    return np.array([float(a.var() + b.var()) / 2 for a, b in zip(ones, others, strict=True)])
