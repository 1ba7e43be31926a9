"""The numbers of one qualification as a history and the database need them.

Each is a `Summary` of `scanqa.summary` with a value, laid flat: what depends on the dpi stands
apart by dpi, so that a history never mixes settings.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from scanqa.catalogue import CATALOGUE
from scanqa.model import Key, Measurement, ScanFacts, Shared, Status
from scanqa.summary import summarise


@dataclass(frozen=True, slots=True)
class Value:
    """One number of one qualification; fields as for `Key` and `Summary`.

    `random` is the part of its uncertainty that no other value has; `shared` are the parts that
    others have in common.
    """

    name: str
    direction: str
    channel: str
    edge_kind: str
    dpi: int
    method_version: int
    value: float
    random: float | None
    shared: tuple[Shared, ...]
    status: Status
    low: float | None
    high: float | None
    unit: str
    count: int

    @property
    def key(self) -> Key:
        """What makes it comparable."""
        return Key(self.name, self.direction, self.channel, self.edge_kind, self.dpi)


def values(measures: Iterable[Measurement], scans: Sequence[ScanFacts] = ()) -> list[Value]:
    """One `Value` for each summary that has one, in order of first appearance."""
    return [
        Value(
            *summary.key,
            method_version=CATALOGUE[summary.key.name].version,
            value=summary.value,
            random=summary.random if summary.random else None,
            shared=summary.shared,
            status=summary.status,
            low=summary.low,
            high=summary.high,
            unit=summary.unit,
            count=summary.count,
        )
        for summary in summarise(measures, scans)
        if summary.value is not None
    ]
