"""Paper that lay still is told from paper that was moved, whatever the scanner adds itself."""

import numpy as np
import pytest

from scanqa.capture.moved import lay_still
from scanqa.scans.array import ArrayScan
from scanqa.scans.overview import overview
from tests.capture.fake import paper

SEED = 20261125


def seen(pixels):
    return overview(ArrayScan(pixels, dpi=(100, 100)))


def scanner(pixels, *, streaks=0.0, shading=0.0, dust=0):
    """The same shading, streaks and dust in every scan."""
    rng = np.random.default_rng(SEED)
    height, width = pixels.shape[:2]
    gain = 1 + streaks * rng.standard_normal(width)
    fall = 1 - shading * np.linspace(-1, 1, height) ** 2
    out = pixels * gain[None, :, None] * fall[:, None, None]
    rows, columns = rng.integers(0, height, dust), rng.integers(0, width, dust)
    out[rows, columns] *= 0.4
    return np.clip(out, 0, 255).round().astype(np.uint8)


@pytest.mark.parametrize("faults", [{}, {"streaks": 0.01, "shading": 0.2, "dust": 200}])
@pytest.mark.parametrize(("shift", "still"), [((0, 0), True), ((9, 4), False), ((80, 0), False)])
def test_moved_or_still(faults, shift, still):
    one = seen(scanner(paper(1), **faults))
    two = seen(scanner(paper(2, shift_px=shift), **faults))
    assert lay_still(one, two) is still


def test_noise_alone_is_not_taken_for_paper_that_lay_still():
    one, two = (seen(paper(seed, texture=0.0, noise=2.0)) for seed in (1, 2))
    assert lay_still(one, two) is False


def test_no_texture_and_another_size_cannot_be_told():
    flat = seen(np.full((236, 197, 3), 255, np.uint8))
    assert lay_still(flat, flat) is None
    assert lay_still(seen(paper(1)), seen(paper(1, size_mm=(40, 60)))) is None
