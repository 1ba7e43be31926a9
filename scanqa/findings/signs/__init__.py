"""What can be seen in the results that asks for an explanation, or speaks for or against one.

A *sign* has a severity if it asks for an explanation by itself; without one it is only evidence.
``observe`` gives for each sign that the scans could show what was found: nothing, if it is absent.
A sign that could not be measured is not there at all, so that it speaks neither for nor against.

Limits are in physical units, with the reason beside each; where none is given it is common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.findings.signs import detail, driver, light, shape, spots, unrest
from scanqa.findings.signs.sign import EVIDENCE, Sign, Signs, measures_of, names_of
from scanqa.model import Results, ScanFacts

__all__ = ["EVIDENCE", "Sign", "Signs", "measures_of", "names_of", "observe"]


def observe(results: Results, scans: Sequence[ScanFacts], earlier: Results | None = None) -> Signs:
    """Signs that were looked for, and what was found of each.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner.
    scans : sequence of ScanFacts
        The scans that it was measured on.
    earlier : Results or None
        What the same scanner gave before, with the same kind of scans.
    """
    signs: Signs = {}
    for seen in (
        spots.lines(results),
        spots.marks(results),
        detail.sharpness(results, scans),
        detail.softer_places(results, scans),
        light.veil(results),
        light.evenness(results),
        light.edges(results),
        light.drift(results),
        unrest.noise(results),
        unrest.fainter(results, earlier),
        unrest.banding(results),
        detail.fringes(results),
        driver.claim(results),
        driver.processing(results, scans),
        shape.geometry(results, scans),
        light.gutter(results),
    ):
        for name, found in seen:
            signs[name] = signs.get(name, ()) + found
    return signs
