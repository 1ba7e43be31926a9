"""Worked numbers of the quality index, and what bounds do to them.

Source: Cornell University Library, tutorial "Moving Theory into Practice", "Benchmarking resolution
requirements" and the page after it: levels 8 / 5 / 3.6 / 3, bitonal QI = dpi × 0.039 h / 3 and
strokes dpi = QI / (0.039 w) were read; the form in grey (/ 2) is from memory. The worked numbers
were computed from these forms outside the project, with 0.039.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanqa.findings import judge
from scanqa.findings.legibility import dpi_needed, index_reached, levels, size_mm, word
from scanqa.model import Measurement, Results, ScanFacts
from scanqa.words.of_judgement import worded

EFFECTIVE = "sharpness.effective_dpi"


@pytest.mark.parametrize(
    ("dpi", "index", "height_mm"),
    [
        (300, 8, 1.368), (300, 5, 0.855), (300, 3.6, 0.615),
        (600, 8, 0.684), (600, 5, 0.427), (600, 3.6, 0.308),
    ],
)  # fmt: skip
def test_smallest_grey_letters_are_those_worked_out(dpi, index, height_mm):
    assert size_mm("character", index, dpi) == pytest.approx(height_mm, abs=0.0006)  # rounding


@pytest.mark.parametrize(("index", "dpi"), [(8, 410.3), (5, 256.4), (3.6, 184.6), (3, 153.8)])
def test_dpi_for_grey_letters_of_a_millimetre_are_those_worked_out(index, dpi):
    assert dpi_needed("character", index, 1.0) == pytest.approx(dpi, abs=0.06)


def test_index_of_a_millimetre_at_400_dpi_in_grey():
    assert index_reached("character", 400, 1.0) == pytest.approx(7.8)
    assert word("character", 7.8) == "good"  # 8 would be excellent


def test_a_stroke_of_a_hundredth_of_an_inch_needs_200_dpi():
    # The tutorial's own example: two samples across it, its level 2.
    assert dpi_needed("stroke", 2.0, 0.254) == pytest.approx(200, rel=0.01)  # 0.039 for 1/25.4
    assert size_mm("stroke", 2.0, 200) == pytest.approx(0.254, rel=0.01)


def test_levels_are_the_published_ones():
    known = {(row.what, row.level): row.index for row in levels()}
    assert known == {
        ("character", "excellent"): 8.0, ("character", "good"): 5.0,
        ("character", "marginal"): 3.6, ("character", "barely legible"): 3.0,
        ("stroke", "excellent"): 2.0, ("stroke", "good"): 1.5, ("stroke", "questionable"): 1.0,
    }  # fmt: skip
    assert word("character", 2.9) == "not legible"


@given(st.sampled_from(["character", "stroke"]), st.floats(1, 10), st.floats(50, 5000))
def test_size_dpi_and_index_agree(what, index, dpi):
    size = size_mm(what, index, dpi)
    assert dpi_needed(what, index, size) == pytest.approx(dpi)
    assert index_reached(what, dpi, size) == pytest.approx(index)


def scan(name, dpi):
    return ScanFacts(
        name, "bed-sheet", 2480, 3508, 8, 3, (dpi, dpi), "file", 0, "bed-sheet-a4", "tiff", False,
        "sRGB assumed", "0" * 64, "",
    )  # fmt: skip


def legibility(results, scans):
    """In words, as it is judged."""
    return worded(judge(results, scans), results).legibility


def site(dpi, direction, name="bed.tif", **more):
    return Measurement(
        EFFECTIVE, dpi, 3.0, scan=name, direction=direction, channel="luma", at_mm=(9.0, 9.0),
        **more,
    )  # fmt: skip


def test_the_worse_direction_by_luma_decides():
    blue = Measurement(EFFECTIVE, 90.0, 3.0, scan="bed.tif", direction="across", channel="blue")
    sites = (site(240.0, "across"), site(220.0, "travel"), blue)
    (found,) = legibility(Results(sites), (scan("bed.tif", 300.0),))
    assert found.effective_dpi == 220.0
    excellent = found.sizes[0]
    assert excellent.size_mm == pytest.approx(2 * 8 / (0.039 * 220))
    # The relative uncertainty of the size is that of the dpi.
    assert excellent.uncertainty_mm / excellent.size_mm == pytest.approx(3.0 / 220.0)
    assert found.bound == "ok"
    assert found.limit is None


def test_a_lower_bound_of_the_dpi_bounds_the_size_from_above_and_says_why():
    more = {"status": "at-least", "reason": "the print is rough", "reason_kind": "print"}
    sites = (site(240.0, "across", **more), site(230.0, "travel", **more))
    (found,) = legibility(Results(sites), (scan("bed.tif", 600.0),))
    assert found.bound == "at-least"
    assert found.limit == "print"
    assert found.note == "the print is rough"


def test_where_the_samples_are_the_limit_it_is_said():
    sites = (site(299.0, "across"), site(298.0, "travel"))
    (found,) = legibility(Results(sites), (scan("bed.tif", 300.0),))
    assert found.limit == "sampling"
    assert "a finer setting may show smaller print" in found.note


def test_each_dpi_has_its_own_and_without_a_sheet_there_is_none():
    sites = (site(240.0, "across"), site(380.0, "across", "fine.tif"))
    scans = (scan("bed.tif", 300.0), scan("fine.tif", 1200.0))
    assert [each.dpi for each in legibility(Results(sites), scans)] == [300, 1200]
    assert legibility(Results(), scans) == ()
