"""Causes of lines in synthetic blank scans: what was planted is written down before it is judged.

The scans are those of tests/measures/test_streaks.py; what was seen of each line is tested there.
"""

from dataclasses import replace

import numpy as np
import pytest

from scanqa.findings import judge
from scanqa.measures import streaks
from scanqa.model import Measurement, Told
from tests.measures.blank_paper import light_of_paper, scanned
from tests.measures.test_streaks import SHAPE, blank


def lines(scans):
    """Streaks with their causes, in the order of their places."""
    found = judge(streaks.measure(scans, Told()), ()).streaks
    return sorted(found, key=lambda streak: streak.at_px)


def first_cause(streak):
    return streak.causes[0].cause


@pytest.mark.parametrize(("factor", "cause"), [(0.995, "moving-dirt"), (1.005, "white-strip-dirt")])
def test_a_dark_line_is_dirt_in_the_path_and_a_bright_one_dirt_on_the_strip(factor, cause):
    def change(light):
        light[:, 417] *= factor

    (found,) = lines([blank(2, change=change)])
    assert first_cause(found) == cause


def on_strip(size, at_mm=None):
    """What a look at the white strip gave: a mark, or that there is at most so much."""
    bound = {} if at_mm else {"status": "at-most", "reason": "none seen", "reason_kind": "range"}
    place = (at_mm, 5.0) if at_mm else None
    return Measurement("driver.strip_mark", size, 0.1, at_mm=place, **bound)


def test_a_look_at_the_strip_itself_tells_a_calibration_kept_from_dirt_on_the_strip():
    """Both draw the same bright line; only one of them is on the strip today."""

    def change(light):
        light[:, 417] *= 1.02

    results = streaks.measure([blank(2, change=change)], Told())
    (line,) = results.streaks

    def judged(*looks):
        (found,) = judge(replace(results, measurements=(*results.measurements, *looks)), ()).streaks
        return {each.cause: each.share for each in found.causes}

    unseen = judged()
    dirty = judged(on_strip(3.0, line.at_mm))
    assert dirty["white-strip-dirt"] > 0.95 > unseen["white-strip-dirt"]
    clean = judged(on_strip(0.4))
    elsewhere = judged(on_strip(0.4, line.at_mm + 20.0))
    assert clean == elsewhere
    odds = [each["white-strip-dirt"] / each["kept-calibration"] for each in (unseen, clean)]
    assert odds[1] == pytest.approx(odds[0] * 0.3 / 0.99)  # 0.3: dirt that crosses all of it
    # A look that would not have shown so faint a mark says nothing.
    assert judged(on_strip(3.0)) == judged(on_strip(3.0, line.at_mm + 20.0)) == unseen


def test_a_part_of_the_length_is_the_glass():
    def change(light):
        light[1100:2600, 500] *= 0.99

    (found,) = lines([blank(4, change=change)])
    assert first_cause(found) == "glass-line"


def test_a_line_across_is_the_carriage():
    def change(light):
        light[1900] *= 0.99

    (found,) = lines([blank(6, change=change)])
    assert first_cause(found).startswith("carriage-")


def test_one_channel_one_pixel_is_an_element():
    gains = np.ones((1, SHAPE[1], 3), np.float32)
    gains[0, 300, 0] = 0.98
    (found,) = lines([blank(7, channels=3, gains=gains)])
    assert first_cause(found) == "dead-element"


def test_what_moves_with_the_paper_is_the_papers():
    def first(light):
        light[:, 400] *= 0.99
        light[:, 900] *= 0.99

    def second(light):
        light[:, 400] *= 0.99
        light[:, 933] *= 0.99

    scans = [blank(8, change=first, name="a.tif"), blank(9, change=second, name="b.tif")]
    by_place = {round(s.at_px): first_cause(s) for s in lines(scans)}
    assert sorted(by_place) == [400, 900, 933]
    assert by_place[400] != "paper"
    assert by_place[900] == by_place[933] == "paper"


def test_joins_of_segments_stand_in_a_regular_row():
    places = [120, 338, 556, 774, 992]  # 18.46 mm apart

    def change(light):
        for place in places:
            light[:, place] *= 0.992

    assert [first_cause(s) for s in lines([blank(14, change=change)])] == ["segment-joins"] * 5


def test_joins_are_found_in_a_coarse_scan():
    """At 150 dpi a sample is 0.17 mm: joins every 9.1 mm may lie a sample beside their row."""
    places = [60, 114, 168, 223, 276, 329, 384]  # every 54 samples, to within one
    light, rng = light_of_paper(16, (1000, 440), dpi=150)
    light[:, places] *= 0.985
    found = lines([scanned(light, rng, dpi=150)])
    assert [first_cause(s) for s in found] == ["segment-joins"] * 7


def test_irregular_lines_are_no_joins():
    def change(light):
        for place in (120, 290, 610, 774, 1055):
            light[:, place] *= 0.992

    found = [first_cause(s) for s in lines([blank(15, change=change)])]
    assert len(found) == 5
    assert "segment-joins" not in found


def test_causes_are_ranked_and_sum_to_one():
    def change(light):
        light[:, 600] *= 0.99
        light[:, 601] *= 0.985
        light[:, 602] *= 0.99

    (alone,) = lines([blank(16, change=change)])
    (sure,) = lines([blank(16, change=change), blank(17, change=change, name="b.tif")])
    for streak in (alone, sure):
        chances = [share.share for share in streak.causes]
        assert sum(chances) == pytest.approx(1.0)
        assert chances == sorted(chances, reverse=True)
    assert first_cause(sure) == "moving-dirt"
    assert sure.causes[0].share > alone.causes[0].share  # the second scan rules the paper out
    (paper,) = [share.share for share in sure.causes if share.cause == "paper"]
    assert paper < 0.01
