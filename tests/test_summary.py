"""Many values become one: its scatter, its shared parts and its bounds, against closed forms."""

import math
import statistics
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.model import Key, Measurement, Shared
from scanqa.summary import ends, summarise
from tests.records.builders import facts

SEED = 1809
WHY = {"reason": "by the test", "reason_kind": "range"}


def value(number, u=None, status="ok", **more):
    why = {} if status == "ok" else WHY
    return Measurement("sharpness.sfr50", number, u, status, scan="a.tif", **why, **more)


def one(members):
    (summary,) = summarise(members, [facts()])
    return summary


# ---------------------------------------------------------------------------------- scatter


def test_the_stated_error_of_a_median_is_its_scatter():
    # Standard error of the median of normal values: √(π/2) σ/√n for large n (Laplace; any handbook
    # of statistics). 2000 medians of 101 values tell it to 1/√4000 = 1.6 %; allowed: 5 %.
    rng = np.random.default_rng(SEED)
    found = [one([value(v) for v in rng.normal(5, 0.3, 101)]) for _ in range(2000)]
    scatter = statistics.stdev(summary.value for summary in found)
    stated = statistics.mean(summary.random for summary in found)
    assert stated == pytest.approx(scatter, rel=0.05)
    assert stated == pytest.approx(math.sqrt(math.pi / 2) * 0.3 / math.sqrt(101), rel=0.01)


def test_what_each_value_states_counts_where_they_scatter_less():
    summary = one([value(4.0, 0.2) for _ in range(25)])
    assert (summary.value, summary.random) == (4.0, pytest.approx(0.2 / 5))


def test_a_single_value_keeps_its_own_uncertainty():
    assert one([value(4.0, 0.2)]).uncertainty == pytest.approx(0.2)
    assert one([value(4.0)]).uncertainty is None


def test_a_shared_part_does_not_shrink_and_a_random_one_does():
    print_ = Shared("print", "A", 0.3)
    summary = one([value(4.0, math.hypot(0.4, 0.3), shared=(print_,)) for _ in range(16)])
    assert summary.random == pytest.approx(0.4 / 4)
    assert summary.shared == (print_,)
    assert summary.uncertainty == pytest.approx(math.hypot(0.1, 0.3))


def test_prints_of_their_own_average_out_in_part():
    # half of the values from each of two prints of 0.3: √2 · 0.3 / 2
    parts = [Shared("print", label, 0.3) for label in "AABB"]
    summary = one([value(4.0, 0.3, shared=(part,)) for part in parts])
    assert summary.uncertainty == pytest.approx(0.3 / math.sqrt(2))


# ----------------------------------------------------------------------------------- bounds

STATUSES = st.sampled_from(["ok", "at-least", "at-most", "between"])


@st.composite
def bounded(draw):
    """A value with a status, and a true value that it allows."""
    number = draw(st.floats(0.5, 10))
    status = draw(STATUSES)
    off = draw(st.floats(0, 5))
    if status == "between":
        low, high = number - draw(st.floats(0, 3)), number + draw(st.floats(0, 3))
        truth = low + draw(st.floats(0, 1)) * (high - low)
        return value(number, None, "between", low=low, high=high), min(max(truth, low), high)
    truth = {"ok": number, "at-least": number + off, "at-most": number - off}[status]
    return value(number, None, status), truth


@settings(deadline=None, max_examples=300)
@given(st.lists(bounded(), min_size=1, max_size=12))
def test_the_true_median_lies_where_the_summary_says(drawn):
    members, truths = zip(*drawn, strict=True)
    summary, truth = one(members), statistics.median(truths)
    if summary.status == "not-measurable":
        lows, highs = zip(*map(ends, members), strict=True)
        assert math.isinf(statistics.median(lows))
        assert math.isinf(statistics.median(highs))
        return
    slack = 1e-9
    if summary.status == "ok":  # a range narrower than the scatter has become part of it
        assert abs(truth - summary.value) <= (summary.random or 0.0) * math.sqrt(12) + slack
    if summary.status == "at-least":
        assert truth >= summary.value - slack
    if summary.status == "at-most":
        assert truth <= summary.value + slack
    if summary.status == "between":
        assert summary.low - slack <= truth <= summary.high + slack
        assert summary.low <= summary.value <= summary.high


@pytest.mark.parametrize(
    ("bounds", "status"), [(0, "ok"), (1, "between"), (2, "between"), (3, "at-least")]
)
def test_the_median_of_five_is_a_bound_from_the_third_bound_on(bounds, status):
    members = [value(float(i), None, "at-least" if i <= bounds else "ok") for i in range(1, 6)]
    # the scatter of 1 … 5 is 0.89 a rank: too little to swallow a rank, taken off here
    summary = one([replace(m, value=10 * m.value) for m in members])
    assert summary.value == 30.0
    expected = status if bounds != 1 else ("ok" if summary.random >= 10 else "between")
    assert summary.status == expected


def test_caps_of_two_dpi_are_not_mixed_and_keep_their_bounds():
    scans = [facts(file="a.tif", dpi=(150.0, 150.0)), facts(file="b.tif", dpi=(400.0, 400.0))]
    members = [
        Measurement("sharpness.effective_dpi", dpi, None, "at-least", scan=scan, **WHY)
        for scan, dpi in (("a.tif", 150.0), ("b.tif", 400.0))
        for _ in range(3)
    ]
    coarse, fine = summarise(members, scans)
    assert (coarse.key.dpi, coarse.value, coarse.status) == (150, 150.0, "at-least")
    assert (fine.key.dpi, fine.value, fine.status) == (400, 400.0, "at-least")


# --------------------------------------------------------------------------- keys and members


def test_what_does_not_depend_on_the_dpi_stays_together():
    scans = [facts(file="a.tif"), facts(file="b.tif", dpi=(600.0, 600.0))]
    members = [
        Measurement("edges.shadow_left", v, 0.1, scan=s)
        for s, v in (("a.tif", 3.0), ("b.tif", 4.0))
    ]
    (summary,) = summarise(members, scans)
    assert summary.key == Key("edges.shadow_left")
    assert (summary.value, summary.span, summary.count) == (3.5, (3.0, 4.0), 2)
    assert summary.worst is members[1]


def test_the_worst_is_the_lowest_the_highest_or_the_farthest_from_nothing():
    assert one([value(3.0), value(4.0)]).worst.value == 3.0
    shifts = [Measurement("colour.registration", v) for v in (0.1, -0.4, 0.3)]
    (summary,) = summarise(shifts)
    assert summary.worst.value == -0.4
    (paper,) = summarise([Measurement("noise.paper", 0.3), Measurement("noise.paper", 0.2)])
    assert paper.worst is None


def test_without_any_value_there_is_the_reason():
    lost = [replace(value(1.0), value=None, status="not-measurable", **WHY) for _ in range(3)]
    summary = one(lost)
    assert (summary.value, summary.status, summary.count) == (None, "not-measurable", 0)
    assert summary.reasons == (("range", "by the test"),)
