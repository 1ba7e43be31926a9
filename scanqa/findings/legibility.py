"""How small print may be and still be read, from the effective dpi.

The quality index of the Cornell tutorial (``legibility.toml`` cites it) asks for so many samples
across the smallest character, or the finest stroke; turned round it gives the smallest height and
width at each level. The samples that count are those that the optics support: effective dpi, the
median over the bed in the worse direction, by luma. It is capped at the dpi of the scan; where the
scan's own dpi is the limit, that is said: a finer setting may show smaller print.

Where the effective dpi is a lower bound, sizes are upper bounds. Without any there is no result.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Literal

from scanqa.findings.statistic import Figure, figure, known, members
from scanqa.model import Legibility, Legible, Measurement, ReasonKind, ScanFacts
from scanqa.summary import Summary

EFFECTIVE = "sharpness.effective_dpi"
INCH_PER_MM = 0.039  # the tutorial's own
PER_SAMPLE = {"character": 2.0, "stroke": 1.0}  # QI = dpi × 0.039 × size / this, in grey
ALL_OF_IT = 0.97  # of the scan's dpi: what is supported of it is limited by it


@dataclass(frozen=True, slots=True)
class Level:
    """A level of the index and its name."""

    what: Literal["character", "stroke"]
    level: str
    index: float


@cache
def levels() -> tuple[Level, ...]:
    """All levels, the best of each kind first."""
    text = (resources.files("scanqa.findings") / "legibility.toml").read_text("utf-8")
    return tuple(Level(**row) for row in tomllib.loads(text)["level"])


def size_mm(what: str, index: float, dpi: float) -> float:
    """Smallest height of a character, or width of a stroke, at an index."""
    return PER_SAMPLE[what] * index / (INCH_PER_MM * dpi)


def dpi_needed(what: str, index: float, size: float) -> float:
    """Samples per inch that a character's height, or a stroke's width, in mm asks for."""
    return PER_SAMPLE[what] * index / (INCH_PER_MM * size)


def index_reached(what: str, dpi: float, size: float) -> float:
    """Quality index of a character's height, or a stroke's width, in mm."""
    return dpi * INCH_PER_MM * size / PER_SAMPLE[what]


def word(what: str, index: float) -> str:
    """Name of the best level that an index reaches, or ``not legible``."""
    reached = [row.level for row in levels() if row.what == what and index >= row.index]
    return reached[0] if reached else "not legible"


def legibility(measured: Sequence[Summary], scans: Sequence[ScanFacts]) -> tuple[Legibility, ...]:
    """Smallest print for each dpi at which sharpness was measured, the coarsest first."""
    delivered = {facts.file: round(min(facts.dpi)) for facts in scans if facts.dpi}
    by_dpi: dict[int, list[Summary]] = {}
    for summary in known(measured, EFFECTIVE):
        dpi = next((delivered[m.scan] for m in summary.known if m.scan in delivered), None)
        if dpi is not None:
            by_dpi.setdefault(dpi, []).append(summary)
    return tuple(row for dpi in sorted(by_dpi) for row in _at(dpi, by_dpi[dpi]))


def _at(dpi: int, sites: Sequence[Summary]) -> Iterator[Legibility]:
    found = figure(sites, EFFECTIVE, "median of the worse direction")
    if found is None:
        return
    limit, note = _limit(found, dpi, members(sites))
    low, high = found.range or (None, None)
    yield Legibility(
        dpi, found.value, found.uncertainty, found.bound, tuple(_sizes(found)), low, high, limit,
        note,
    )  # fmt: skip


def _limit(found: Figure, dpi: int, sites: Sequence[Measurement]) -> tuple[ReasonKind | None, str]:
    """What limits it but the optics, and what the sites say of that."""
    if found.bound != "ok":
        return next((m.reason_kind, m.reason) for m in sites if m.status != "ok")
    return ("sampling" if found.value >= ALL_OF_IT * dpi else None), ""


def _sizes(found: Figure) -> Iterator[Legible]:
    for row in levels():
        size = size_mm(row.what, row.index, found.value)
        error = None if found.uncertainty is None else size * found.uncertainty / found.value
        yield Legible(row.what, row.level, row.index, size, error)
