"""How far an edge lies displaced in one channel against another.

Each channel's edge is placed by its own maximum-likelihood fit (`fit`), whose position is
uncorrelated with its width and its levels: a channel that is blurrier, lighter or of less contrast
is not displaced by that. All channels are read in the same rows, so that the roughness of the edge,
which they share, cancels in the difference; the uncertainty is that of the row-by-row differences.

Bound: each position has a variance of at least ``s² 2√π σ / n`` (`fit`), the difference of
two the sum of theirs: 0.002 px for noise of 0.5 %, σ = 0.7 px and 150 rows.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Floats, Reason
from scanqa.numeric.edge.clip import clipped
from scanqa.numeric.edge.find import usable_edge
from scanqa.numeric.edge.fit import EdgeFit, Line, Patch, first_guess, refine, row_places
from scanqa.numeric.scatter import long_run_variance

_ALL = 1e3  # sigmas: every pixel of the patch, so that the levels cost the place nothing


@dataclass(frozen=True, slots=True)
class Shift:
    """Place of an edge in one plane less its place in the reference.

    Attributes
    ----------
    along_px : float
        Along the rows (or columns, for a nearly horizontal edge), positive to the right or down.
    uncertainty_px : float
    slope : float
        Of the edge, px per px: a displacement *along* the edge shows as slope times as much.
    """

    along_px: float
    uncertainty_px: float
    slope: float


def edge_shifts(
    reference: NDArray[Any], others: Sequence[NDArray[Any]], line: Line, reach_px: float
) -> tuple[Shift | Reason, ...] | Reason:
    """Displacement of the edge in each of `others` against `reference`.

    Parameters
    ----------
    reference, others : (rows, columns)
        Linear light of the same window, 1 at the highest code.
    line, reach_px
        As for `scanqa.numeric.edge.sfr.measure_edge`.
    """
    found = usable_edge(reference, line, reach_px)
    if isinstance(found, Reason):
        return found
    patch, fit, _ = found
    better = refine(patch, fit, within_sigmas=_ALL)
    if isinstance(better, Reason):
        return better
    base = row_places(patch, better, within_sigmas=_ALL)
    return tuple(_shift(patch, better, base, np.asarray(other, np.float64)) for other in others)


def _shift(patch: Patch, fit: EdgeFit, base: Floats, other: Floats) -> Shift | Reason:
    plane = other.T if patch.transposed else other
    rows = np.rint(patch.middle + patch.half_rows * patch.t).astype(np.int64)
    here = replace(patch, light=plane[rows[:, None], patch.x.astype(np.int64)])
    guess = first_guess(here)
    found = guess if isinstance(guess, Reason) else refine(here, guess, within_sigmas=_ALL)
    if isinstance(found, Reason):
        return found
    why, _ = clipped(here, found)
    if why is not None:
        return why
    if found.sign != fit.sign:
        return Reason("unlike", "the edge is dark on the other side in this channel")
    differences = row_places(here, found, within_sigmas=_ALL) - base
    rows_used = differences.size
    variance = long_run_variance(differences) * rows_used / max(rows_used - 3, 1)
    return Shift(
        along_px=float(found.line[0] - fit.line[0]),
        uncertainty_px=float(np.sqrt(variance)),
        slope=float(fit.line[1] / patch.half_rows),
    )
