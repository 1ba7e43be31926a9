"""Marks of known place and size on the glass, specks in paper that moves; seeds in each test."""

import numpy as np
import pytest

from scanqa.measures import glass
from scanqa.model import Told
from tests.measures.blank_paper import MM, light_of_paper, scanned

DPI = 300
SHAPE = (2000, 1600)
Y, X = np.mgrid[: SHAPE[0], : SHAPE[1]]


def disc(light, x, y, radius, factor):
    light[(X - x) ** 2 + (Y - y) ** 2 <= radius**2] *= factor


def line(light, start, end, width, factor):
    (x0, y0), (x1, y1) = start, end
    length = np.hypot(x1 - x0, y1 - y0)
    along = ((X - x0) * (x1 - x0) + (Y - y0) * (y1 - y0)) / length
    off = np.abs((X - x0) * (y1 - y0) - (Y - y0) * (x1 - x0)) / length
    light[(off <= width / 2) & (along >= 0) & (along <= length)] *= factor


def blank(seed, *changes, name="blank.tif", **paper):
    light, rng = light_of_paper(seed, SHAPE, dpi=DPI, **paper)
    for change in changes:
        change(light)
    return scanned(light, rng, dpi=DPI, name=name)


def on_the_glass(light):
    disc(light, 500, 700, 4, 0.7)
    disc(light, 1200, 1500, 3, 1.15)
    line(light, (900, 300), (1150, 600), 1.6, 0.85)


def test_what_stays_is_a_mark_and_what_moves_is_not():
    one = blank(1, on_the_glass, lambda light: disc(light, 300, 1500, 4, 0.6))
    other = blank(2, on_the_glass, lambda light: disc(light, 700, 1300, 4, 0.6))
    results = glass.measure([one, other], Told())
    assert results.named("glass.marks")[0].value == 3
    by_place = {(round(m.at_mm[0]), round(m.at_mm[1])): m for m in results.marks}
    spot = by_place[(42, 59)]  # 500.5 and 700.5 px of 25.4/300 mm
    assert spot.kind == "spot"
    assert spot.polarity == "dark"
    assert spot.contrast_percent == pytest.approx(30, rel=0.1)
    assert spot.size_mm == pytest.approx((9 * MM / DPI, 9 * MM / DPI), abs=2 * MM / DPI)
    assert spot.at_mm == pytest.approx((500.5 * MM / DPI, 700.5 * MM / DPI), abs=MM / DPI)
    bright = by_place[(102, 127)]
    assert bright.polarity == "bright"
    (scratch,) = [m for m in results.marks if m.kind == "scratch"]
    assert scratch.at_mm == pytest.approx((1025.5 * MM / DPI, 450.5 * MM / DPI), abs=1.0)
    assert scratch.size_mm == pytest.approx((250 * MM / DPI, 300 * MM / DPI), rel=0.1)


@pytest.mark.parametrize(
    ("start", "end"),
    [((400, 900), (700, 900)), ((800, 400), (800, 700)), ((400, 400), (600, 1000))],
)
def test_scratches_of_any_direction(start, end):
    def change(light):
        line(light, start, end, 1.6, 0.85)

    (mark,) = glass.measure([blank(3, change), blank(4, change)], Told()).marks
    assert mark.kind == "scratch"
    assert mark.size_mm[0] == pytest.approx(abs(end[0] - start[0]) * MM / DPI, abs=1.0)
    assert mark.size_mm[1] == pytest.approx(abs(end[1] - start[1]) * MM / DPI, abs=1.0)


def test_clean_glass_has_no_marks():
    for seed in range(3):
        pair = [blank(10 + 2 * seed, pattern=0.003), blank(11 + 2 * seed, pattern=0.003)]
        results = glass.measure(pair, Told())
        assert results.marks == ()
        assert results.named("glass.marks")[0].value == 0


def test_a_streak_is_no_mark():
    def change(light):
        light[:, 700] *= 0.97
        light[:, 900:912] *= 0.98

    assert glass.measure([blank(20, change), blank(21, change)], Told()).marks == ()


def test_one_scan_reports_no_mark_and_says_why():
    results = glass.measure([blank(30, on_the_glass)], Told())
    assert results.marks == ()
    (number,) = results.measurements
    assert number.status == "not-measurable"
    assert "speck in the paper" in number.reason
    assert "moved" in number.reason


def test_crop_shows_the_mark():
    results = glass.measure([blank(40, on_the_glass), blank(41, on_the_glass)], Told())
    crop = results.evidence[0]
    assert crop.image.dtype == np.uint8
    side = crop.image.shape[0]
    middle = crop.image[side // 2 - 2 : side // 2 + 3, side // 2 - 2 : side // 2 + 3]
    assert middle.mean() < crop.image[:8].mean() - 60


def test_contrast_on_smooth_paper():
    """A disc of nine pixels that takes 30 % of the light, where grain is 0.2 %."""
    pair = [blank(seed, on_the_glass, texture=0.002) for seed in (1, 2)]
    assert glass.measure(pair, Told()).marks[0].contrast_percent == pytest.approx(30.0, rel=0.02)


def test_paper_at_the_top_of_the_scale_counts_no_marks():
    """A mark that is brighter than the top code, or hardly darker, is hidden there."""

    def brighter(light):
        light *= 1.5

    scans = [blank(seed, brighter, name=f"{seed}.tif") for seed in (1, 2)]
    results = glass.measure(scans, Told())
    (number,) = results.measurements
    assert (number.status, number.reason_kind) == ("not-measurable", "clipped")


def test_what_takes_less_light_than_the_least_mark_of_a_whole_bed_is_none():
    """Fine blocks of a small image share faint spots by chance: 0.5 % on 0.04 mm² is noise."""
    faint = glass.Mark((5.0, 76.0), (0.25, 0.17), 0.48, "bright", "spot", "blank.tif")
    speck = glass.Mark((5.0, 76.0), (0.17, 0.17), 8.0, "dark", "spot", "blank.tif")
    assert not glass._covers(faint)
    assert glass._covers(speck)
