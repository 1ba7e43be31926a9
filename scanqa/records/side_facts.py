"""What a comparison shows besides differences: curves of both sides, how each was measured."""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Sequence
from typing import Literal

from scanqa.catalogue import GUTTER_DISTANCES_MM, RAMP_HEIGHTS_MM
from scanqa.model import Key, Record
from scanqa.model.compared import Profile, SideFacts
from scanqa.summary import Summary

Name = Literal["gutter", "light", "focus"]
CURVES: tuple[tuple[Name, str, tuple[int, ...]], ...] = (
    ("gutter", "gutter.delta_L_at_{}mm", GUTTER_DISTANCES_MM),
    ("light", "gutter.light_at_{}mm_height", RAMP_HEIGHTS_MM),
    ("focus", "gutter.focus_at_{}mm_height", RAMP_HEIGHTS_MM),
)


def profiles(
    first: Sequence[dict[Key, Summary]], second: Sequence[dict[Key, Summary]]
) -> tuple[Profile, ...]:
    """Curves that both sides have, put together from the values at fixed places."""
    found = []
    for name, pattern, places in CURVES:
        one, other = (
            tuple(point for x in places for point in _point(side, pattern.format(x), x))
            for side in (first, second)
        )
        if len(one) > 1 and len(other) > 1:
            found.append(Profile(name, (one, other)))
    return tuple(found)


def _point(
    side: Sequence[dict[Key, Summary]], name: str, x: float
) -> Iterator[tuple[float, float, float | None]]:
    """Median of one measure over the repeats, by luma where there are several channels."""
    found = [
        summary
        for summaries in side
        for key, summary in summaries.items()
        if key.name == name and key.channel in ("", "luma")
    ]
    values = [summary.value for summary in found if summary.value is not None]
    if values:
        stated = [u for summary in found if (u := summary.uncertainty) is not None]
        yield float(x), statistics.median(values), statistics.median(stated) if stated else None


def side_facts(records: Sequence[Record]) -> SideFacts:
    """How one side was measured."""
    scans = [scan for record in records for scan in record.scans]
    facts = {
        "depth": _each(f"{scan.bits} bit" for scan in scans),
        "file format": _each(scan.format for scan in scans),
        "light recovered by": _each(scan.light for scan in scans),
        "scanqa": _each(record.tool_version for record in records),
    }
    for record in records:
        for name, said in record.conditions.items():
            facts[name] = "; ".join(dict.fromkeys(filter(None, (facts.get(name, ""), said))))
    return SideFacts(
        scanner=records[0].scanner,
        records=len(records),
        days=tuple(dict.fromkeys(record.created[:10] for record in records)),
        roles=tuple(scan.role for scan in records[0].scans),
        dpis=tuple(sorted({round(v) for scan in scans for v in scan.dpi or ()})),
        lossy=any(scan.lossy for scan in scans),
        facts=facts,
    )


def _each(words: Iterator[str]) -> str:
    return ", ".join(dict.fromkeys(words))
