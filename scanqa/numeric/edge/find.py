"""An edge in a window, found and tried: is it where it should be, and does the scale hold it."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from scanqa.model import Reason
from scanqa.numeric.edge.clip import clipped
from scanqa.numeric.edge.fit import EdgeFit, Line, Patch, first_guess, gather, refine


def usable_edge(
    window: NDArray[Any], line: Line, reach_px: float
) -> tuple[Patch, EdgeFit, Reason | None] | Reason:
    """A located edge that the end of the scale does not bend, and what to say about it."""
    found = locate_edge(window, line, reach_px)
    if isinstance(found, Reason):
        return found
    why, note = clipped(*found)
    return (*found, note) if why is None else why


def locate_edge(
    window: NDArray[Any], line: Line, reach_px: float
) -> tuple[Patch, EdgeFit] | Reason:
    """Pixels about the edge and its line; the guess may be a few px or degrees wrong."""
    patch = gather(window, line, reach_px)
    if isinstance(patch, Reason):
        return patch
    guess = first_guess(patch)
    if isinstance(guess, Reason):
        return guess
    fit = refine(patch, guess)
    if isinstance(fit, Reason):
        return fit
    here = fit.line[0] + fit.line[1] * patch.t
    if np.abs(here - patch.x.mean(axis=1)).max() > 1.5:  # the guess was off: take pixels about it
        return _again(window, patch, fit, reach_px)
    return patch, fit


def _again(
    window: NDArray[Any], patch: Patch, fit: EdgeFit, reach_px: float
) -> tuple[Patch, EdgeFit] | Reason:
    ends = [
        (fit.line[0] + fit.line[1] * t, patch.middle + patch.half_rows * t) for t in (-1.0, 1.0)
    ]
    if patch.transposed:
        ends = [(y, x) for x, y in ends]
    off = float(np.abs(fit.line[0] + fit.line[1] * patch.t - patch.x.mean(axis=1)).max())
    second = gather(window, (ends[0], ends[1]), max(reach_px - off, 1.0))
    if isinstance(second, Reason):
        return second
    again = refine(second, fit)
    return again if isinstance(again, Reason) else (second, again)
