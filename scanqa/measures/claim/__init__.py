"""Whether the dpi is real, or samples were invented between the measured ones.

``claim.factor`` is the number of samples delivered for each measured one, ``across`` and ``travel``
on their own (drivers double lines along the travel only); ``claim.native_fraction`` is 1 over it.
A soft lens is not an interpolation: it is a matter of `sharpness`, and the factor stays 1.

Pieces of line are taken where the page has detail, from all over it, and must agree on one factor
and one position of the measured samples: `scanqa.measures.claim.resampling`, after Gallagher 2005
and Popescu & Farid 2005. Codes are used, not light: drivers stretch codes.

Not measurable: too little detail or grain. Not seen: what `scanqa.measures.claim.resampling` lists,
above all JPEG over a soft image; then the reason says which factors stay possible.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

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

JPEG_BLOCK = 8
NEAR_GRID = 0.02  # of a whole number of eighths: what blocks of JPEG look like
MOST_HIDDEN = 2.0  # factor that JPEG may hide


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
        for direction in DIRECTIONS:
            results += _measure(placement, direction)
    return results


def _measure(placement: Placement, direction: Direction) -> Results:
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
    verdict = _verdict(search, placement, direction)
    figure = _figure(search, placement, direction, verdict.why.words)
    return Results(tuple(_values(verdict, placement.scan.name, direction)), evidence=(figure,))


@dataclass(frozen=True, slots=True)
class _Verdict:
    """A factor and its doubt; up to what factor nothing is certain (1: all is); and why."""

    factor: float | None
    error: float | None
    up_to: float
    why: Reason


def _values(verdict: _Verdict, scan: str, direction: Direction) -> Iterator[Measurement]:
    """Factor and native fraction, or the range of both that compression leaves open."""
    names, why = ("claim.factor", "claim.native_fraction"), verdict.why
    if verdict.factor is None:
        for name in names:
            yield not_measurable(name, why, scan, direction=direction)
        return
    factor, error, most = verdict.factor, verdict.error, verdict.up_to
    errors = (error, None if error is None else error / factor**2)
    ranges = ((factor, most), (1 / most, 1 / factor))
    is_open = most > factor
    for name, value, doubt, (low, high) in zip(
        names, (factor, 1 / factor), errors, ranges, strict=True
    ):
        yield Measurement(
            name,
            value,
            doubt,
            "between" if is_open else "ok",
            why.words,
            scan,
            direction=direction,
            reason_kind=why.kind,
            low=low if is_open else None,
            high=high if is_open else None,
        )


def _verdict(search: Search, placement: Placement, direction: Direction) -> _Verdict:
    found, lossy = search.found, placement.scan.lossy
    if found is not None:
        eighths = JPEG_BLOCK / found.factor
        if lossy and abs(eighths - round(eighths)) < NEAR_GRID:
            words = (
                f"traces as of an enlargement by {found.factor:.2f}, which JPEG blocks leave "
                "too: scan the same without lossy compression"
            )
            return _Verdict(None, None, 1.0, Reason("unclear", words))
        kernel = " or ".join(found.families)
        dpi = placement.dpi[0 if direction == "across" else 1]
        words = f"{kernel} interpolation from about {dpi / found.factor:.0f} to {dpi:.0f} dpi"
        return _Verdict(found.factor, found.factor_error, 1.0, Reason("method", words))
    if lossy:
        words = "no interpolation found; JPEG may hide one of 4/3, 8/5 or 2 in a soft scan"
        return _Verdict(1.0, None, MOST_HIDDEN, Reason("compression", words))
    return _Verdict(1.0, None, 1.0, Reason("method", "no interpolation found"))


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
