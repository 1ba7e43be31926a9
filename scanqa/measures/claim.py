"""Whether the dpi is real, or samples were invented between the measured ones.

``claim.factor`` is the number of samples delivered for each measured one, ``across`` and ``travel``
on their own (drivers double lines along the travel only); ``claim.native_fraction`` is 1 over it.
A soft lens is not an interpolation: it is a matter of `sharpness`, and the factor stays 1.

Pieces of line are taken where the page has detail, from all over it, and must agree on one factor
and one position of the measured samples: `scanqa.numeric.resampling`, after Gallagher 2005 and
Popescu & Farid 2005. Codes are used, not light: drivers stretch codes.

Not measurable: too little detail or grain. Not seen: what `scanqa.numeric.resampling` lists, above
all JPEG over a soft image; then the reason says which factors stay possible.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scanqa.model import (
    Curve,
    Direction,
    Evidence,
    Floats,
    Measurement,
    Placement,
    Results,
    Window,
    not_measurable,
)
from scanqa.numeric.resampling import (
    FEWEST_STARTS,
    PIECE,
    Search,
    draw_starts,
    find_interpolation,
    piece_covariance,
)
from scanqa.numeric.tiles import tiles

DIRECTIONS: tuple[Direction, ...] = ("across", "travel")
LINES = 64  # beside each other in a window: their pieces start at the same sample
MOST_WINDOWS = 200
DETAIL_CODES = 1.0  # standard deviation, 8 bits: below it a piece is rounding
LUMA_OF_CODES = (0.299, 0.587, 0.114)  # ITU-R BT.601, as JPEG: chroma is the coarser part there
SEED = 1981


@dataclass(frozen=True, slots=True, eq=False)
class _Pieces:
    covariances: Floats  # (pieces, PIECE, PIECE)
    means: Floats  # (pieces, PIECE)
    starts: NDArray[np.int_]


def measure(placements: Sequence[Placement]) -> Results:
    """Factor and native fraction of each scan, both directions.

    Parameters
    ----------
    placements : sequence of Placement
        Pages with print on them, best at the highest dpi on offer.

    Returns
    -------
    Results
        Two measurements for each scan and direction, and for each scan a figure of the
        agreement over factors. The reason names the kernel where one was found.
    """
    results = Results()
    scans = {placement.scan.name: placement for placement in placements}  # pieces share a scan
    for placement in scans.values():
        for direction in DIRECTIONS:
            results += _measure(placement, direction)
    return results


def _measure(placement: Placement, direction: Direction) -> Results:
    pieces = _pieces(placement, direction)
    places = len(np.unique(pieces.starts))
    if places < FEWEST_STARTS:
        reason = (
            f"detail at {places} places along this direction, {FEWEST_STARTS} are needed: "
            "scan a larger page full of print"
        )
        return Results(
            tuple(
                not_measurable(name, reason, placement.scan.name, direction=direction)
                for name in ("claim.factor", "claim.native_fraction")
            )
        )
    search = find_interpolation(pieces.covariances, pieces.means, pieces.starts)
    factor, error, reason = _verdict(search, placement, direction)
    share_error = None if error is None else error / factor**2
    values = (("claim.factor", factor, error), ("claim.native_fraction", 1 / factor, share_error))
    return Results(
        tuple(
            Measurement(
                name,
                value,
                uncertainty,
                reason=reason,
                scan=placement.scan.name,
                direction=direction,
            )
            for name, value, uncertainty in values
        ),
        evidence=(_figure(search, placement, direction, reason),),
    )


def _verdict(
    search: Search, placement: Placement, direction: Direction
) -> tuple[float, float | None, str]:
    found = search.found
    if found is not None:
        kernel = " or ".join(found.families)
        dpi = placement.dpi[0 if direction == "across" else 1]
        return (
            found.factor,
            found.factor_error,
            f"{kernel} interpolation from about {dpi / found.factor:.0f} to {dpi:.0f} dpi",
        )
    if placement.scan.lossy:
        return (
            1.0,
            None,
            "no interpolation found; JPEG may hide one of 4/3, 8/5 or 2 in a soft scan",
        )
    return 1.0, None, "no interpolation found"


def _figure(search: Search, placement: Placement, direction: Direction, reason: str) -> Evidence:
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
        note=f"{reason}. A peak far above chance at a factor, its multiples and fractions means "
        "that samples were computed from fewer ones.",
    )


# --------------------------------------------------------------------------- reading


def _pieces(placement: Placement, direction: Direction) -> _Pieces:
    """Covariances of pieces where there is most detail, at random starts."""
    rng = np.random.default_rng(SEED)
    covariances, means, starts = [], [], []
    for window, start in _windows(placement, direction, rng):
        codes = placement.scan.window(window).astype(np.float64)
        lines = codes @ LUMA_OF_CODES if codes.shape[2] == 3 else codes[..., 0]
        lines = lines if direction == "across" else lines.T
        lines = lines / (2**placement.scan.bits - 1) * 255
        covariance = piece_covariance(lines)
        if np.trace(covariance) / PIECE >= DETAIL_CODES**2:
            covariances.append(covariance)
            means.append(lines.mean(axis=0))
            starts.append(start)
        if len(starts) == MOST_WINDOWS:
            break
    n = len(starts)
    return _Pieces(
        np.reshape(covariances, (n, PIECE, PIECE)),
        np.reshape(means, (n, PIECE)),
        np.asarray(starts, int),
    )


def _windows(
    placement: Placement, direction: Direction, rng: np.random.Generator
) -> Iterator[tuple[Window, int]]:
    """Windows with their starts along the direction, from every start in turn, busiest first."""
    scan, across = placement.scan, direction == "across"
    starts = draw_starts(scan.width_px if across else scan.height_px, rng)
    if across:
        cut = tiles(scan, placement.overview, LINES, PIECE, cols=starts)
    else:
        cut = tiles(scan, placement.overview, PIECE, LINES, rows=starts)
    taken: dict[int, int] = defaultdict(int)
    turns: list[tuple[int, int, Window, int]] = []
    for window in cut.busiest(len(cut.windows)):
        start = window.col if across else window.row
        turns.append((taken[start], len(turns), window, start))
        taken[start] += 1
    for _, _, window, start in sorted(turns, key=lambda turn: turn[:2]):
        yield window, start
