"""What crosses the border between records and report of a comparison of two scanners, frozen."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from scanqa.model.result import Bounds, Key

Verdict = Literal[
    "first is better",
    "second is better",
    "different",
    "too small to matter",
    "no difference shown",
    "not compared",
]
Gap = Literal["", "one-side", "per-pixel", "bound", "other-print", "no-uncertainty"]

SOUND = Bounds()


@dataclass(frozen=True, slots=True)
class Difference:
    """One measure on both sides; `key.dpi` is 0 where the sides differ in it.

    Attributes
    ----------
    first, second : float or None
        Medians.
    difference : float or None
        Second minus first.
    error, degrees : float or None
        Its standard uncertainty, and the degrees of freedom of that; infinite where it is stated.
    low, high : float or None
        Its interval, at the level of `Comparison`: all of them together hold their truths.
    p_value : float or None
        Two-sided, for this measure alone.
    matters : float
        The difference from which on it matters to the work; 0 where none is set.
    unit_of : str
        What scatters: ``pairs of places``, ``repeats``, ``stated uncertainties``.
    gap : str
        Why it is not compared.
    least : bool
        Whether the difference is at least so large: a side is only known as a bound, or what both
        share (one rough print) makes both smaller.
    of_first, of_second : Bounds
        What the medians leave open.
    """

    key: Key
    unit: str
    first: float | None
    second: float | None
    difference: float | None
    error: float | None
    degrees: float | None
    low: float | None
    high: float | None
    p_value: float | None
    matters: float
    unit_of: str
    count: int
    verdict: Verdict
    gap: Gap = ""
    least: bool = False
    of_first: Bounds = SOUND
    of_second: Bounds = SOUND


@dataclass(frozen=True, slots=True)
class Profile:
    """Values of both sides along one axis, to be drawn over each other.

    Attributes
    ----------
    points : ((x, value, uncertainty or None), …) of the first and of the second side
    """

    name: Literal["gutter", "light", "focus"]
    points: tuple[tuple[tuple[float, float, float | None], ...], ...]


@dataclass(frozen=True, slots=True)
class Cost:
    """What a side costs: price in any currency, hours that the job would take."""

    price: float | None = None
    hours: float | None = None


@dataclass(frozen=True, slots=True)
class SideFacts:
    """How one side was measured.

    Attributes
    ----------
    scanner : str
        Name of the scanner; `Comparison.first` may say more.
    days : tuple of str
        When it was measured.
    roles : tuple of str
        Of its scans, one for each scan.
    dpis : tuple of int
        Of its scans, each once.
    facts : dict
        Depth, format, light, version and conditions, as they were stated.
    """

    scanner: str
    records: int
    days: tuple[str, ...]
    roles: tuple[str, ...]
    dpis: tuple[int, ...]
    lossy: bool
    facts: dict[str, str]


@dataclass(frozen=True, slots=True)
class Comparison:
    """All differences, shown ones first; `sides` say how each was measured.

    Attributes
    ----------
    together : float
        Confidence that every interval holds its truth.
    alone : float
        Confidence of each interval by itself, so that they do.
    tried : int
        How many values were tried.
    """

    first: str
    second: str
    rows: tuple[Difference, ...]
    sides: tuple[SideFacts, SideFacts]
    together: float
    alone: float
    tried: int
    profiles: tuple[Profile, ...] = ()
    costs: tuple[Cost, Cost] | None = None
