"""Pace from stated seconds, against the trade's own figures and plain arithmetic."""

from dataclasses import replace

import numpy as np
import pytest

from scanqa.measures import pace
from scanqa.model import Told
from tests.measures.paper import placed, value


def scan(name, seconds=None, *, dpi=50, size_mm=(100, 140), channels=3):
    rows, columns = (round(side * dpi / 25.4) for side in size_mm[::-1])
    made = placed(np.full((rows, columns, channels), 0.8), dpi, name=name)
    return replace(made, scan=replace(made.scan, seconds=seconds))


def test_the_mechanical_limit_of_an_a3_book_edge_flatbed_gives_steady_hand_work():
    """Common practice, no source: 200 scans an hour without turning, 150 to 160 pages by hand."""
    found = pace.measure([scan("a", 3600 / 200)], Told())
    assert 150 <= value(found, "pace.pages_per_hour") <= 160
    assert value(found, "pace.seconds_per_scan") == 18.0


def test_the_median_and_its_scatter():
    """Five scans, the first slow: median 10.2 s; scatter of the rest some tenths of a second."""
    took = zip("abcde", (31.0, 10.0, 10.2, 10.4, 9.9), strict=True)
    found = pace.measure([scan(name, seconds) for name, seconds in took], Told())
    (m,) = found.named("pace.seconds_per_scan")
    assert m.value == 10.2
    # 1.2533 × 1.4826 × median of |deviations| (0, 0.2, 0.2, 0.3, 20.8) = 0.2, over √5
    assert m.uncertainty == pytest.approx(1.2533 * 1.4826 * 0.2 / 5**0.5, rel=0.02)
    assert m.reason == "50 dpi, colour, 8 bits, 5 scans timed"
    (rate,) = found.named("pace.pages_per_hour")
    assert rate.value == pytest.approx(3600 / 15.2)
    low, high = (3600 / (15.2 + sign * m.uncertainty) for sign in (1, -1))
    assert rate.uncertainty == pytest.approx((high - low) / 2, rel=0.01)
    assert "5 s" in rate.reason


def test_three_scans_have_a_scatter_and_two_only_a_difference():
    three = [scan(name, seconds) for name, seconds in (("a", 10.0), ("b", 10.2), ("c", 10.6))]
    for scans, known in ((three, True), (three[:2], False)):
        (m,) = pace.measure(scans, Told()).named("pace.seconds_per_scan")
        assert (m.uncertainty is not None) is known


def test_each_way_of_scanning_has_its_own_pace_and_parts_of_the_bed_none():
    scans = [
        scan("a", 9.0),
        scan("b", 6.0, channels=1),
        scan("c", 20.0, dpi=100),
        scan("d", 1.0, size_mm=(50, 50)),
        scan("e"),
    ]
    found = pace.measure(scans, Told())
    seconds = {m.scan: (m.value, m.uncertainty) for m in found.named("pace.seconds_per_scan")}
    assert seconds == {"a": (9.0, None), "b": (6.0, None), "c": (20.0, None)}


def test_pieces_of_one_scan_are_one_scan():
    piece = scan("a", 9.0)
    found = pace.measure([piece, piece], Told())
    assert "1 scan timed" in found.measurements[0].reason


def test_scans_of_one_name_in_two_folders_are_two_scans():
    found = pace.measure([scan("a", 9.0), scan("a", 11.0)], Told())
    assert "2 scans timed" in found.measurements[0].reason
    assert value(found, "pace.seconds_per_scan") == 10.0


@pytest.mark.parametrize(
    ("seconds", "words"), [(None, "no scan was timed"), (3.0, "a part of the bed")]
)
def test_what_was_not_timed_says_so(seconds, words):
    found = pace.measure([scan("a"), scan("part", seconds, size_mm=(50, 50))], Told())
    assert len(found.measurements) == 2
    assert all(m.status == "not-measurable" and words in m.reason for m in found.measurements)
