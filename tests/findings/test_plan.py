"""A job worked out by hand: dpi, time and disk."""

from dataclasses import replace

import pytest

from scanqa.findings.job_plan import _usual as usual_setting
from scanqa.findings.job_plan import plan
from scanqa.model import FileSize, Job, Measurement, Results
from scanqa.words.of_plan import worded_plan
from tests.findings.test_legibility import legibility, scan, site

SCANS = (scan("bed.tif", 300.0), scan("fine.tif", 600.0))
A4 = (210.0, 297.0)


def job(**changes):
    given = {
        "pages": 1200, "page": "A4", "page_mm": A4, "smallest_mm": 1.5, "turn_s": 5.0,
        "seconds": 18.0,
    }  # fmt: skip
    return Job(**{**given, **changes})


def planned(job_, results=None, scans=SCANS, compressed=None):
    results = results or Results()
    legible = legibility(results, scans)
    return worded_plan(plan(job_, results, scans, legible, compressed or {}), legible)


def sharp(dpi, name="fine.tif", **more):
    return Results((site(dpi, "across", name, **more), site(dpi, "travel", name, **more)))


def seconds(value, name, error=None):
    return Results((Measurement("pace.seconds_per_scan", value, error, scan=name),))


@pytest.mark.parametrize(
    ("scan_s", "turn_s", "rate"),
    # Common practice, no source: steady hand work on a 600 dpi A3 flatbed makes 150 to 160 pages
    # an hour; about 200 is the limit, with nothing but scanning.
    [(18.0, 5.0, (150, 160)), (18.0, 1e-9, (199.9, 200.1))],
)
def test_pages_an_hour_are_those_of_the_trade(scan_s, turn_s, rate):
    found = planned(job(seconds=scan_s, turn_s=turn_s))
    assert rate[0] <= found.pages_per_hour <= rate[1]


def test_hours_and_days_of_a_job():
    found = planned(job())  # 1200 pages of 23 s are 7 h 40 min
    assert found.hours == pytest.approx(7 + 40 / 60)
    assert found.days == 2  # of four hours
    assert found.why_time == "as told"


def test_an_uncompressed_page_is_exact():
    # A4 at 300 dpi: 2480 × 3508 px (ISO 216 size over 25.4 mm), three bytes each.
    found = planned(job())
    assert found.dpi == 300
    assert found.sizes[0].bytes == 2480 * 3508 * 3
    assert found.sizes[0].uncertainty == 0


def test_other_formats_grow_with_the_pixels():
    per_pixel = {"PNG": FileSize("PNG", 1.2, 0.1, "measured")}
    found = planned(job(), compressed=per_pixel)
    png = found.sizes[1]
    assert (png.bytes, png.uncertainty) == pytest.approx((2480 * 3508 * 1.2, 2480 * 3508 * 0.1))


@pytest.mark.parametrize(
    ("smallest", "needed", "dpi"),
    # 16 / (0.039 h); 400 dpi are 2.5 % short of what 1 mm asks for, and will do.
    [(1.5, 273.5, 300), (1.0, 410.3, 400), (0.7, 586.1, 600), (4.0, 102.6, 100)],
)
def test_the_smallest_letters_say_the_dpi(smallest, needed, dpi):
    found = planned(job(smallest_mm=smallest), sharp(590.0))
    assert found.needed_dpi == pytest.approx(needed, abs=0.1)
    assert found.dpi == dpi


def test_what_the_optics_do_not_support_is_not_asked_for():
    found = planned(job(smallest_mm=0.7), sharp(310.0))  # 586 dpi needed
    assert found.dpi == 300  # within 5 % of 310
    assert "only" in found.why_dpi
    assert found.index == pytest.approx(300 * 0.039 * 0.7 / 2)
    assert found.legibility == "marginal"  # 4.1: over 3.6, under 5


def test_a_bound_leaves_it_open_what_the_optics_support():
    more = {"status": "at-least", "reason": "the print is rough", "reason_kind": "print"}
    found = planned(job(smallest_mm=0.7), sharp(310.0, **more))
    assert found.dpi == 600
    assert "not known: the print is rough" in found.why_dpi


def test_a_scan_that_is_as_sharp_as_its_dpi_leaves_it_open_what_the_optics_support():
    found = planned(job(smallest_mm=0.7), sharp(295.0, "bed.tif"))  # of 300; 586 dpi needed
    assert (found.optics, found.dpi) == ("at-least", 600)
    assert "finer setting may show smaller print; scan the bed sheet at this" in found.why_dpi


def test_without_a_bed_sheet_the_optics_are_not_known():
    found = planned(job())
    assert found.dpi == 300
    assert "no bed sheet" in found.why_dpi


def test_the_pace_is_that_of_the_dpi_of_the_plan():
    timed = seconds(9.0, "bed.tif", 0.2) + seconds(20.0, "fine.tif", 0.4)
    coarse = planned(job(seconds=None), timed)
    assert (coarse.dpi, coarse.seconds) == (300, 9.0)
    # Rate 3600 / (t + 5): its relative uncertainty is that of t + 5.
    assert coarse.rate_uncertainty / coarse.pages_per_hour == pytest.approx(0.2 / 14.0)
    fine = planned(job(seconds=None, smallest_mm=0.7), timed)
    assert (fine.dpi, fine.seconds, fine.at_most) == (600, 20.0, False)


def test_a_pace_timed_at_a_coarser_dpi_is_an_upper_bound():
    found = planned(job(seconds=None, smallest_mm=0.7), seconds(9.0, "bed.tif"))
    assert found.at_most
    assert "a scan at 600 dpi takes longer" in found.why_time


def test_untimed_scans_leave_the_time_open():
    found = planned(job(seconds=None))
    assert (found.seconds, found.pages_per_hour, found.hours, found.days) == (None,) * 4
    assert "--scan-seconds" in found.why_time
    assert found.sizes  # the rest is known all the same


@pytest.mark.parametrize(
    ("dpi", "setting"),
    [(99.0, 100), (150.0, 150), (157.0, 150), (159.0, 200), (310.0, 300), (320.0, 400),
     (700.0, 800), (2000.0, 2400), (9000.0, 2400)],
)  # fmt: skip
def test_a_setting_may_be_short_by_a_twentieth(dpi, setting):
    assert usual_setting(dpi) == setting


def test_pages_are_as_large_as_the_scans_with_most_colours():
    grey = replace(scan("grey.tif", 300.0), channels=1)
    (one,) = {each.bytes for each in planned(job(), scans=(grey,)).sizes[:1]}
    (both,) = {each.bytes for each in planned(job(), scans=(grey, *SCANS)).sizes[:1]}
    assert both == 3 * one


def test_the_index_is_that_of_what_the_optics_support_where_they_are_the_limit():
    """1.5 mm letters, 130 dpi of optics: QI = dpi 0.039 h / 2 (Cornell tutorial)."""
    found = planned(job(), sharp(130.0))
    assert found.optics == "too-little"
    assert found.index == pytest.approx(130.0 * 0.039 * 1.5 / 2)
    unknown = planned(job())
    assert unknown.index == pytest.approx(unknown.dpi * 0.039 * 1.5 / 2)
