"""Exact areas: against the shoelace formula and against brute force."""

import numpy as np
from hypothesis import example, given, settings
from hypothesis import strategies as st
from skimage.draw import polygon2mask

from scanqa.simulate.coverage import Shape, covered, layers, paint

places = st.floats(-4, 14, allow_nan=False)
triangles = st.lists(st.tuples(places, places), min_size=3, max_size=3)


def edges_of(ring):
    return layers([Shape((np.asarray(ring, float),), 1.0)])[0].edges


def shoelace(ring):
    x, y = np.asarray(ring, float).T
    return abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1))) / 2


def test_a_rectangle_covers_the_cells_it_should():
    share = covered(edges_of([[1.25, 1.5], [4.5, 1.5], [4.5, 3.25], [1.25, 3.25]]), 5, 6)
    across = np.array([0, 0.75, 1, 1, 0.5, 0])
    down = np.array([0, 0.5, 1, 0.25, 0])
    np.testing.assert_allclose(share, np.outer(down, across), atol=1e-6)


@settings(deadline=None, max_examples=60)
@given(triangles)
def test_the_total_is_the_area_of_the_polygon(ring):
    share = covered(edges_of(np.asarray(ring) + 6), 24, 24)
    assert abs(share.sum() - shoelace(ring)) < 1e-3  # of up to 160 cells: float32


@settings(deadline=None, max_examples=40)
@given(triangles)
@example([(0.0, 0.0), (0.0, 5e-324), (1.0, 0.0)])  # too flat for a slope
def test_a_grid_is_a_window_of_a_larger_one(ring):
    ring = np.asarray(ring)
    large = covered(edges_of(ring + 6), 24, 24)
    np.testing.assert_allclose(covered(edges_of(ring), 10, 10), large[6:16, 6:16], atol=2e-5)


@settings(deadline=None, max_examples=40)
@given(triangles)
def test_the_sense_of_a_ring_does_not_matter(ring):
    one, other = covered(edges_of(ring), 10, 10), covered(edges_of(ring[::-1]), 10, 10)
    np.testing.assert_allclose(one, other, atol=2e-5)


def test_cells_agree_with_brute_force():
    ring = np.array([[1.3, 0.4], [8.9, 2.2], [6.1, 9.3], [5.0, 4.0]])
    fine = 64
    # skimage samples at whole numbers: the middle of a fine cell is half a cell further.
    mask = polygon2mask((10 * fine, 10 * fine), ring[:, ::-1] * fine - 0.5)
    brute = mask.reshape(10, fine, 10, fine).mean(axis=(1, 3))
    # A fine cell more or less along an edge of at most 1.5 cells: 1.5 / 64.
    np.testing.assert_allclose(covered(edges_of(ring), 10, 10), brute, atol=0.024)
    assert abs(covered(edges_of(ring), 10, 10).mean() - brute.mean()) < 5e-4


def test_holes_stay_open():
    outer = np.array([[1, 1], [9, 1], [9, 9], [1, 9]], float)
    hole = np.array([[3, 3], [3, 7], [7, 7], [7, 3]], float)
    picture = layers([Shape((outer, hole), 0.2)])
    out = paint(picture, 0.8, left=0, top=0, rows=10, cols=10)
    assert np.isclose(out[5, 5], 0.8)
    assert np.isclose(out[2, 5], 0.2)
    assert np.isclose(out[0, 0], 0.8)


def test_later_shapes_lie_on_earlier_ones_and_parts_are_averaged():
    def square(a, b):
        return np.array([[a, a], [b, a], [b, b], [a, b]], float)

    shapes = [Shape((square(1, 200),), 0.1), Shape((square(2.5, 150),), 0.9)]
    shapes += [Shape((square(60, 61.5),), 0.1)]
    out = paint(layers(shapes), 0.8, left=0, top=0, rows=210, cols=210)
    assert np.isclose(out[0, 0], 0.8)
    assert np.isclose(out[1, 100], 0.1)
    assert np.isclose(out[2, 100], 0.5)  # half of it is the second square
    assert np.isclose(out[100, 100], 0.9)
    assert np.isclose(out[61, 60], 0.5)  # half of it is the third
    assert np.isclose(out[205, 205], 0.8)


def test_strips_join_without_a_seam():
    rng = np.random.default_rng(3)
    shapes = [Shape((rng.uniform(0, 300, (4, 2)),), float(v)) for v in rng.uniform(0, 1, 12)]
    picture = layers(shapes)
    whole = paint(picture, 0.8, left=-3, top=-5, rows=300, cols=320)
    parts = [paint(picture, 0.8, left=-3, top=t - 5, rows=60, cols=320) for t in range(0, 300, 60)]
    np.testing.assert_allclose(np.vstack(parts), whole, atol=2e-5)
