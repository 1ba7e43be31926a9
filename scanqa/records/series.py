"""From a document's many measurements to one number per measure, direction, channel and edge kind.

The number is the median over the sites; its standard uncertainty is the larger of the median's
own (1.2533 s / √n for normal scatter) and the typical stated one over √n. What depends on the
sampling is kept apart by dpi, so that a history never mixes settings.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

from scanqa.catalogue import CATALOGUE
from scanqa.over_time import Key

PER_PIXEL = (  # values in pixels or of single pixels: they do not compare across dpi
    "colour.registration",
    "sharpness.sampling_efficiency",
    "noise",
    "streaks",
    "banding.unsteadiness",
)
BY_DPI = (*PER_PIXEL, "sharpness", "claim", "processing")


@dataclass(frozen=True, slots=True)
class Value:
    """One number of one qualification; the key fields are empty where they do not apply.

    `dpi` is the sampling of the scans it comes from, for what depends on it; else 0.
    """

    name: str
    direction: str
    channel: str
    edge_kind: str
    dpi: int
    method_version: int
    value: float
    uncertainty: float | None
    unit: str
    count: int
    at_least: bool

    @property
    def key(self) -> Key:
        """What makes two values of the same dpi comparable."""
        return self.name, self.direction, self.channel, self.edge_kind


def values(
    measures: Iterable[Mapping[str, Any]], scans: Iterable[Mapping[str, Any]] = ()
) -> list[Value]:
    """One `Value` per key and dpi, in order of first appearance.

    Parameters
    ----------
    measures, scans : iterable of mapping
        As in the document ``scanqa.qualification/1``; measures without a value are left out.
    """
    sampled = {scan.get("file"): round(scan["dpi"][0]) for scan in scans if scan.get("dpi")}
    usual = min(sampled.values(), default=0)  # for what is put together from several scans
    groups: dict[tuple[Key, int], list[Mapping[str, Any]]] = {}
    for m in measures:
        if m["value"] is None or m["name"] not in CATALOGUE:
            continue
        key = (m["name"], m["direction"] or "", m["channel"] or "", m["edge_kind"] or "")
        dpi = sampled.get(m.get("scan"), usual) if key[0].startswith(BY_DPI) else 0
        groups.setdefault((key, dpi), []).append(m)
    return [_value(key, dpi, group) for (key, dpi), group in groups.items()]


def _value(key: Key, dpi: int, group: list[Mapping[str, Any]]) -> Value:
    numbers = [float(m["value"]) for m in group]
    stated = [float(m["uncertainty"]) for m in group if m["uncertainty"] is not None]
    n = len(numbers)
    spread = 1.2533 * statistics.stdev(numbers) / n**0.5 if n > 1 else 0.0
    typical = statistics.median(stated) / n**0.5 if stated else 0.0
    uncertainty = max(spread, typical)
    bounded = sum(m["status"] == "lower-bound" for m in group) * 2 > n
    return Value(
        *key,
        dpi=dpi,
        method_version=CATALOGUE[key[0]].version,
        value=statistics.median(numbers),
        uncertainty=uncertainty if uncertainty > 0 else None,
        unit=CATALOGUE[key[0]].unit,
        count=n,
        at_least=bounded,
    )
