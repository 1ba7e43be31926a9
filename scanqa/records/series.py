"""From a document's many measurements to one number per measure, direction, channel and edge kind.

The number is the median over the sites; its standard uncertainty is the larger of the median's
own (1.2533 s / √n for normal scatter) and the typical stated one over √n.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from scanqa.catalogue import CATALOGUE


@dataclass(frozen=True, slots=True)
class Value:
    """One number of one qualification; the key fields are empty where they do not apply."""

    name: str
    direction: str
    channel: str
    edge_kind: str
    method_version: int
    value: float
    uncertainty: float | None
    unit: str
    count: int
    at_least: bool

    @property
    def key(self) -> tuple[str, str, str, str]:
        """What makes two values comparable."""
        return self.name, self.direction, self.channel, self.edge_kind


def values(measures: Iterable[Mapping[str, Any]]) -> list[Value]:
    """One `Value` per key, in order of first appearance; measures without a value are left out.

    Parameters
    ----------
    measures : iterable of mapping
        The ``measures`` of a document. Names that the catalogue no longer has are left out.
    """
    groups: dict[tuple[str, str, str, str], list[Mapping[str, Any]]] = {}
    for m in measures:
        if m["value"] is None or m["name"] not in CATALOGUE:
            continue
        key = (m["name"], m["direction"] or "", m["channel"] or "", m["edge_kind"] or "")
        groups.setdefault(key, []).append(m)
    return [_value(key, group) for key, group in groups.items()]


def _value(key: tuple[str, str, str, str], group: list[Mapping[str, Any]]) -> Value:
    numbers = [float(m["value"]) for m in group]
    stated = [float(m["uncertainty"]) for m in group if m["uncertainty"] is not None]
    n = len(numbers)
    spread = 1.2533 * statistics.stdev(numbers) / n**0.5 if n > 1 else 0.0
    typical = statistics.median(stated) / n**0.5 if stated else 0.0
    uncertainty = max(spread, typical)
    bounded = sum(m["status"] == "lower-bound" for m in group) * 2 > n
    return Value(
        *key,
        method_version=CATALOGUE[key[0]].version,
        value=statistics.median(numbers),
        uncertainty=uncertainty if uncertainty > 0 else None,
        unit=CATALOGUE[key[0]].unit,
        count=n,
        at_least=bounded,
    )
