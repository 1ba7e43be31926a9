"""Scans of one sheet at 150 and at 400 dpi in one call: the finest stands for the scanner.

What a scan can hold at most is its own dpi (sampling theorem), so that a cap of 150 dpi says
nothing of the optics, and the mean of caps of 150 and 400, 275, is the dpi of nothing at all.
"""

import pytest

from scanqa.findings import judge
from scanqa.model import Diagnosis, Measurement, Results, ScanFacts
from scanqa.words.of_judgement import worded

EFFECTIVE = "sharpness.effective_dpi"
CAPPED = {
    "status": "at-least",
    "reason": "a higher dpi would show more",
    "reason_kind": "sampling",
}


def scan(dpi):
    return ScanFacts(
        f"{dpi}.tif", "bed-sheet", 2480, 3508, 8, 3, (float(dpi), float(dpi)), "file", 0,
        "bed-sheet-a4", "tiff", False, "sRGB assumed", "0" * 64, "",
    )  # fmt: skip


def sites(dpi, effective, name=EFFECTIVE, **more):
    """As many edges in each direction, all alike."""
    return tuple(
        Measurement(
            name, effective, 1.0, scan=f"{dpi}.tif", direction=direction, channel="luma",
            at_mm=(x, 80.0), **more,
        )
        for direction in ("across", "travel")
        for x in (20.0, 100.0, 180.0)
    )  # fmt: skip


ORDERS = pytest.mark.parametrize("order", [(150, 400), (400, 150)])


def judged(of_dpi, order):
    results = Results(tuple(m for dpi in order for m in of_dpi[dpi]))
    return worded(judge(results, tuple(scan(dpi) for dpi in order)), results)


def text(judgement):
    return next(use for use in judgement.outcome.uses if use.use == "text")


@ORDERS
def test_a_use_is_judged_by_the_finest_dpi(order):
    found = judged({150: sites(150, 150.0, **CAPPED), 400: sites(400, 400.0, **CAPPED)}, order)
    (condition, *_) = text(found).conditions
    assert (condition.value, condition.bound) == (400.0, "at-least")
    assert "at least 400 dpi" in text(found).reason
    assert text(found).fitness == "fit"


@ORDERS
def test_a_coarse_scan_does_not_make_a_sharp_scanner_limited(order):
    found = judged({150: sites(150, 150.0, **CAPPED), 400: sites(400, 380.0)}, order)
    assert text(found).fitness == "fit"  # the mean, 265 dpi, is short of the 273 asked for


@ORDERS
def test_optics_that_hold_what_each_dpi_asks_for_are_not_out_of_focus(order):
    found = judged({150: sites(150, 150.0, **CAPPED), 400: sites(400, 395.0)}, order)
    assert not [each for each in found.findings if isinstance(each, Diagnosis)]


@ORDERS
def test_optics_that_are_soft_at_the_finest_dpi_are_said_to_be_in_any_order(order):
    found = judged({150: sites(150, 148.0), 400: sites(400, 200.0)}, order)
    (finding,) = (each for each in found.findings if isinstance(each, Diagnosis))
    assert finding.cause == "focus"
    assert "200 of the 400 dpi delivered across" in finding.reason


@ORDERS
def test_criteria_are_judged_by_the_finest_dpi(order):
    name = "sharpness.sampling_efficiency"
    found = judged({150: sites(150, 100.0, name), 400: sites(400, 62.0, name)}, order)
    efficiency = [each for each in found.findings if each.rests_on == (name,)]
    assert {each.value for each in efficiency} == {62.0}


@ORDERS
def test_legibility_has_a_row_for_each_dpi(order):
    found = judged({150: sites(150, 150.0, **CAPPED), 400: sites(400, 380.0)}, order)
    assert [(each.dpi, each.effective_dpi) for each in found.legibility] == [
        (150, 150.0),
        (400, 380.0),
    ]
    assert [each.limit for each in found.legibility] == ["sampling", None]
