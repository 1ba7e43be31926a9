"""The parts of the noise in each window of two scans of one paper.

The two-frame method of ISO 15739 and of photon transfer, var(A − B)/2 = var A − cov(A, B): what
both scans share in place is fixed pattern; what they share where the paper has moved to is the
paper's grain; the rest is temporal.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from scanqa.measures.noise.by_distance import at_nought, by_distance
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
    in_place = [float(np.mean(a * b)) for a, b in zip(one.planes, other.planes, strict=True)]
    still = lies_still(one.grain, other.grain)
    return _put_together(one, other, np.array(in_place), None, None, still=still)


def _moved_splits(
    ones: Sequence[Sample], others: Sequence[Sample], field: AffineField, second: Placement
) -> list[Split]:
    """The parts of windows whose paper moved: what is left where the same paper lies is no paper.

    Grain that is finer than the samples can tell is none that was found.
    """
    size = second.scan.height_px, second.scan.width_px
    seen = [sample(second, inside(one.window, field, size)) for one in ones]
    gathered = [
        by_distance(one.planes, there.planes, one.window, there.window, field)
        for one, there in zip(ones, seen, strict=True)
    ]
    levels = [(one.levels + there.levels) / 2 for one, there in zip(ones, seen, strict=True)]
    in_places = [in_place_of_moved(a.planes, b.planes, a.window, field)
                 for a, b in zip(ones, others, strict=True)]  # fmt: skip
    used = [at for at, by in enumerate(gathered) if by is not None and in_places[at] is not None]
    unlike: dict[int, Floats] = {}
    doubt = np.zeros(len(ones[0].planes))
    left = (
        None
        if not used
        else at_nought(
            [by for at in used if (by := gathered[at]) is not None],
            np.array([[1.0, *np.square(levels[at])] for at in used]),
        )
    )
    if left is not None and np.all(left[1] < KNOWN * np.median(left[0], axis=0)):
        unlike, doubt = dict(zip(used, left[0], strict=True)), left[1]
    out = []
    for at, (one, other) in enumerate(zip(ones, others, strict=True)):
        in_place = in_places[at]
        split = _put_together(
            one,
            other,
            np.zeros(len(doubt)) if in_place is None else in_place,
            _variances(one, other) - unlike[at] if at in unlike else None,
            field(one.window.row + one.window.height / 2, one.window.col + one.window.width / 2),
            still=False,
        )
        out.append(replace(split, level=levels[at], grain_doubt=doubt[0], light_doubt=doubt[1:]))
    return out


def _put_together(
    one: Sample,
    other: Sample,
    in_place: Floats,
    shared: Floats | None,
    moved_px: tuple[float, float] | None,
    *,
    still: bool,
) -> Split:
    """Variances of a window, given what both scans share in place and where the paper lies."""
    variances = _variances(one, other)
    return Split(
        total=float(variances[0]),
        in_place=float(in_place[0]),
        grain=None if shared is None else float(shared[0]),
        moved_px=moved_px,
        still=still,
        light_total=variances[1:] - in_place[1:],
        light_grain=np.zeros(len(in_place) - 1) if shared is None else shared[1:],
        level=(one.levels + other.levels) / 2,
        grain_doubt=0.0,
        light_doubt=np.zeros(len(in_place) - 1),
    )


def _variances(one: Sample, other: Sample) -> Floats:
    """Mean of the variances of both scans, of each plane."""
    pairs = zip(one.planes, other.planes, strict=True)
    return np.array([float(a.var() + b.var()) / 2 for a, b in pairs])
