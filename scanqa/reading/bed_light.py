"""Light of a whole scan by its preview, made once for all that asks in a row."""

from __future__ import annotations

from functools import lru_cache

from scanqa.model import Floats, Linear, Overview, Placement
from scanqa.numeric.lightness import luma

KEPT = 2  # two blanks; each is some megabytes, and families go through their scans in turn


def bed_luma(placement: Placement) -> Floats:
    """Luma of the preview in linear light, (rows, columns); not to be written to."""
    return _bed_luma(placement.overview, placement.light)


@lru_cache(maxsize=KEPT)
def _bed_luma(overview: Overview, light: Linear) -> Floats:
    found = luma(light.light(overview.preview))
    found.flags.writeable = False
    return found
