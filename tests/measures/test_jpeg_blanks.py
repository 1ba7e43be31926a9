"""Clean paper that went through JPEG: no lines, marks or bands of its blocks; bounds instead.

JPEG by OpenCV (libjpeg). The steps expected are those of ITU-T T.81, table K.1, scaled as the
Independent JPEG Group's encoder does: of the mean 16, times 0.2 at quality 90, 5/3 at 30; rounded.
"""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from scanqa.measures import banding, glass, streaks
from scanqa.model import Told, Window
from scanqa.reading.jpeg_grid import jpeg_grid
from tests.measures.blank_paper import MM, light_of_paper, placed, scanned

DPI, SHAPE = 300, (1600, 1200)


def blank(seed, quality, *, change=None, cut=(0, 0), **paper):
    """A scan that was JPEG and now lies in a lossless file, its first rows and columns cut off."""
    light, rng = light_of_paper(seed, SHAPE, dpi=DPI, **paper)
    if change is not None:
        change(light)
    scan = scanned(light, rng, dpi=DPI, channels=3, name=f"{seed}.tif")
    if quality is None:
        return scan
    pixels = scan.scan.window(Window(0, 0, *SHAPE))
    _, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    back = cv2.imdecode(data, cv2.IMREAD_COLOR)[cut[0] :, cut[1] :, ::-1]
    return placed(np.ascontiguousarray(back), dpi=DPI, name=f"{seed}.tif")


@pytest.mark.parametrize(("quality", "step"), [(90, 3), (75, 8), (50, 16), (30, 27)])
@pytest.mark.parametrize("cut", [(0, 0), (3, 5)])
def test_grid_and_levels_are_seen_in_plain_paper(quality, step, cut):
    found = jpeg_grid(blank(1, quality, cut=cut))
    assert (found.row, found.column) == ((-cut[0]) % 8, (-cut[1]) % 8)
    assert found.level == pytest.approx(step / 8, rel=0.15)


@pytest.mark.parametrize("texture", [0.002, 0.01])
def test_paper_that_was_never_compressed_has_no_grid(texture):
    for seed in range(6):
        assert jpeg_grid(blank(seed, None, texture=texture)) is None


@pytest.mark.parametrize("quality", [30, 60, 75, 90, 95])
def test_clean_paper_has_no_lines_marks_or_bands_but_bounds(quality):
    for first in (20, 22):
        pair = [blank(seed, quality) for seed in (first, first + 1)]
        lines, marks, bands = (m.measure(pair, Told()) for m in (streaks, glass, banding))
        assert lines.streaks == ()
        assert marks.marks == ()
        assert bands.named("banding.period") == ()
        said = {m.name: m for m in (*lines.measurements, *marks.measurements, *bands.measurements)}
        for name, status in (
            ("streaks.strongest_visible", "at-most"),
            ("streaks.column_pattern", "not-measurable"),
            ("glass.marks", "not-measurable"),
            ("banding.amplitude", "at-most"),
            ("banding.unsteadiness", "not-measurable"),
        ):
            assert (said[name].status, said[name].reason_kind) == (status, "compression"), name


@pytest.mark.parametrize("quality", [50, 75, 90])
def test_a_narrow_line_that_vanished_lies_under_the_bound(quality):
    def line(light):
        light[:, 600] *= 0.993

    found = streaks.measure([blank(30, quality, change=line)], Told())
    (value,) = found.named("streaks.strongest_visible")
    if value.status == "at-most":
        assert value.value >= 0.7
    else:
        assert value.status == "at-least"
        assert value.value <= 0.7 * 1.1


@pytest.mark.parametrize("quality", [75, 90])
def test_a_line_wider_than_the_blocks_is_found_where_it_is(quality):
    x = np.arange(SHAPE[1])
    width = 3.0 * DPI / MM
    off = np.abs(x - 600)
    line = np.where(off < width, np.cos(np.pi * off / (2 * width)) ** 2, 0).astype(np.float32)

    def change(light):
        light *= 1 - 0.04 * line

    (found,) = streaks.measure([blank(31, quality, change=change)], Told()).streaks
    assert abs(found.at_px - 600) < 8
    assert found.signs.one_sample is None


def test_below_150_dpi_the_width_of_a_line_says_nothing():
    light, rng = light_of_paper(32, (900, 700), dpi=75)
    light[:, 300] *= 0.98
    (found,) = streaks.measure([scanned(light, rng, dpi=75)], Told()).streaks
    assert found.signs.one_sample is None
    assert replace(found.signs, one_sample=False) != found.signs


@pytest.mark.parametrize("quality", [92, 97])
def test_a_line_thinned_by_the_search_in_blocks_lies_under_the_bound(quality):
    """1.5 % over four columns is a quarter of that over sixteen: it may not be found there."""

    def line(light):
        light[:, 600:604] *= 0.985

    found = streaks.measure([blank(31, quality, change=line)], Told())
    (value,) = found.named("streaks.strongest_visible")
    if value.status == "at-most":
        assert value.value >= 1.5
    else:
        assert value.value <= 1.5 * 1.1
