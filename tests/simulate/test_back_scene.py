"""What shines through a simulated page against the two-flux formula, worked out by hand."""

import numpy as np
import pytest

from scanqa.sheets import sheet
from scanqa.simulate.exposure import scan
from scanqa.simulate.scenes import BLACK_CARD, BackPrintScene, Paper
from tests.simulate.test_scenes import CLEAN

BARE = Paper(0.86, (1.0, 1.0, 1.0), texture=0.0)
DPI = 75


def test_a_pad_of_the_paper_is_as_light_as_the_paper_and_black_shows_its_opacity():
    """ISO 2471: opacity is the reflectance on black over that of a pad."""
    scene = BackPrintScene(sheet("back-print-a4"), paper=BARE, opacity=0.9)
    assert scene.reflectance(0.86) == pytest.approx(0.86)
    assert scene.reflectance(0.0) / scene.reflectance(0.86) == pytest.approx(0.9)


def test_the_sum_of_all_passes_of_light():
    """The geometric series behind the formula, summed term by term."""
    scene = BackPrintScene(sheet("back-print-a4"), paper=BARE, opacity=0.9)
    on_black = 0.9 * 0.86
    squared = (scene.reflectance(0.84) - on_black) / (0.84 / (1 - on_black * 0.84))
    series = sum(squared * 0.84 * (on_black * 0.84) ** passes for passes in range(200))
    assert scene.reflectance(0.84) == pytest.approx(on_black + series, abs=1e-9)
    # T² from its own definition: with a pad behind it nothing changes.
    assert squared == pytest.approx((0.86 - on_black) * (1 - on_black * 0.86) / 0.86)


@pytest.mark.parametrize(("backing", "turn_deg"), [(0.84, 0.0), (0.84, 181.0), (BLACK_CARD, 0.0)])
def test_blocks_lie_where_the_sheet_says_and_are_as_dark_as_they_should(backing, turn_deg):
    scene = BackPrintScene(
        sheet("back-print-a4"), (3.0, 4.0), turn_deg, backing=backing, paper=BARE
    )
    made = scan(scene, CLEAN, dpi=DPI, rng=np.random.default_rng(1))
    (piece,) = scene.sheet.pieces
    to_px = made.truth.to_px["sheet"]
    light = {0.0: [], 1.0: []}
    for patch in piece.back_patches:
        left, top, right, bottom = patch.box_mm
        middle = np.array([(left + right) / 2, (top + bottom) / 2])
        x, y = np.rint(to_px[:, :2] @ middle + to_px[:, 2]).astype(int)
        light[patch.cover].append(made.pixels[y - 9 : y + 9, x - 9 : x + 9, 1].mean())
    seen = 100 * (1 - np.mean(light[1.0]) / np.mean(light[0.0]))
    # 8 bits, linear: half a code of 219 is 0.2 %, and every block is rounded alike.
    assert seen == pytest.approx(scene.show_through_percent(), abs=0.4)
    assert (scene.show_through_percent() > 5) == (backing == 0.84)
