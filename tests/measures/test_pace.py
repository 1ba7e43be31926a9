"""Pace from stated seconds, against the trade's own figures and plain arithmetic."""

import numpy as np
import pytest

from scanqa.measures import pace
from tests.measures.paper import placed, value


def scan(name, *, dpi=50, size_mm=(100, 140), channels=3):
    rows, columns = (round(side * dpi / 25.4) for side in size_mm[::-1])
    return placed(np.full((rows, columns, channels), 0.8), dpi, name=name)


def test_the_mechanical_limit_of_an_a3_book_edge_flatbed_gives_steady_hand_work():
    """Common practice, no source: 200 scans an hour without turning, 150 to 160 pages by hand."""
    found = pace.measure([scan("a")], seconds={"a": 3600 / 200})
    assert 150 <= value(found, "pace.pages_per_hour") <= 160
    assert value(found, "pace.seconds_per_scan") == 18.0


def test_the_median_and_its_scatter():
    """Five scans, the first slow: median 10.2 s; scatter of the rest some tenths of a second."""
    took = dict(zip("abcde", (31.0, 10.0, 10.2, 10.4, 9.9), strict=True))
    found = pace.measure([scan(name) for name in took], seconds=took)
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


def test_each_way_of_scanning_has_its_own_pace_and_parts_of_the_bed_none():
    scans = [scan("a"), scan("b", channels=1), scan("c", dpi=100), scan("d", size_mm=(50, 50))]
    found = pace.measure(scans, seconds={"a": 9.0, "b": 6.0, "c": 20.0, "d": 1.0})
    seconds = {m.scan: (m.value, m.uncertainty) for m in found.named("pace.seconds_per_scan")}
    assert seconds == {"a": (9.0, None), "b": (6.0, None), "c": (20.0, None)}


def test_pieces_of_one_scan_are_one_scan():
    piece = scan("a")
    found = pace.measure([piece, piece], seconds={"a": 9.0})
    assert "1 scan timed" in found.measurements[0].reason


@pytest.mark.parametrize(
    ("seconds", "words"), [({}, "no scan was timed"), ({"part": 3.0}, "a part of the bed")]
)
def test_what_was_not_timed_says_so(seconds, words):
    found = pace.measure([scan("a"), scan("part", size_mm=(50, 50))], seconds=seconds)
    assert len(found.measurements) == 2
    assert all(m.status == "not-measurable" and words in m.reason for m in found.measurements)
