"""Detail that was made up: what a scan stretched from fewer samples says of sharpness.

Interpolation invents no detail, but its kernel leaks beyond what the original samples could hold,
so that an edge seems sharper than they allow. Where the factor is known (``claim.factor`` of any
scan of about that dpi, in that direction), effective dpi, sampling efficiency and SFR10 are at
most what the original samples hold. Where it is not, but the grain is not white, the samples may
have been made up or smoothed: the optics may be worse than they seem, or better, and what an edge
that limits the value itself says (*at least*) is worth nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from scanqa.measures.processing.grain import tells_smoothing
from scanqa.model import (
    DIRECTIONS,
    LIKE_DPI,
    MM_PER_INCH,
    Measurement,
    Placement,
    Point,
    Reason,
    Results,
    as_bound,
    taken_back,
)

FINEST = ("sharpness.sfr10", "sharpness.sampling_efficiency", "sharpness.effective_dpi")
GRAIN_BENT = Reason(
    "software", "the grain is not white: detail may be made up, or smoothed, by the driver"
)
NATIVE = 1.05  # a factor below this is none


def without_made_up_detail(results: Results, scans: Sequence[Placement]) -> Results:
    """Sharpness beyond what the original samples hold, taken back.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner, factors and grain among it.
    scans : sequence of Placement
        All of them, for their dpi.

    Returns
    -------
    Results
        The same; values over what the samples hold are replaced by that, and are at most what
        they are where it is not known.
    """
    dpi_of = {scan.scan.name: scan.dpi for scan in scans}
    changed = tuple(
        _honest(m, results, dpi_of) if m.name in FINEST and m.value is not None else m
        for m in results.measurements
    )
    return replace(results, measurements=changed)


def _honest(m: Measurement, results: Results, dpi_of: Mapping[str, Point]) -> Measurement:
    if m.direction is None or m.scan not in dpi_of:
        return m
    axis = DIRECTIONS.index(m.direction)
    own = dpi_of[m.scan][axis]
    factors = [
        found.value
        for found in results.named("claim.factor")
        if (found.direction, found.status) == (m.direction, "ok")
        and found.value is not None
        and LIKE_DPI <= dpi_of[found.scan][axis] / own <= 1 / LIKE_DPI
    ]
    if factors:
        return m if max(factors) < NATIVE else _capped(m, own, max(factors))
    return _doubted(m) if _grain_is_bent(results, m) else m


def _doubted(m: Measurement) -> Measurement:
    return as_bound(m, "at-most", GRAIN_BENT) if m.status == "ok" else taken_back(m, GRAIN_BENT)


def _capped(m: Measurement, dpi: float, factor: float) -> Measurement:
    """What dpi / factor can hold, where the response is still over its limit there."""
    native = dpi / factor
    most = {
        "sharpness.sfr10": native / MM_PER_INCH / 2,
        "sharpness.sampling_efficiency": 100 / factor,
        "sharpness.effective_dpi": native,
    }[m.name]
    if m.value is None or m.value <= most:
        return m
    words = f"stretched from about {native:.0f} dpi: nothing finer is real"
    return replace(
        m, value=most, uncertainty=None, status="ok", reason=words, reason_kind="software",
        low=None, high=None, shared=(),
    )  # fmt: skip


def _grain_is_bent(results: Results, m: Measurement) -> bool:
    return any(
        tells_smoothing(trace) and trace.scan == m.scan and trace.direction in (None, m.direction)
        for trace in results.named("processing.grain_kept")
    )
