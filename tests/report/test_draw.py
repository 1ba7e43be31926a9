"""Drawings: pixels survive, lengths are to scale, what is drawn is where it is."""

import base64
import io
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from scanqa.model import Curve
from scanqa.report.draw.bed_plan import AROUND, glass
from scanqa.report.draw.limit_bar import WIDTH, bar
from scanqa.report.draw.page_strip import spine_strip
from scanqa.report.draw.png import data_uri
from scanqa.report.draw.strokes import strokes
from scanqa.report.draw.svg import element, short
from scanqa.report.sections.pictures import along_itself, unstretched
from scanqa.report.view import Bar, Glass, Place, SpineStrip, Strokes


@settings(deadline=None, max_examples=40)
@given(st.integers(1, 40), st.integers(1, 40), st.booleans(), st.integers(0, 9))
def test_a_png_written_here_is_read_alike_by_another_library(rows, columns, colour, seed):
    """ISO/IEC 15948, read by Pillow."""
    shape = (rows, columns, 3) if colour else (rows, columns)
    pixels = np.random.default_rng(seed).integers(0, 256, shape, np.uint8)
    data = base64.b64decode(data_uri(pixels).partition(",")[2])
    read = Image.open(io.BytesIO(data))
    assert np.array_equal(np.asarray(read.convert("RGB" if colour else "L")), pixels)


def widths(svg, kind):
    found = re.search(rf'<rect x="([\d.]+)" y="[\d.]+" width="([\d.]+)"[^>]*class="{kind}', svg)
    return float(found[1]), float(found[2])


@given(st.floats(0.01, 1e4), st.floats(0.1, 10.0), st.booleans())
def test_a_bar_is_as_long_as_its_value_against_its_limit(limit, ratio, higher):
    value = ratio * limit
    svg = bar(Bar(value, value, value, limit, higher, "fit"))
    start, length = widths(svg, "value")
    at = float(re.findall(r'd="M([\d.]+) 0L', svg)[-1]) - start
    assert length / at == pytest.approx(ratio, rel=0.01)  # numbers have two decimals
    left, kept = widths(svg, "kept")
    assert (left >= at) if higher else (left + kept <= at + 2 * start + 1)


def test_an_end_that_is_open_has_an_arrow_and_one_that_is_not_a_stop():
    ends = [bar(Bar(300.0, low, high, 273.0, True, "fit")) for low, high in
            ((280.0, None), (280.0, 320.0), (None, 320.0))]  # fmt: skip
    arrows = [len(re.findall(r'd="M[\d.]+ 5L[\d.]+ 9L', svg)) for svg in ends]
    assert arrows == [1, 0, 1]
    assert all(f'viewBox="0 0 {WIDTH} 18"' in svg for svg in ends)


def test_a_finding_stands_on_the_glass_where_it_was_measured():
    places = (
        Place("1", "line", (71.3, 0.0, 71.3, 297.0)),
        Place("2", "spot", (99.5, 149.0, 100.5, 150.0), sure=False),
        Place("3", "strip", (0.0, 0.0, 3.0, 297.0)),
    )
    svg = glass(Glass("t", "c", "a", (210.0, 297.0), places, "left"))
    bed = re.search(r'<rect x="34" y="34" width="([\d.]+)" height="([\d.]+)" class="glass"', svg)
    scale = float(bed[1]) / 210.0
    assert float(bed[2]) == pytest.approx(297.0 * scale, abs=0.05)  # to scale in both ways
    line = re.search(r'd="M([\d.]+) [\d.]+L[\d.]+ [\d.]+" class="streak dark"', svg)
    assert float(line[1]) == pytest.approx(AROUND + 71.3 * scale, abs=0.05)
    spot = re.search(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="[\d.]+" class="ring unsure"', svg)
    assert float(spot[1]) == pytest.approx(AROUND + 100.0 * scale, abs=0.05)
    assert float(spot[2]) == pytest.approx(AROUND + 149.5 * scale, abs=0.05)
    assert [words for words in re.findall(r'class="mark">(\d)<', svg)] == ["1", "2", "3"]
    assert "spine side" in svg


def test_the_border_of_the_paper_is_drawn_to_scale_and_cut_off_at_the_glass():
    border = ((3.0, -2.0), (230.0, 1.0), (229.0, 290.0), (2.0, 287.0))
    svg = glass(Glass("t", "c", "a", (210.0, 297.0), (), papers=(border,)))
    around = r'<svg x="34" y="34" width="([\d.]+)" height="([\d.]+)">'
    inside = re.search(around + r'<path d="M([^"]+)Z" class="border"/>', svg)
    scale = float(inside[1]) / 210.0
    assert float(inside[2]) == pytest.approx(297.0 * scale, abs=0.05)
    drawn = np.array([[float(v) for v in at.split()] for at in inside[3].split("L")])
    assert np.abs(drawn / scale - border).max() < 0.02
    assert svg.index('class="border"') > svg.index('class="glass"')  # on it, under all findings


def test_numbers_that_would_cover_each_other_move_apart():
    places = tuple(Place(str(n), "line", (50.0 + n, 0.0, 50.0 + n, 297.0)) for n in range(5))
    svg = glass(Glass("t", "c", "a", (210.0, 297.0), places))
    at = [float(x) for x in re.findall(r'<circle cx="([\d.-]+)" cy="[\d.]+" r="8.5"', svg)]
    gaps = np.diff(sorted(at))
    assert len(at) == 5
    assert gaps.min() > 15


def test_pixels_that_were_stretched_come_back_and_a_line_along_itself_stands_out():
    rng = np.random.default_rng(3)
    scan = rng.normal(244, 1.5, (96, 96))
    scan[:, 40] -= 2.0  # hidden in the grain of single rows
    codes = (240.0, 248.0)
    shown = np.clip((scan - codes[0]) * 255 / 8, 0, 255).round().astype(np.uint8)
    back = unstretched(shown, codes)
    inside = (scan > 240) & (scan < 248)
    assert np.abs(back[inside] - scan[inside]).max() <= 0.6  # a rounding, twice
    strong, times = along_itself(back, axis=0)
    assert np.all(strong == strong[0])
    assert int(np.argmin(strong[0])) == 40
    assert times > 50


def test_strokes_and_spine_say_where_things_are():
    x = np.linspace(0.03, 0.6, 50)
    svg = strokes(Strokes("t", "c", "a", (Curve("across", x, x / 0.6),), ((0.26, "excellent"),)))
    assert "width of a stroke, mm" in svg
    assert "curve-0" in svg
    mm = np.linspace(0.1, 20, 60)
    drop = 16 * np.exp(-mm / 3)
    svg = spine_strip(SpineStrip("t", "c", "a", Curve("", mm, drop), ((3.5, "5 L* darker"),), "mm"))
    greys = [int(level) for level in re.findall(r"rgb\((\d+),", svg)]
    assert greys == sorted(greys)  # brighter away from the spine
    assert "5 L* darker" in svg


def test_svg_numbers_are_short_and_words_escaped():
    assert short(-0.001) == "0"
    assert short(12.3456) == "12.35"
    assert element("text", x=1.0, class_='a"b') == '<text x="1" class="a&quot;b"/>'
