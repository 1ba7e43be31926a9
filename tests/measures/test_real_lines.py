"""Lines of a real sensor in the bare sheet above film strips; source and licence in `tests/real`.

Columns and heights were read apart from scanqa, with a few lines of numpy (SOURCES.md of the data):
true bright sensor streaks of +1 to +4 of 255 at columns 107, 416–417, 695–696 and 715, and at 104,
536, 651 and 835 on bare paper. The crop is the top 66 rows of ``film20240620_002.tif``, 16 bits.
"""

from pathlib import Path

import numpy as np
import tifffile

from scanqa.measures import streaks
from scanqa.model import Told
from tests.measures.blank_paper import placed

FILE = Path(__file__).parents[1] / "real" / "film20240620_002-top.tif"
FIRST, END = 25, 895  # columns of bare sheet
TRUE = (104.0, 107.0, 416.5, 536.0, 651.0, 695.5, 715.0, 835.0)
SURE = (416.5, 695.5, 715.0)


def test_true_streaks_of_a_real_sensor_are_found_and_no_others():
    pixels = np.ascontiguousarray(tifffile.imread(FILE)[:, FIRST:END])
    found = streaks.measure([placed(pixels, dpi=75)], Told()).streaks
    places = [streak.at_px + FIRST for streak in found]
    for place in SURE:
        assert any(abs(place - each) <= 1 for each in places), place
    for each in places:
        assert any(abs(place - each) <= 1 for place in TRUE), each
    assert {streak.polarity for streak in found} == {"bright"}
    assert {streak.axis for streak in found} == {"travel"}
    # +1 to +4 of 255 of codes are 0.9 to 4 % of light there (IEC 61966-2-1: slope 2.27 at 0.95)
    assert all(0.7 < streak.contrast_percent < 4.0 for streak in found)
    assert all(streak.signs.one_sample is None and not streak.signs.compared for streak in found)
