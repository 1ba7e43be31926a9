"""What a sign is, and the few words that all of them use."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from scanqa.model import Direction, Measurement, Severity, Streak

DIRECTIONS: tuple[Direction, ...] = ("across", "travel")
ALONG = {"across": "across", "travel": "along travel"}


@dataclass(frozen=True, slots=True)
class Sign:
    """Something seen.

    Attributes
    ----------
    words : str
        Short, as the beginning of a title.
    reason : str
        What it rests on, with numbers.
    severity : str or None
        None for evidence that needs no explanation of its own.
    streak : Streak or None
        A line brings its own ranking of causes.
    """

    words: str
    reason: str = ""
    severity: Severity | None = None
    rests_on: tuple[str, ...] = ()
    streak: Streak | None = None


Signs = dict[str, tuple[Sign, ...]]
Seen = Iterator[tuple[str, tuple[Sign, ...]]]
EVIDENCE = (Sign(""),)  # a sign that is there and needs no words


def graded(value: float, limits: Sequence[float]) -> Severity | None:
    """Note, warning, fault by the limits reached, upwards; None under the first."""
    words: tuple[Severity, ...] = ("note", "warning", "fault")
    reached = sum(value >= limit for limit in limits)
    return words[reached - 1] if reached else None


def evidence(there: bool) -> tuple[Sign, ...]:
    """What is found of a sign that needs no words."""
    return EVIDENCE if there else ()


def plus_minus(m: Measurement, digits: int = 2) -> str:
    """`` ± 0.12``, or nothing where no uncertainty is known."""
    return f" ± {m.uncertainty:.{digits}f}" if m.uncertainty else ""


def value_of(m: Measurement) -> float:
    """Value of a measurement that has one."""
    assert m.value is not None
    return m.value


def names_of(signs: Signs) -> list[str]:
    """Names of the signs that ask for an explanation."""
    return [name for name, found in signs.items() if any(sign.severity for sign in found)]


def measures_of(found: Sequence[Sign]) -> tuple[str, ...]:
    """Names of the measures that signs rest on, each once."""
    return tuple(dict.fromkeys(name for sign in found for name in sign.rests_on))
