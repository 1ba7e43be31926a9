"""How small print may be and still be read, from the effective dpi.

The quality index of the Cornell tutorial (``legibility.toml`` cites it) asks for so many samples
across the smallest character, or the finest stroke; turned round it gives the smallest height and
width at each level. The samples that count are those that the optics support: effective dpi, the
median over the bed in the worse direction, by luma. It is capped at the dpi of the scan; where the
scan's own dpi is the limit, a note says that a finer setting may show smaller print.

Where the effective dpi is a lower bound, sizes are upper bounds. Without any there is no result.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

from scanqa.findings.statistic import Summary, matching, summarise
from scanqa.model import Legibility, Legible, Measurement, Results, ScanFacts

EFFECTIVE = "sharpness.effective_dpi"
INCH_PER_MM = 0.039  # the tutorial's own
PER_SAMPLE = {"character": 2.0, "stroke": 1.0}  # QI = dpi × 0.039 × size / this, in grey
ALL_OF_IT = 0.97  # of the scan's dpi: what is supported of it is limited by it


@dataclass(frozen=True, slots=True)
class Level:
    """A level of the index and its name."""

    what: str
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


def legibility(results: Results, scans: Sequence[ScanFacts]) -> tuple[Legibility, ...]:
    """Smallest print for each dpi at which sharpness was measured, the coarsest first."""
    delivered = {facts.file: round(min(facts.dpi)) for facts in scans}
    by_dpi: dict[int, list[Measurement]] = {}
    for m in matching(results, EFFECTIVE):
        if m.scan in delivered:
            by_dpi.setdefault(delivered[m.scan], []).append(m)
    return tuple(_at(dpi, by_dpi[dpi]) for dpi in sorted(by_dpi))


def _at(dpi: int, sites: Sequence[Measurement]) -> Legibility:
    found = summarise(Results(tuple(sites)), EFFECTIVE, "median of the worse direction")
    assert found is not None  # there is at least one site
    note = ""
    if found.at_least:
        note = next((m.reason for m in sites if m.status == "lower-bound"), "")
    elif found.value >= ALL_OF_IT * dpi:
        note = f"the scan's own {dpi} dpi are the limit; a finer setting may show smaller print"
    return Legibility(
        dpi, found.value, found.uncertainty, found.at_least, tuple(_sizes(found)), note
    )


def _sizes(found: Summary) -> Iterator[Legible]:
    for row in levels():
        size = size_mm(row.what, row.index, found.value)
        error = None if found.uncertainty is None else size * found.uncertainty / found.value
        yield Legible(row.what, row.level, row.index, size, error)
