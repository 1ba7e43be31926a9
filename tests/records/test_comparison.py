"""Differences with known truth: how often a false one is claimed, and that true ones are found."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from scanqa.model import Shared
from scanqa.records.comparison import compare
from scanqa.records.weigh import possible
from scanqa.words.of_comparison import comparison_notes, comparison_sentence, gap_words
from tests.records.builders import facts, measure, qualification

SEED = 1979
PLACES = [(x, y) for x in (20.0, 62.0, 105.0, 147.0, 190.0) for y in np.arange(20.0, 280, 43)]
SINGLE = {"noise.temporal": 0.3, "shading.nonuniformity": 4.0, "edges.shadow_left": 2.0}


def scanner(rng, name="heron", *, sfr50=4.0, noise=0.3, dpi=300, jitter_mm=1.0, **single):
    """A qualification: SFR50 falls 10 % to the right, sites scatter by 1 %, values by 0.02."""
    measures = []
    for direction in ("across", "travel"):
        for x, y in PLACES:
            value = sfr50 * (1 - 0.1 * x / 190) * (1 + rng.normal(0, 0.01))
            at = (x + rng.normal(0, jitter_mm), y + rng.normal(0, jitter_mm))
            measures.append(
                measure("sharpness.sheet_sfr50", value, 0.04, at_mm=at, direction=direction)
            )
    for measured, truth in {**SINGLE, "noise.temporal": noise, **single}.items():
        measures.append(measure(measured, truth + rng.normal(0, 0.02), 0.02))
    made = qualification([facts(dpi=(dpi, dpi))], scanner=name, measures=measures)
    return replace(made, options={"print": "sheet 1"})


def row(result, name, direction=""):
    return next(r for r in result.rows if r.key[:2] == (name, direction))


def test_of_200_identical_pairs_at_most_one_in_twenty_claims_a_difference():
    rng = np.random.default_rng(SEED)
    claims = sum(
        any(
            r.p_value is not None and r.verdict not in ("no difference shown",) for r in result.rows
        )
        for result in (compare([scanner(rng)], [scanner(rng, "wren")]) for _ in range(200))
    )
    # 5 % of 200 is 10; four standard errors of a binomial above it would be 22.
    assert claims <= 16


def test_a_sharper_scanner_is_found_with_the_size_of_the_difference():
    rng = np.random.default_rng(SEED)
    result = compare([scanner(rng)], [scanner(rng, "wren", sfr50=4.6)])
    found = row(result, "sharpness.sheet_sfr50", "across")
    assert found.verdict == "second is better"
    assert found.low < 0.6 * 0.95 < found.high  # 0.6 cy/mm at the left, 10 % less at the right
    assert found.unit_of == "pairs of places"
    assert "wren is better in sharpness: SFR50 of this sheet's scan" in comparison_sentence(result)


def test_lower_is_better_for_noise():
    rng = np.random.default_rng(SEED)
    result = compare([scanner(rng, noise=0.3)], [scanner(rng, "wren", noise=0.9)])
    assert row(result, "noise.temporal").verdict == "first is better"


def test_a_shown_difference_may_be_too_small_to_matter():
    rng = np.random.default_rng(SEED)
    result = compare([scanner(rng)], [scanner(rng, sfr50=4.06)])
    found = row(result, "sharpness.sheet_sfr50", "across")
    assert (found.verdict, found.least) == ("second is better", True)  # it may well be more
    one, other = with_streak(5.0, u=0.01), with_streak(5.15, u=0.01)
    result = compare([one], [other])
    assert row(result, STREAK).verdict == "too small to matter"
    assert "No difference shown that would matter" in comparison_sentence(result)


def test_paired_interval_is_scipys():
    rng = np.random.default_rng(SEED)
    a, b = scanner(rng, jitter_mm=0.0), scanner(rng, jitter_mm=0.0)
    result = compare([a], [b])
    found = row(result, "sharpness.sheet_sfr50", "across")
    pick = [[m.value for m in d.measures if m.direction == "across"] for d in (a, b)]
    reference = stats.ttest_rel(pick[1], pick[0])
    interval = reference.confidence_interval(1 - 0.05 / len(result.rows))
    assert found.p_value == pytest.approx(reference.pvalue, rel=1e-9)
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high), rel=1e-9)


def test_repeats_are_the_unit_and_give_scipys_welch_test():
    rng = np.random.default_rng(SEED)
    a, b = [scanner(rng) for _ in range(4)], [scanner(rng) for _ in range(3)]
    result = compare(a, b)
    found = row(result, "noise.temporal")
    pick = [[m.value for d in side for m in d.measures if m.name == "noise.temporal"]
            for side in (a, b)]  # fmt: skip
    reference = stats.ttest_ind(pick[1], pick[0], equal_var=False)
    interval = reference.confidence_interval(1 - 0.05 / len(result.rows))
    assert (found.low, found.high) == pytest.approx((interval.low, interval.high), rel=1e-6)
    assert found.unit_of == "repeats"
    assert found.p_value == pytest.approx(reference.pvalue, rel=1e-6)


@pytest.mark.parametrize("count", [1, 2, 5, 40])
def test_intervals_that_hold_together_are_as_wide_as_bonferronis(count):
    """Closed form: z(1 − α / 2m) standard errors for m values (Dunn 1961); scipy's quantile."""
    names = [f"way-{n}" for n in range(count)]
    sides = [
        qualification(
            [facts(sha256=name)],
            scanner=name,
            measures=[measure("noise.temporal", value, 0.3, direction=way) for way in names],
        )
        for name, value in (("heron", 2.0), ("wren", 3.0))
    ]
    result = compare(sides[:1], sides[1:])
    assert (result.tried, result.together) == (count, 0.95)
    half = stats.norm.ppf(1 - 0.05 / (2 * count)) * 0.3 * 2**0.5
    for found in result.rows:
        assert (found.low, found.high) == pytest.approx((1 - half, 1 + half), rel=1e-9)
        shown = half < 1.0  # 1.96 √2 · 0.3 = 0.83 alone, 0.95 of two, 1.09 of five
        assert (found.verdict == "first is better") == shown


def test_a_bound_that_was_tried_counts_among_the_values():
    one = qualification(
        measures=[measure(STREAK, 0.4, None, status="at-most"), measure("noise.snr")]
    )
    found = compare([one], [replace(one, scanner="wren")])
    assert found.tried == 2
    assert found.alone == pytest.approx(0.975)


def test_all_intervals_hold_their_truths_in_19_of_20_comparisons():
    """40 values whose differences are known: a simultaneous level is one of all of them at once."""
    rng = np.random.default_rng(SEED)
    ways = [f"way-{n}" for n in range(40)]
    truth = rng.normal(0, 1, len(ways))

    def drawn(name, shift):
        values = 5 + shift + rng.normal(0, 0.3, len(ways))
        return qualification(
            scanner=name,
            measures=[
                measure("noise.temporal", float(value), 0.3, direction=way)
                for way, value in zip(ways, values, strict=True)
            ],
        )

    whole = 0
    for _ in range(400):
        rows = compare([drawn("heron", 0 * truth)], [drawn("wren", truth)]).rows
        whole += all(r.low <= truth[ways.index(r.key.direction)] <= r.high for r in rows)
        assert all((r.low <= 0 <= r.high) == (r.verdict == "no difference shown") for r in rows)
    # independent values: (1 − 0.05/40)^40 = 95.1 %; three standard errors of 400 below it
    assert 0.951 - 3 * (0.951 * 0.049 / 400) ** 0.5 <= whole / 400 < 1


def test_values_per_pixel_are_not_compared_across_dpi():
    rng = np.random.default_rng(SEED)
    result = compare([scanner(rng, dpi=300)], [scanner(rng, dpi=600)])
    assert row(result, "noise.temporal").verdict == "not compared"
    assert "300 and 600" in gap_words(row(result, "noise.temporal"), result)
    assert row(result, "sharpness.sheet_sfr50", "across").verdict == "no difference shown"
    assert any("different dpi" in note for note in comparison_notes(result))


def test_what_one_side_lacks_and_lower_bounds_are_not_compared():
    rng = np.random.default_rng(SEED)
    a, b = scanner(rng), scanner(rng)
    b = replace(b, measures=tuple(m for m in b.measures if m.name != "noise.temporal"))
    least = {"status": "at-least", "reason": "rough print", "reason_kind": "print"}
    a = replace(
        a,
        measures=tuple(
            replace(m, **least) if m.name == "sharpness.sheet_sfr50" else m for m in a.measures
        ),
    )
    result = compare([a], [b])
    assert row(result, "noise.temporal").gap == "one-side"
    assert row(result, "sharpness.sheet_sfr50", "across").gap == "bound"


STREAK = "streaks.strongest_visible"


def with_streak(value, status="ok", u=0.05):
    return qualification(measures=[measure(STREAK, value, u, status=status)])


def test_a_line_on_one_side_is_told_where_the_other_shows_none():
    """3 % here, at most 0.4 % there: the difference is 2.6 % or more, and the first told."""
    none, line = with_streak(0.4, "at-most", None), with_streak(3.0)
    result = compare([none], [line])
    found = row(result, STREAK)
    assert (found.verdict, found.gap, found.least) == ("first is better", "", True)
    assert found.difference == pytest.approx(2.6)
    assert found.low <= 2.6 <= found.high
    assert result.rows[0].key.name == STREAK
    assert row(compare([line], [none]), STREAK).difference == pytest.approx(-2.6)
    assert comparison_sentence(result).startswith("heron is better in lines")


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ((0.4, "at-most"), (0.3, "at-most")),  # none on either
        ((0.4, "at-most"), (0.35, "ok")),  # a faint line, which the other may hide
        ((2.0, "at-least"), (3.0, "ok")),  # may be 3 as well
    ],
)
def test_bounds_that_leave_room_for_the_same_are_no_difference(one, other):
    for sides in ((one, other), (other, one)):
        found = row(compare(*([with_streak(*side)] for side in sides)), STREAK)
        assert (found.verdict, found.difference) == ("not compared", None)


def test_a_difference_between_bounds_must_exceed_its_doubt():
    """At most 0.4 and 0.6 ± 0.2 (one sigma): 0.2 beyond, which is one sigma."""
    found = row(compare([with_streak(0.4, "at-most", None)], [with_streak(0.6, u=0.2)]), STREAK)
    assert found.verdict == "no difference shown"
    assert found.difference == pytest.approx(0.2)


def printed(rng, label, sfr50, blur=0.7):
    """Sharpness that one rough print limits: less than the scanner's at every site."""
    made = scanner(rng, sfr50=sfr50 * blur)
    measures = [m for m in made.measures if m.name == "sharpness.sheet_sfr50"]
    return replace(made, measures=tuple(measures), options={"print": label} if label else {})


def test_eight_percent_on_one_rough_print_are_found_as_at_least_so_much():
    rng = np.random.default_rng(SEED)
    one, other = printed(rng, "sheet 1", 4.0), printed(rng, "sheet 1", 4.0 * 1.08)
    found = row(compare([one], [other]), "sharpness.sheet_sfr50", "across")
    assert (found.verdict, found.least) == ("second is better", True)
    # 8 % of 4.0 · 0.7, 5 % less in the mean over the bed
    assert found.low <= 0.08 * 4.0 * 0.7 * 0.95 <= found.high


def test_rough_prints_that_may_be_two_are_not_compared():
    rng = np.random.default_rng(SEED)
    for labels in (("", ""), ("sheet 1", "sheet 2"), ("sheet 1", "")):
        one, other = (printed(rng, label, v) for label, v in zip(labels, (4, 4.3), strict=True))
        found = row(compare([one], [other]), "sharpness.sheet_sfr50", "across")
        assert found.gap == "other-print"


def test_equals_on_one_rough_print_differ_once_in_twenty_at_most():
    rng = np.random.default_rng(SEED)
    claims = 0
    for _ in range(200):
        result = compare([printed(rng, "A", 4.0)], [printed(rng, "A", 4.0)])
        claims += any("better" in r.verdict for r in result.rows)
    assert claims <= 16  # as for values above


@pytest.mark.parametrize(
    "name",
    [
        "tone.white",
        "banding.period",
        "colour.paper_a",
        "gutter.plateau",
        "noise.paper",
        "noise.total",
    ],
)
def test_what_is_the_papers_or_tells_a_cause_is_no_difference_of_scanners(name):
    sides = ([qualification(measures=[measure(name, value, 0.01)])] for value in (90.0, 95.0))
    assert compare(*sides).rows == ()


def test_swapping_the_sides_swaps_the_verdict():
    rng = np.random.default_rng(SEED)
    a, b = scanner(rng), scanner(rng, "wren", sfr50=4.6)
    there, back = compare([a], [b]), compare([b], [a])
    for r in there.rows:
        other = row(back, *r.key[:2])
        assert other.difference == pytest.approx(-r.difference)
        swap = {"first is better": "second is better", "second is better": "first is better"}
        assert other.verdict == swap.get(r.verdict, r.verdict)


def test_an_uncertainty_of_nothing_is_believed_of_counts_only():
    rng = np.random.default_rng(SEED)
    a, b = (
        replace(
            scanner(rng),
            measures=(measure("noise.snr", 45.0 + n, 0.0), measure("glass.marks", n, 0.0)),
        )
        for n in (1.0, 4.0)
    )
    result = compare([a], [b])
    assert row(result, "noise.snr").gap == "no-uncertainty"
    assert row(result, "glass.marks").verdict == "first is better"
    assert row(compare([a], [a]), "glass.marks").verdict == "no difference shown"


def test_what_does_not_show_in_print_is_no_difference():
    rng = np.random.default_rng(SEED)
    a, b = (
        replace(scanner(rng), measures=(measure("tone.black", black, 0.002),))
        for black in (6.28, 6.32)
    )
    assert row(compare([a], [b]), "tone.black").verdict == "no difference shown"


def with_dpi(name, label, value=300.0):
    doubt = Shared("print", label, 1.5)
    measured = measure("geometry.dpi_across", value, np.hypot(0.2, 1.5), shared=(doubt,))
    return qualification([facts(sha256=name)], scanner=name, measures=[measured])


def test_what_one_print_makes_unsure_is_no_doubt_between_two_scanners_on_it():
    # 0.2 dpi of scatter each: the difference of 2 dpi is sure within ± 1.96 √2 · 0.2. With prints
    # of their own each side adds 1.5 dpi, and nothing is shown.
    same = row(compare([with_dpi("a", "A")], [with_dpi("b", "A", 302.0)]), "geometry.dpi_across")
    apart = row(compare([with_dpi("a", "A")], [with_dpi("b", "B", 302.0)]), "geometry.dpi_across")
    assert same.verdict != "no difference shown"
    assert (same.high - same.low) / 2 == pytest.approx(1.96 * 2**0.5 * 0.2, rel=0.01)
    assert apart.verdict == "no difference shown"
    assert (apart.high - apart.low) / 2 == pytest.approx(
        1.96 * 2**0.5 * np.hypot(0.2, 1.5), rel=0.01
    )


def test_prints_that_nobody_named_may_be_two():
    unnamed = row(compare([with_dpi("a", "")], [with_dpi("b", "", 302.0)]), "geometry.dpi_across")
    assert unnamed.verdict == "no difference shown"


def test_values_of_one_dpi_are_compared_though_a_side_has_another_too():
    both = qualification(
        [facts(file="a.tif"), facts(file="b.tif", dpi=(600.0, 600.0), sha256="b")],
        measures=[
            measure("noise.temporal", scan="a.tif"),
            measure("noise.temporal", 9.0, scan="b.tif"),
        ],
    )
    one = qualification(
        [facts(sha256="c")], scanner="wren", measures=[measure("noise.temporal", scan="a.tif")]
    )
    found = row(compare([both], [one]), "noise.temporal")
    assert (found.first, found.second, found.key.dpi) == (1.25, 1.25, 300)


def test_no_share_of_what_is_there_can_fall_by_more_than_all_of_it():
    """98.6 ± 1.7 % and 40.6 ± 24.7 %: an interval of a normal law would go on below −100 %."""
    sides = [
        qualification(scanner=name, measures=[measure("gutter.focus_at_5mm", value, doubt)])
        for name, value, doubt in (("a", 98.6, 1.7), ("b", 40.6, 24.7))
    ]
    result = compare([sides[0]], [sides[1]], family_error=1e-4)
    found = row(result, "gutter.focus_at_5mm")
    width = stats.norm.ppf(1 - 1e-4 / 2) * np.hypot(1.7, 24.7)
    assert -58.0 - width < -100.0  # what it would be uncut, by scipy
    assert (found.low, found.high) == (-100.0, pytest.approx(-58.0 + width, abs=0.01))
    assert found.verdict == "no difference shown"


@given(st.floats(-150, 150), st.floats(0, 200))
def test_a_cut_interval_keeps_what_was_found_and_all_that_is_possible(difference, half):
    low, high = possible("gutter.focus_at_5mm", difference, difference - half, difference + half)
    assert low <= difference <= high
    for truth in np.linspace(-100, 100, 41):  # all that two shares can differ by
        if difference - half <= truth <= difference + half:
            assert low <= truth <= high
    assert possible("edges.shadow_left", difference, -half, half) == (-half, half)
