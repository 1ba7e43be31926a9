import hashlib

import numpy as np
import pytest

from scanqa.model import Window
from scanqa.scans.array import ArrayScan


def test_grey_without_a_channel_axis_gets_one():
    scan = ArrayScan(np.arange(12, dtype=np.uint8).reshape(3, 4))
    assert (scan.height_px, scan.width_px, scan.channels, scan.bits) == (3, 4, 1, 8)
    assert scan.window(Window(1, 2, 2, 2)).tolist() == [[[6], [7]], [[10], [11]]]


def test_strips_join_to_the_image():
    pixels = np.random.default_rng(2).integers(0, 65536, (50, 7, 3), np.uint16)
    scan = ArrayScan(pixels)
    rows, strips = zip(*scan.strips(16), strict=True)
    assert rows == (0, 16, 32, 48)
    np.testing.assert_array_equal(np.concatenate(strips), pixels)
    assert scan.bits == 16
    assert scan.sha256 == hashlib.sha256(pixels.tobytes()).hexdigest()


@pytest.mark.parametrize("window", [Window(0, 0, 4, 1), Window(2, 0, 2, 1), Window(0, 3, 1, 2)])
def test_a_window_outside_is_an_error(window):
    with pytest.raises(ValueError, match="outside"):
        ArrayScan(np.zeros((3, 4), np.uint8)).window(window)


@pytest.mark.parametrize(
    "pixels",
    [np.zeros((3, 4, 2), np.uint8), np.zeros(3, np.uint8), np.zeros((3, 4)), np.zeros((0, 4, 3))],
)
def test_what_is_not_an_image_is_refused(pixels):
    with pytest.raises(ValueError, match="expected"):
        ArrayScan(pixels)
