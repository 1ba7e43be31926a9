"""Whether the dpi is real, or samples were invented between the measured ones.

``claim.factor`` is the number of samples delivered for each measured one, ``across`` and ``travel``
on their own (drivers double lines along the travel only); ``claim.native_fraction`` is 1 over it.
A soft lens is not an interpolation: it is a matter of `sharpness`, and the factor stays 1.

Pieces of line are taken where the page has detail, from all over it, and must agree on one factor
and one position of the measured samples: `scanqa.measures.claim.resampling`, after Gallagher 2005
and Popescu & Farid 2005. Codes are used, not light: drivers stretch codes.

Not measurable: too little detail or grain. Not seen: what `scanqa.measures.claim.resampling` lists,
above all JPEG over a soft image; then the value is a range, and the reason says why.

The blocks of JPEG agree at factors 8/k. Of those, 8/5 and 8/6 are taken for its grid; 2, 8/3 and 4
are found only where they are deeper than JPEG alone makes them, and are a *trace of resampling*:
the factor is not certain, nor is it where a period of two samples is all that was found. A page
enlarged twice shows the trace of the second time only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from scanqa.measures.claim.kernels import forget
from scanqa.measures.claim.pieces import read_pieces
from scanqa.measures.claim.resampling import FEWEST_STARTS, Search, find_interpolation
from scanqa.model import (
    DIRECTIONS,
    Curve,
    Direction,
    Evidence,
    Measurement,
    Placement,
    Reason,
    Results,
    Told,
    not_measurable,
)
from scanqa.numeric.jpeg_trace import BLOCK as JPEG_BLOCK
from scanqa.reading.print_through_jpeg import jpeg_in_print

NEAR_GRID = 0.02  # of a whole number of eighths: what blocks of JPEG look like
MOST_HIDDEN = 2.0  # factor that JPEG may hide
FINEST_GRID = 5  # eighths from which a factor is JPEG's own
ONCE_MORE = 2.0  # an enlargement that was itself enlarged may hide as much again


def measure(scans: Sequence[Placement], told: Told) -> Results:
    """Factor and native fraction of each scan, both directions.

    Parameters
    ----------
    scans : sequence of Placement
        Pages with print on them, best at the highest dpi on offer.
    told : Told
        Nothing of it is needed.

    Returns
    -------
    Results
        Two measurements for each scan and direction, and for each scan a figure of the
        agreement over factors. The reason names the kernel where one was found.
    """
    results = Results()
    each_once = {id(placement.scan): placement for placement in scans}  # pieces share a scan
    for placement in each_once.values():
        lossy = cache(partial(_lossy, placement))  # of both directions, and only if it is asked
        for direction in DIRECTIONS:
            results += _measure(placement, direction, lossy)
    forget()
    return results


def _measure(placement: Placement, direction: Direction, lossy: Callable[[], bool]) -> Results:
    pieces = read_pieces(placement, direction)
    places = len(np.unique(pieces.starts))
    if places < FEWEST_STARTS:
        too_few = Reason(
            "too-few",
            f"detail at {places} places along this direction, {FEWEST_STARTS} are needed: "
            "scan a larger page full of print",
        )
        return Results(
            tuple(
                not_measurable(name, too_few, placement.scan.name, direction=direction)
                for name in ("claim.factor", "claim.native_fraction")
            )
        )
    search = find_interpolation(pieces.covariances, pieces.means, pieces.starts)
    dpi = placement.dpi[0 if direction == "across" else 1]
    verdict = _verdict(search, dpi, lossy)
    figure = _figure(search, placement, direction, verdict.why.words)
    return Results(tuple(_values(verdict, placement.scan.name, direction)), evidence=(figure,))


@dataclass(frozen=True, slots=True)
class _Verdict:
    """A factor and its doubt, within what range it lies if that is open, and why."""

    factor: float
    error: float | None
    range: tuple[float, float] | None
    why: Reason


def _values(verdict: _Verdict, scan: str, direction: Direction) -> Iterator[Measurement]:
    """Factor and native fraction, or the range of both that is left open."""
    factor, error, why = verdict.factor, verdict.error, verdict.why
    low, high = verdict.range or (None, None)
    yield Measurement(
        "claim.factor",
        factor,
        error,
        "between" if verdict.range else "ok",
        why.words,
        scan,
        direction=direction,
        reason_kind=why.kind,
        low=low,
        high=high,
    )
    yield Measurement(
        "claim.native_fraction",
        1 / factor,
        None if error is None else error / factor**2,
        "between" if verdict.range else "ok",
        why.words,
        scan,
        direction=direction,
        reason_kind=why.kind,
        low=1 / high if high else None,
        high=1 / low if low else None,
    )


def _verdict(search: Search, dpi: float, is_lossy: Callable[[], bool]) -> _Verdict:
    found = search.found
    eighths = JPEG_BLOCK / found.factor if found else 0.0
    on_grid = found is not None and abs(eighths - round(eighths)) < NEAR_GRID
    lossy = (on_grid or found is None) and is_lossy()
    kernel = " or ".join(found.families) if found else ""
    if found is not None and not (on_grid and lossy):
        words = f"{kernel} interpolation from about {dpi / found.factor:.0f} to {dpi:.0f} dpi"
        return _Verdict(found.factor, found.factor_error, None, Reason("method", words))
    if search.bare:
        return _trace(2.0, "every second sample depends on its neighbours, and no more is known")
    if found is not None and round(eighths) < FINEST_GRID:
        return _trace(found.factor, f"as of {kernel} interpolation by {found.factor:.2f}, and JPEG")
    if found is not None:
        words = f"traces as of an enlargement by {found.factor:.2f} are those of JPEG's own blocks"
    else:
        words = "no interpolation found"
    if not lossy:
        return _Verdict(1.0, None, None, Reason("method", words))
    words += "; JPEG may hide one of 4/3, 8/5 or 2 in a soft scan"
    return _Verdict(1.0, None, (1.0, MOST_HIDDEN), Reason("compression", words))


def _trace(factor: float, seen: str) -> _Verdict:
    """That samples were computed from others, but not from how many."""
    words = (
        f"trace of resampling, factor not certain: {seen}; scan the same again without lossy "
        "compression and processing"
    )
    return _Verdict(factor, None, (1.0, ONCE_MORE * factor), Reason("unclear", words))


def _lossy(placement: Placement) -> bool:
    """Whether the pixels went through JPEG, in this file or before."""
    if placement.scan.lossy:
        return True
    trace = jpeg_in_print(placement)
    return trace is not None and bool(trace.steps)


def _figure(search: Search, placement: Placement, direction: Direction, words: str) -> Evidence:
    order = np.argsort(search.factors)
    curve = Curve(direction, search.factors[order], search.coherence[order])
    return Evidence(
        "claim",
        "curves",
        f"Agreement on invented samples, {direction}",
        scan=placement.scan.name,
        x_label="factor",
        y_label="agreement (1 is chance)",
        curves=(curve,),
        note=f"{words}. A peak far above chance at a factor, its multiples and fractions means "
        "that samples were computed from fewer ones.",
    )
