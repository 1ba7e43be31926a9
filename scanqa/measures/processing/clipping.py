"""What a white that is cut off leaves of values that rest on it: a bound, or nothing.

Cut-off paper is flatter, quieter and darker than it was. Lines, bands, marks and noise are at the
least what is seen of them; a shadow is at the least as deep, for the level further in was higher;
light against that level is at the most what it seems. Nothing seen means nothing at all then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from scanqa.catalogue import FAMILIES
from scanqa.model import Measurement, Placement, Reason, Results, Status, as_bound, taken_back
from scanqa.reading.cut_off import clipped, clipped_share

LEFT: dict[str, Status] = {
    "streaks.strongest_visible": "at-least",
    "streaks.column_pattern": "at-least",
    "glass.marks": "at-least",
    "banding.amplitude": "at-least",
    "banding.unsteadiness": "at-least",
    "noise.total": "at-least",
    "noise.temporal": "at-least",
    "noise.fixed_pattern": "at-least",
    "noise.paper": "at-least",
    "noise.snr": "at-most",
    "noise.light_index": "at-most",
    "noise.gain": "at-least",
    "noise.read": "not-measurable",
    "shading.nonuniformity": "at-least",
    "shading.range_L": "at-least",
    "shading.deviation_L": "at-least",
    "shading.falloff_": "at-most",
    "edges.shadow_": "at-least",
    "edges.usable_": "at-most",
    "edges.lost_": "at-least",
    "gutter.plateau": "at-least",
    "gutter.delta_L_at_": "at-least",
    "gutter.reach_": "at-least",
    "gutter.lift_at_": "at-least",
    "gutter.light_at_": "at-most",
    "drift.level": "not-measurable",
    "drift.settle_time": "not-measurable",
    "tone.white": "at-least",
    "tone.response": "not-measurable",
    "colour.neutrality": "not-measurable",
    "colour.paper_a": "not-measurable",
    "colour.paper_b": "not-measurable",
    "veil.stray_light": "at-most",
    "backing.paper": "at-least",
    "backing.show_through": "at-least",
}


def bounded(results: Results, scans: Sequence[Placement]) -> Results:
    """Make bounds of values that rest on paper at the top of the scale, or take them back.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner.
    scans : sequence of Placement
        All of them. A value of no scan in particular counts for all of its family's.
    """
    found = [
        (clipped_share(placement), placement, why)
        for placement in scans
        if (why := clipped(placement)) is not None
    ]
    if not found:
        return results
    found.sort(key=lambda each: -each[0])

    def why_of(m: Measurement) -> Reason | None:
        roles = FAMILIES[m.name.partition(".")[0]].roles
        return next(
            (
                why
                for _, placement, why in found
                if m.scan == placement.scan.name or (not m.scan and placement.role in roles)
            ),
            None,
        )

    return replace(results, measurements=tuple(_left(m, why_of(m)) for m in results.measurements))


def _left(m: Measurement, why: Reason | None) -> Measurement:
    found = [status for start, status in LEFT.items() if m.name.startswith(start)]
    if why is None or not found or m.value is None:
        return m
    status = found[0]
    if m.status not in ("ok", status) or (status == "at-least" and m.value <= 0):
        status = "not-measurable"  # a bound from the other side, or that nothing was seen
    if status == "not-measurable":
        return taken_back(m, why)
    if m.status == status:
        return m  # a bound already
    return as_bound(m, status, why)
