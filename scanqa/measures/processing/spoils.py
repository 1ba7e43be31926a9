"""What traces of hidden processing make unmeasurable: those values are taken back, with the reason.

A value that speaks of the software and not of the scanner is worse than none:

- sharpening lifts SFR50, in its direction (SFR10 and what follows from it move far less);
- stretched levels scale noise, tone, drift and show-through by an unknown gain;
- smoothed grain has lost noise and the finest pattern of the columns;
- JPEG replaces both by its own;
- scans cropped to the paper have lost the edges of the bed.

Software that does this to one scan of a set is taken to do it to all of them.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace

from scanqa.measures.processing import codes, crop, halo
from scanqa.model import Measurement, Results


@dataclass(frozen=True, slots=True)
class Spoil:
    """A trace, when it counts, and the measures (or families) that it falsifies."""

    trace: str
    counts: Callable[[Measurement], bool]
    families: tuple[str, ...]
    why: str


SPOILS = (
    Spoil(
        "processing.halo",
        lambda m: halo.seen(m.value or 0.0, m.uncertainty or 0.0),
        ("sharpness.sfr50",),
        "edges are sharpened in software (halo of {value:.0f} %)",
    ),
    Spoil(
        "processing.level_stretch",
        lambda m: codes.stretched(m.value or 1.0, m.uncertainty or 0.0),
        ("noise.", "tone.", "drift.", "backing."),
        "levels were stretched after digitising (by {value:.2f})",
    ),
    Spoil(
        "processing.grain_kept",
        lambda m: m.value is not None and codes.smoothed(m.value),  # 0: no grain is left
        ("noise.", "streaks.column_pattern"),
        "grain was smoothed in software (finest grain {value:.2f} of what it should be)",
    ),
    Spoil(
        "processing.jpeg_quality",
        lambda m: m.status == "ok" and (m.value or 0.0) < 100,
        ("noise.", "streaks.column_pattern"),
        "the image went through JPEG (quality about {value:.0f})",
    ),
    Spoil(
        "processing.crop",
        lambda m: (m.value or 0.0) > crop.SAME_MM,
        ("edges.",),
        "a scan is {value:.0f} mm smaller than others of the whole bed (cropped in software)",
    ),
)


def withhold(results: Results, *, beds: Collection[str]) -> Results:
    """Take back what the traces make unmeasurable.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner, the traces of processing among it.
    beds : collection of str
        Names of the scans that edges were measured on: a crop of another scan spoils none.

    Returns
    -------
    Results
        The same, values that cannot be trusted replaced by their reasons.
    """
    found = [
        (spoil, trace)
        for spoil in SPOILS
        for trace in results.named(spoil.trace)
        if trace.value is not None and spoil.counts(trace)
        if spoil.trace != "processing.crop" or trace.scan in beds
    ]
    if not found:
        return results
    return replace(results, measurements=tuple(_judged(m, found) for m in results.measurements))


def _judged(m: Measurement, found: Sequence[tuple[Spoil, Measurement]]) -> Measurement:
    if m.value is None:
        return m
    for spoil, trace in found:
        elsewhere = trace.scan != m.scan if spoil.trace == "processing.halo" else False
        other_way = None not in (trace.direction, m.direction) and trace.direction != m.direction
        if m.name.startswith(spoil.families) and not elsewhere and not other_way:
            why = spoil.why.format(value=trace.value)
            read = f"it read {m.value:.3g} {m.unit}".rstrip()
            return replace(
                m,
                value=None,
                uncertainty=None,
                status="not-measurable",
                reason=f"{why}, and this would tell of the software, not of the scanner; {read}",
            )
    return m
