"""What is no border of a paper: a crease from side to side, the ends of strips that lie on it."""

import numpy as np
import pytest

from scanqa.reading.paper_border import find_border
from tests.traps.small_paper import MM, Bed, light_of_bed

DPI = 75.0


@pytest.mark.parametrize("turn_deg", [0.0, 1.5])
def test_a_crease_across_the_leaf_leaves_its_borders(turn_deg):
    bed = Bed(glass=(120.0, 160.0), paper=(8.0, -20.0, 112.0, 180.0), turn_deg=turn_deg, lid=0.1)
    light = light_of_bed(bed, dpi=DPI)
    y = (np.arange(len(light)) + 0.5) * MM / DPI
    light = light * (1 - 0.06 * np.exp(-((y - 80.0) ** 2) / (2 * 0.2**2)))[:, None]
    box = find_border(light, DPI / MM)
    assert box is not None
    assert set(box.open_sides) == {"left", "right"}
    lean = 80.0 * np.tan(np.radians(turn_deg))  # of the long sides at top and bottom
    assert box.left * MM / DPI == pytest.approx(8.0 + lean + 1.5, abs=1.2)
    assert box.right * MM / DPI == pytest.approx(112.0 - lean - 1.5, abs=1.2)
    assert (box.top, box.bottom) == (0, len(light))


@pytest.mark.parametrize("turn_deg", [0.0, 1.5])
@pytest.mark.parametrize("light_of_strips", [0.1, 0.5])
def test_ends_of_strips_on_the_paper_are_no_border(turn_deg, light_of_strips):
    bed = Bed(glass=(150.0, 220.0), paper=(8.0, -20.0, 190.0, 240.0), turn_deg=turn_deg, lid=0.1)
    light = light_of_bed(bed, dpi=DPI)
    y, x = ((np.arange(n) + 0.5) * MM / DPI for n in light.shape)
    on_strip = (y[:, None] % 33.0 > 12.0) & (x[None, :] > 48.0)
    box = find_border(np.where(on_strip, light_of_strips * light, light), DPI / MM)
    assert box is None or box.open_sides == ("left",)


@pytest.mark.parametrize("lid", [0.1, 0.6, 0.76])  # light; of the paper 0.84
def test_a_leaf_under_light_that_falls_off_keeps_its_borders(lid):
    """Shading of 12 % along the border, as lamps have (common practice, no source)."""
    bed = Bed(glass=(150.0, 220.0), paper=(30.0, 50.0, 190.0, 240.0), lid=lid)
    light = light_of_bed(bed, dpi=DPI)
    light = light * np.linspace(1.0, 0.88, len(light))[:, None]
    box = find_border(light, DPI / MM)
    assert box is not None
    assert set(box.open_sides) == {"left", "top"}
