"""What traces of hidden processing make unmeasurable: those values are taken back, with the reason.

A value that speaks of the software and not of the scanner is worse than none:

- sharpening lifts SFR50, in its direction, and SFR10 and what follows from it by a tenth;
- stretched levels scale noise, tone, drift and show-through by an unknown gain;
- smoothed grain has lost noise and the finest pattern of the columns;
- JPEG replaces both by its own;
- scans cropped to the paper have lost the edges of the bed.

Which measures a trace falsifies stands in their rows of the catalogue (``spoiled_by``). Software
that does this to one scan of a set is taken to do it to all of them, but for sharpening, which is
seen in each scan by itself. A direction that a trace names is the only one that it spoils.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from scanqa.catalogue import CATALOGUE, ROLES, Role
from scanqa.measures.processing import codes, crop, halo
from scanqa.measures.processing.grain import tells_smoothing
from scanqa.model import Measurement, Placement, Reason, ReasonKind, Results, of_role, taken_back


@dataclass(frozen=True, slots=True)
class Spoil:
    """A trace, when it counts, and what to say of the values that it falsifies.

    Attributes
    ----------
    counts : callable
        Whether a measurement of the trace is one.
    why : str
        With ``{value}``, the trace's.
    roles : tuple of Role
        Scans on which it matters: a crop of one on which no edge of the bed was measured does not.
    own_scan_only : bool
        Whether other scans are none of its business.
    """

    counts: Callable[[Measurement], bool]
    why: str
    kind: ReasonKind = "software"
    roles: tuple[Role, ...] = ROLES
    own_scan_only: bool = False


SPOILS = {
    "processing.halo": Spoil(
        lambda m: halo.seen(m.value or 0.0, m.uncertainty or 0.0),
        "edges are sharpened in software (halo of {value:.0f} %)",
        own_scan_only=True,
    ),
    "processing.level_stretch": Spoil(
        lambda m: codes.stretched(m.value or 1.0, m.uncertainty or 0.0),
        "levels were stretched after digitising (by {value:.2f})",
    ),
    "processing.grain_kept": Spoil(
        tells_smoothing,  # also 0: no grain is left
        "grain was smoothed in software (finest grain {value:.2f} of what it should be)",
    ),
    "processing.jpeg_quality": Spoil(
        lambda m: m.status == "ok" and (m.value or 0.0) < 100,
        "the image went through JPEG (quality about {value:.0f})",
        kind="compression",
    ),
    "processing.crop": Spoil(
        lambda m: (m.value or 0.0) > crop.SAME_MM,
        "a scan is {value:.0f} mm smaller than others of the whole bed (cropped, of another area "
        "or of another scanner)",
        roles=("blank", "edge-strip"),
    ),
}


def withhold(results: Results, scans: Sequence[Placement]) -> Results:
    """Take back what the traces make unmeasurable.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner, the traces of processing among it.
    scans : sequence of Placement
        All of them, for their roles.

    Returns
    -------
    Results
        The same, values that cannot be trusted replaced by their reasons.
    """
    found = [
        trace
        for name, spoil in SPOILS.items()
        for trace in results.named(name)
        if spoil.counts(trace) and _matters(spoil, trace, scans)
    ]
    if not found:
        return results
    return replace(results, measurements=tuple(_judged(m, found) for m in results.measurements))


def _matters(spoil: Spoil, trace: Measurement, scans: Sequence[Placement]) -> bool:
    """Whether a trace is of a scan on which it matters."""
    if spoil.roles == ROLES:
        return True
    return trace.scan in {placement.scan.name for placement in of_role(scans, *spoil.roles)}


def _judged(m: Measurement, found: Sequence[Measurement]) -> Measurement:
    if m.value is None:
        return m
    for trace in found:
        spoil = SPOILS[trace.name]
        elsewhere = spoil.own_scan_only and trace.scan != m.scan
        other_way = None not in (trace.direction, m.direction) and trace.direction != m.direction
        if trace.name in CATALOGUE[m.name].spoiled_by and not elsewhere and not other_way:
            why = spoil.why.format(value=trace.value)
            read = f"it read {m.value:.3g} {m.unit}".rstrip()
            words = f"{why}, and this would tell of the software, not of the scanner; {read}"
            return taken_back(m, Reason(spoil.kind, words))
    return m
