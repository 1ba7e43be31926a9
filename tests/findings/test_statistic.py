"""Limits against numbers that are only known within bounds: what is sure for every value within.

The truth is worked out by trying values from the whole range, by Python's own comparisons.
"""

import math
import operator

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanqa.findings.statistic import STATISTICS, Figure, figure, holds, known, pick
from scanqa.model import Measurement, ScanFacts
from scanqa.summary import summarise

PYTHON = {">=": operator.ge, ">": operator.gt, "<=": operator.le, "<": operator.lt}
NUMBERS = st.floats(-100, 100).map(lambda value: round(value, 2))
FAR = 1e6


def bounded(value, status, low=None, high=None, **where):
    words = {} if status == "ok" else {"reason": "so it is", "reason_kind": "range"}
    return Measurement(
        where.pop("name", "noise.total"), value, 0.1, status, low=low, high=high, **words, **where
    )


@given(NUMBERS, NUMBERS, NUMBERS, st.sampled_from(sorted(PYTHON)))
def test_a_limit_holds_only_if_it_does_for_all_that_is_possible(one, other, limit, sign):
    least, most = sorted((one, other))
    ends = ((least, most), (least, math.inf), (-math.inf, most), (least, least))
    for low, high in ends:
        value = low if math.isfinite(low) else high
        tried = {max(low, -FAR), min(high, FAR), max(min(limit, high), low)}
        tried = {PYTHON[sign](each, limit) for each in tried}
        known = holds(Figure(value, None, low, high, 1), sign, limit)
        assert known == (tried.pop() if len(tried) == 1 else None)


@pytest.mark.parametrize(
    ("status", "low", "high", "possible"),
    [
        ("ok", None, None, (5.0, 5.0)),
        ("at-least", None, None, (5.0, math.inf)),
        ("at-most", None, None, (-math.inf, 5.0)),
        ("between", 4.0, 6.0, (4.0, 6.0)),
    ],
)
@pytest.mark.parametrize("statistic", ["median", "lowest", "highest"])
def test_a_number_keeps_the_bounds_of_what_it_is_made_of(statistic, status, low, high, possible):
    found = figure(summarise([bounded(5.0, status, low, high)]), "noise.total", statistic)
    assert (found.least, found.most) == possible
    assert found.bound == status


def test_lowest_and_highest_are_single_values_with_their_own_doubt():
    low, high = bounded(2.0, "at-least"), bounded(9.0, "at-most")
    summaries = summarise([low, bounded(5.0, "ok"), high])
    lowest = figure(summaries, "noise.total", "lowest")
    highest = figure(summaries, "noise.total", "highest")
    assert (lowest.value, lowest.bound, lowest.uncertainty) == (2.0, "at-least", 0.1)
    assert (highest.value, highest.bound, highest.count) == (9.0, "at-most", 3)


@pytest.mark.parametrize(
    ("value", "status", "low", "high", "magnitude"),
    [
        (-3.0, "ok", None, None, (3.0, 3.0)),
        (3.0, "at-least", None, None, (3.0, math.inf)),
        (-3.0, "at-most", None, None, (3.0, math.inf)),  # -3 or beyond
        (-3.0, "between", -4.0, 1.0, (0.0, 4.0)),
        (-3.0, "between", -4.0, -2.0, (2.0, 4.0)),
    ],
)
def test_bounds_of_a_size_are_those_of_its_values(value, status, low, high, magnitude):
    summaries = summarise([bounded(value, status, low, high)])
    found = figure(summaries, "noise.total", "largest magnitude")
    assert (found.least, found.most) == magnitude
    assert found.value == 3.0


def test_a_bound_that_leaves_the_sign_open_bounds_no_size():
    summaries = summarise([bounded(-3.0, "at-least")])  # -3, 0 or 50
    assert figure(summaries, "noise.total", "largest magnitude") is None


def test_as_many_bounds_from_above_as_from_below_are_no_number():
    summaries = summarise([bounded(5.0, "at-least"), bounded(5.0, "at-most")])
    assert figure(summaries, "noise.total", "median") is None
    assert figure(summaries, "noise.total", "median of the worse direction") is None


def test_the_worse_direction_is_the_lower_or_upwards_the_higher():
    values = {"across": (4.0, 5.0, 9.0), "travel": (6.0, 7.0, 7.5)}
    summaries = summarise(
        bounded(value, "ok", name="sharpness.sfr50", direction=direction)
        for direction, each in values.items()
        for value in each
    )
    for statistic, value in (
        ("median of the worse direction", 5.0),
        ("median of the worse direction, upwards", 7.0),
    ):
        found = figure(summaries, "sharpness.sfr50", statistic)
        assert (found.value, found.count) == (value, 3)


def scan(name, dpi):
    return ScanFacts(
        name, "blank", 100, 100, 8, 3, (dpi, dpi), "sheet", 0, None, "tiff", False, "", "0" * 64
    )


def test_scans_whose_dpi_was_measured_are_of_one_dpi_if_they_nearly_are():
    scans = (scan("a.tif", 299.4), scan("b.tif", 301.6), scan("c.tif", 150.0))
    summaries = summarise(
        [
            bounded(value, "ok", scan=f"{name}.tif")
            for name, value in (("a", 1), ("b", 2), ("c", 9))
        ],
        scans,
    )
    assert figure(summaries, "noise.total", "median").value == 1.5
    assert [s.key.dpi for s in pick(summaries, "noise.total")] == [299, 302]


def test_luma_is_what_counts_where_it_was_measured():
    summaries = summarise(
        bounded(value, "ok", channel=channel)
        for channel, value in (("red", 9.0), ("luma", 4.0), ("blue", 8.0))
    )
    assert {figure(summaries, "noise.total", name).value for name in STATISTICS} == {4.0}


def test_what_depends_on_no_dpi_is_taken_from_every_scan():
    scans = (scan("a.tif", 300.0), scan("c.tif", 150.0))
    summaries = summarise(
        (
            bounded(2.0, "ok", name="shading.nonuniformity", scan="a.tif"),
            bounded(7.0, "ok", name="shading.nonuniformity", scan="c.tif"),
        ),
        scans,
    )
    assert figure(summaries, "shading.nonuniformity", "highest").value == 7.0


PRINTED = {"reason": "rough print", "reason_kind": "print", "edge_kind": "printed"}


@pytest.mark.parametrize(
    ("cut", "value", "status"),
    [
        (219.0, 219.0, "ok"),  # 30 printed edges say at least 210: two cut ones say how much
        (180.0, 210.0, "at-least"),  # they contradict it: all count
    ],
)
def test_cut_edges_that_keep_the_bound_of_printed_ones_count_alone(cut, value, status):
    name, way = "sharpness.effective_dpi", {"direction": "travel"}
    many = [Measurement(name, 210.0, 1.0, "at-least", **PRINTED, **way) for _ in range(30)]
    few = [Measurement(name, cut + step, 1.0, edge_kind="cut", **way) for step in (-0.5, 0.5)]
    found = figure(summarise([*many, *few]), name, "median of the worse direction")
    assert (found.value, found.bound) == (value, status)


def test_edges_of_two_kinds_that_both_give_values_count_together():
    name = "sharpness.effective_dpi"
    measured = [
        Measurement(name, value, 1.0, edge_kind=kind, direction="across")
        for value, kind in ((210.0, "printed"), (212.0, "printed"), (219.0, "cut"))
    ]
    found = figure(summarise(measured), name, "median of the worse direction")
    assert (found.value, found.bound) == (212.0, "ok")


TARGET = {"reason": "paper", "reason_kind": "target", "direction": "across"}
EFFECTIVE, WORSE = "sharpness.effective_dpi", "median of the worse direction"


def at_least(value, kind, u=1.0):
    return Measurement(EFFECTIVE, value, u, "at-least", edge_kind=kind, **TARGET)


def between(low, high, kind, u=1.0):
    middle = (low + high) / 2
    return Measurement(
        EFFECTIVE, middle, u, "between", low=low, high=high, edge_kind=kind, **TARGET
    )


@pytest.mark.parametrize(
    ("measured", "least", "most"),
    [
        # the best lower and the best upper bound of all kinds
        ([at_least(180.0, "printed")] * 9 + [between(200.0, 240.0, "card")], 200.0, 240.0),
        ([at_least(210.0, "printed")] * 9 + [between(200.0, 240.0, "card")], 210.0, 240.0),
        ([between(190.0, 300.0, "cut"), between(200.0, 240.0, "card")], 200.0, 240.0),
        # no upper end: the better of the lower ones
        ([at_least(180.0, "printed"), at_least(215.0, "cut")], 215.0, np.inf),
        # the card's light scatters a little under the print's: what both allow within their doubt
        ([at_least(241.0, "printed"), between(200.0, 240.0, "card")], 241.0, 241.0),
        # contradicted by far: all count alike
        ([at_least(280.0, "printed")] * 9 + [between(200.0, 240.0, "card")], 280.0, np.inf),
    ],
)
def test_bounds_of_all_kinds_of_edge_are_taken_together(measured, least, most):
    found = figure(summarise(measured), EFFECTIVE, WORSE)
    assert (found.least, found.most) == (least, most)
    assert found.least <= found.value <= found.most
    assert found.count == len(measured)


def test_edges_by_chance_count_only_where_there_are_no_others():
    chance = [at_least(290.0, "found")] * 5
    assert figure(summarise(chance), EFFECTIVE, WORSE).value == 290.0
    card = between(200.0, 240.0, "card")
    assert figure(summarise([*chance, card]), EFFECTIVE, WORSE).most == 240.0


def test_a_bound_says_why_it_is_one():
    name = "sharpness.effective_dpi"
    fine = Measurement(name, 150.0, 1.0, "at-least", "all of it", reason_kind="sampling")
    assert figure(summarise([fine]), name, "median").why == "sampling"
    assert figure(summarise([Measurement(name, 140.0, 1.0)]), name, "median").why is None


DEPARTURE, SHARE = "departure from the stated dpi", "share of half the sampling"


def stated(name, dpi, source="file"):
    return ScanFacts(
        name, "bed-sheet", 100, 100, 8, 3, dpi, source, 0, None, "tiff", False, "", "0" * 64
    )


def test_a_value_against_the_dpi_that_its_file_states():
    """303 of 300 dpi is 1 % more, 3 dpi of doubt 1 %; 5 cy/mm of the 5.906 that 300 dpi hold."""
    scans = (stated("a.tif", (300.0, 600.0)),)
    dpi = Measurement("geometry.dpi_across", 303.0, 3.0, scan="a.tif")
    found = figure(
        summarise([dpi]), "geometry.dpi_across", "median", relative=DEPARTURE, scans=scans
    )
    assert (found.value, found.uncertainty) == pytest.approx((1.0, 1.0))
    ranged = Measurement(
        "sharpness.sfr50", 5.0, 0.1, "between", low=4.0, high=6.0, scan="a.tif", **TARGET
    )
    found = figure(summarise([ranged]), "sharpness.sfr50", "median", relative=SHARE, scans=scans)
    half = 300 / 25.4 / 2
    assert found.value == pytest.approx(100 * 5 / half)
    assert found.range == pytest.approx((100 * 4 / half, 100 * 6 / half))
    assert found.uncertainty == pytest.approx(100 * 0.1 / half)
    down = Measurement("geometry.dpi_travel", 606.0, 3.0, scan="a.tif")
    found = figure(
        summarise([down]), "geometry.dpi_travel", "median", relative=DEPARTURE, scans=scans
    )
    assert (found.value, found.uncertainty) == pytest.approx((1.0, 0.5))  # of 600, not of 300


def test_without_a_stated_dpi_nothing_is_said_against_it():
    dpi = Measurement("geometry.dpi_across", 303.0, 3.0, scan="a.tif")
    for facts in (
        (),
        (stated("b.tif", (300.0, 300.0)),),
        (stated("a.tif", None),),
        (stated("a.tif", (300.0, 300.0), "sheet"),),
    ):
        named = ("geometry.dpi_across", "median")
        assert figure(summarise([dpi]), *named, relative=DEPARTURE, scans=facts) is None


@pytest.mark.parametrize(("gap", "together"), [(2.05, True), (2.5, False)])
def test_bounds_contradict_each_other_beyond_twice_their_doubt(gap, together):
    """A third of 1 dpi (nine edges) and 1 dpi of doubt: twice both together is 2.1."""
    measured = [*[at_least(240.0 + gap, "printed")] * 9, between(200.0, 240.0, "card")]
    found = figure(summarise(measured), EFFECTIVE, WORSE)
    assert (not math.isinf(found.most)) == together


def test_of_scans_at_several_dpi_the_finest_speaks():
    coarse, fine = stated("a.tif", (150.0, 150.0)), stated("b.tif", (600.0, 600.0))
    values = [
        Measurement(EFFECTIVE, value, 1.0, scan=name, direction="across")
        for value, name in ((140.0, "a.tif"), (500.0, "b.tif"))
    ]
    assert figure(summarise(values, (coarse, fine)), EFFECTIVE, "median").value == 500.0
    assert figure((), EFFECTIVE, "median") is None


def test_the_best_value_lies_within_what_all_bounds_allow():
    found = figure(
        summarise([at_least(225.0, "printed"), between(200.0, 240.0, "card")]), EFFECTIVE, WORSE
    )
    assert (found.least, found.value, found.most) == (225.0, 225.0, 240.0)
    found = figure(
        summarise([at_least(205.0, "printed"), between(200.0, 240.0, "card")]), EFFECTIVE, WORSE
    )
    assert found.value == 220.0
    narrow = [between(200.0, 240.0, "cut"), between(190.0, 210.0, "card")]
    assert figure(summarise(narrow), EFFECTIVE, WORSE).value == 200.0


def test_a_measure_does_not_take_another_whose_name_goes_on_from_its_own():
    """A book's page 5 mm from the spine, and a ramp's 5 mm high: two quantities."""
    told = summarise(
        (
            Measurement("gutter.focus_at_5mm", 41.0, 25.0),
            Measurement("gutter.focus_at_5mm_height", 5.7, 0.6),
            Measurement("geometry.dpi_across", 300.0, 0.1),
        ),
        (),
    )
    assert [s.value for s in known(told, "gutter.focus_at_5mm")] == [41.0]
    assert figure(told, "gutter.focus_at_5mm", "lowest").value == 41.0
    assert [s.value for s in known(told, "geometry.dpi")] == [300.0]  # a family still is one
