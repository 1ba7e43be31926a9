"""The table of light spread in paper against photons walked here, between its rows."""

import numpy as np
import pytest

from scanqa.catalogue import PAPERS
from scanqa.catalogue.paper_spread import KP_MM, kept_by_paper
from scanqa.simulate.photon_walk import kp_mm, response, walk

FREQUENCY = np.array([0.0, 1.5, 3.0, 6.0, 12.0])


@pytest.mark.parametrize("path_um", [3.0, 11.0, 23.0])
@pytest.mark.parametrize("edge", ["ink", "cut"])
def test_between_its_papers_it_is_what_another_walk_gives(path_um, edge):
    walked = walk(path_um, photons=60_000, seed=11)
    kept = kept_by_paper(FREQUENCY, kp_mm(walked), edge)
    assert kept[0] == pytest.approx(1.0, abs=1e-3)
    # 60,000 photons know a mean of unit size to 0.4 %; kp, a crossing of it, to some per cent
    np.testing.assert_allclose(kept, response(walked, FREQUENCY, edge), atol=0.02)


def test_what_is_not_said_may_be_any_paper():
    low, high = KP_MM[None]
    assert low <= min(KP_MM[kind][0] for kind in PAPERS)
    assert high == max(KP_MM[kind][1] for kind in PAPERS)


def test_beyond_its_papers_the_last_one_holds():
    np.testing.assert_array_equal(
        kept_by_paper(FREQUENCY, 5.0, "cut"), kept_by_paper(FREQUENCY, 50.0, "cut")
    )
