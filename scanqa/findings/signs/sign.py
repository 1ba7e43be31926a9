"""What is found of each sign, and the few words that all of them use."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from scanqa.model import Direction, Seen, Severity

# Of a sign that asks for an explanation what was seen, of evidence whether it is there (or how
# probably, from 0 to 1); nothing, False or 0 if it is absent.
Found = tuple[Seen, ...] | bool | float
Signs = dict[str, Found]
Looked = Iterator[tuple[str, Found]]


def graded(value: float, limits: Sequence[float]) -> Severity | None:
    """Note, warning, fault by the limits reached, upwards; None under the first."""
    words: tuple[Severity, ...] = ("note", "warning", "fault")
    reached = sum(value >= limit for limit in limits)
    return words[reached - 1] if reached else None


def sign(
    name: str,
    severity: Severity | None,
    *rests_on: str,
    numbers: Mapping[str, float | None],
    terms: Mapping[str, str] | None = None,
    direction: Direction | None = None,
    scan: str = "",
    quoted: tuple[str, ...] = (),
) -> tuple[str, tuple[Seen, ...]]:
    """A sign that asks for an explanation, and what was seen of it: nothing without a severity.

    Parameters
    ----------
    numbers : mapping
        Those that are None are left out.
    """
    if severity is None:
        return name, ()
    given = {key: value for key, value in numbers.items() if value is not None}
    seen = Seen(
        name, severity, given, dict(terms or {}), rests_on, direction, scan=scan, quoted=quoted
    )
    return name, (seen,)


def asking(signs: Mapping[str, Found]) -> dict[str, tuple[Seen, ...]]:
    """The signs that ask for an explanation."""
    return {name: found for name, found in signs.items() if found and isinstance(found, tuple)}
