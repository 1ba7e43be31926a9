"""Toner: how black, how grey, how ragged, and the same however the page is cut into strips."""

from dataclasses import replace

import numpy as np

from scanqa.simulate.coverage import Shape
from scanqa.simulate.exposure import scan
from scanqa.simulate.laser import Toner, ink, lay_over
from scanqa.simulate.scenes import Laid
from tests.simulate.bench import WHITE, changed
from tests.simulate.test_sharpness_truth import PHASES, edge, response

CELL_MM = 25.4 / 2400


def page(ring, cover=1.0, toner=None):
    shape = Shape((np.asarray(ring, float),), cover)
    return ink([shape], toner or Toner(), bare=0.05, to_page=np.eye(2, 3))


def laid(picture, *, rows, cols, top=0, left=0):
    """Light that the toner leaves on a grid of its own cells."""
    fine = np.ones((rows, cols), np.float32)
    to_glass = np.array([[CELL_MM, 0, left * CELL_MM], [0, CELL_MM, top * CELL_MM]])
    lay_over(fine, picture, to_glass)
    return fine


SQUARE = [[1.0, 1.0], [5.0, 1.2], [4.8, 5.2], [0.8, 5.0]]


def test_solid_is_black_and_bare_paper_is_bare():
    light = laid(page(SQUARE), rows=600, cols=600)
    assert np.median(light[200:400, 200:400]) == np.float32(0.05)
    assert light[200:400, 200:400].mean() < 0.052
    assert np.all(light[580:] == 1.0)
    area = (light < 0.5).sum() * CELL_MM**2
    assert abs(area - 16.04) < 0.35  # of 16 mm of edges: 20 µm on average


def test_strips_and_windows_of_a_page_join():
    picture = page(SQUARE)
    whole = laid(picture, rows=600, cols=600)
    parts = [laid(picture, rows=120, cols=600, top=t) for t in range(0, 600, 120)]
    np.testing.assert_allclose(np.vstack(parts), whole, atol=1e-4)
    part = laid(picture, rows=100, cols=130, top=77, left=51)
    np.testing.assert_allclose(part, whole[77:177, 51:181], atol=1e-4)


def test_another_seed_is_another_print():
    one, other = (laid(page(SQUARE, toner=Toner(seed=s)), rows=600, cols=600) for s in (1, 2))
    differs = one != other
    assert differs.any()
    assert differs.mean() < 0.02  # only along edges, and stray grains


def test_greys_are_screened_and_rise_with_their_cover():
    box = [[0.0, 0.0], [6.0, 0.0], [6.0, 6.0], [0.0, 6.0]]
    dark = [
        1 - laid(page(box, cover), rows=400, cols=400)[60:340, 60:340].mean() / 1.0
        for cover in (0.1, 0.2, 0.35, 0.5, 0.65, 0.8)
    ]
    assert np.all(np.diff(dark) > 0.03)
    # Half cover: clustered dots and holes are alike, so toner covers half, give or take spread.
    assert abs(dark[3] / 0.95 - 0.5) < 0.06
    codes = np.unique(laid(page(box, 0.5), rows=400, cols=400)[60:340, 60:340])
    assert codes.min() == np.float32(0.05)  # dots, not an even grey
    assert codes.max() == 1.0


def test_edges_wander_by_the_grain_and_the_dots():
    light = laid(page(edge("across").rings[0] - np.array([2.35, 0.0])), rows=900, cols=1000)
    place = light[20:-20].argmin(axis=1) * CELL_MM * 1000  # µm, of the first black cell
    rows = np.arange(len(place))
    off = place - np.polyval(np.polyfit(rows, place, 1), rows)
    inner = off[np.abs(off) < 60]  # stray grains lie further out
    assert len(inner) > 0.8 * len(off)
    # The corner of a 42 µm dot is off by up to 21 µm: 12 µm rms evenly spread; the spot smooths it.
    assert 3.0 < inner.std() < 20.0


def test_a_printed_edge_is_softer_than_the_scanner_and_a_cut_one_is_not():
    class Both:
        def __init__(self, cut):
            self.cut = cut

        def lay(self, glass_mm):
            ring = edge("across").rings[0]
            if self.cut:
                return Laid(0.8, WHITE, over=(Shape((ring,), 0.035),))
            return Laid(0.8, WHITE, inks=(page(ring, toner=Toner(scatter=0.03)),))

    sharp = changed(optics=replace(changed().optics, blur_across_um=12.0, blur_travel_um=12.0))
    loss = []
    for cut in (True, False):
        simulated = scan(Both(cut), sharp, dpi=600, rng=np.random.default_rng(1))
        picture = simulated.pixels[100:180, :, 1] / 65535
        # Mean over five edges of PHASES rows each, brought to the same place.
        curves = []
        for i in range(5):
            rows = np.zeros((64, 260))
            rows[48:] = picture[i * PHASES : (i + 1) * PHASES, 20 + i : 280 + i]
            curves.append(rows)
        f, measured = response(np.mean(curves, axis=0))
        truth = simulated.truth.sfr(f * 600 / 25.4, direction="across", channel="green")
        at = (f > 0.3) & (f < 0.4)
        loss.append(float(np.mean(np.abs(truth[at]) - measured[at])))
    assert abs(loss[0]) < 0.01
    assert loss[1] > 0.04
