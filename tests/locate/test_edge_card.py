"""A light piece on black, and what is like it but is none."""

import numpy as np
import pytest
from scipy import ndimage

from scanqa.locate.edge_card import is_edge_card

PX_PER_MM = 3.3  # the piece is 76 by 48 mm


def scene(turn_deg, size=(250, 160), *, light=0.85, ground=0.03, shift=(0, 0)):
    """A piece of so many pixels, turned about the middle of 600 x 450."""
    y, x = np.mgrid[:600, :450].astype(float)
    y, x = y - 300 - shift[1], x - 225 - shift[0]
    cos, sin = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    inside = (np.abs(x * cos + y * sin) < size[1] / 2) & (np.abs(y * cos - x * sin) < size[0] / 2)
    made = ndimage.gaussian_filter(np.where(inside, light, ground), 0.8)
    return made + np.random.default_rng(3).normal(0, 0.01, made.shape)


@pytest.mark.parametrize("turn_deg", [-8.0, -5.0, 3.0, 5.0])
def test_a_turned_piece_on_black_is_an_edge_card(turn_deg):
    assert is_edge_card(scene(turn_deg), PX_PER_MM)


def test_what_is_not_one_is_not_taken_for_one():
    assert not is_edge_card(scene(0.0), PX_PER_MM)  # upright: paper laid against the frame
    assert not is_edge_card(scene(5.0, (560, 420)), PX_PER_MM)  # paper that nearly covers the glass
    assert not is_edge_card(scene(5.0, ground=0.4), PX_PER_MM)  # grey ground
    assert not is_edge_card(scene(5.0, shift=(140, 0)), PX_PER_MM)  # runs out of the image
    two = np.maximum(scene(5.0, (100, 100), shift=(-90, 0)), scene(5.0, (100, 100), shift=(90, 0)))
    assert not is_edge_card(two, PX_PER_MM)
    printed = scene(5.0)
    printed[220:380:6] *= np.where(printed[220:380:6] > 0.5, 0.3, 1.0)
    assert not is_edge_card(printed, PX_PER_MM)


def test_a_leaf_of_a_book_is_too_large_to_be_one():
    """The same picture, 180 by 114 mm: about A5, loose on an open lid."""
    assert not is_edge_card(scene(5.0), 1.4)
