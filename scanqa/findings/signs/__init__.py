"""What can be seen in the results that asks for an explanation, or speaks for or against one.

A *sign* that asks for an explanation is a `scanqa.model.Seen` (or several); others are only
evidence, there or not. ``observe`` gives for each sign that the scans could show what was found:
nothing, if it is absent. A sign that could not be measured is not there at all, so that it speaks
neither for nor against.

Limits are in physical units, with the reason beside each; where none is given it is common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.findings.signs import by_driver, detail, light, shape, spots, unrest
from scanqa.findings.signs.sign import Found, Signs, asking
from scanqa.model import Results, ScanFacts
from scanqa.summary import Summary

__all__ = ["Found", "Signs", "asking", "observe"]


def observe(
    results: Results,
    measured: Sequence[Summary],
    scans: Sequence[ScanFacts],
    earlier: Sequence[Summary] = (),
) -> Signs:
    """Signs that were looked for, and what was found of each.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner: its streaks and marks.
    measured : sequence of Summary
        Its measurements.
    scans : sequence of ScanFacts
        The scans that it was measured on.
    earlier : sequence of Summary
        What the same scanner gave before, with the same kind of scans.
    """
    signs: Signs = {}
    for looked in (
        spots.lines(results, measured),
        spots.marks(results, measured),
        detail.sharpness(measured, scans),
        detail.softer_places(measured, scans),
        light.veil(measured),
        light.evenness(measured),
        light.edges(measured),
        light.drift(measured),
        unrest.noise(measured),
        unrest.fainter(measured, earlier),
        unrest.banding(measured),
        detail.fringes(measured),
        by_driver.claim(measured),
        by_driver.processing(measured, scans),
        shape.geometry(measured, scans),
        light.gutter(measured),
        light.depth(measured),
    ):
        signs.update(looked)
    return signs
