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

from collections.abc import Sequence

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
    factor, error, why = _verdict(search, placement, direction)
    share_error = None if error is None else error / factor**2
    values = (("claim.factor", factor, error), ("claim.native_fraction", 1 / factor, share_error))
    return Results(
        tuple(
            Measurement(
                name,
                value,
                uncertainty,
                reason=why.words,
                reason_kind=why.kind,
                scan=placement.scan.name,
                direction=direction,
            )
            for name, value, uncertainty in values
        ),
        evidence=(_figure(search, placement, direction, why.words),),
    )


def _verdict(
    search: Search, placement: Placement, direction: Direction
) -> tuple[float, float | None, Reason]:
    found = search.found
    if found is not None:
        kernel = " or ".join(found.families)
        dpi = placement.dpi[0 if direction == "across" else 1]
        words = f"{kernel} interpolation from about {dpi / found.factor:.0f} to {dpi:.0f} dpi"
        return found.factor, found.factor_error, Reason("method", words)
    if placement.scan.lossy:
        words = "no interpolation found; JPEG may hide one of 4/3, 8/5 or 2 in a soft scan"
        return 1.0, None, Reason("compression", words)
    return 1.0, None, Reason("method", "no interpolation found")


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
