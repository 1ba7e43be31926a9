"""A comparison by use: what both ends of each word allow, and no more."""

from dataclasses import replace

import pytest

from scanqa.model import Judged, Outcome, UseVerdict
from scanqa.records.comparison import compare
from scanqa.report.comparison.by_use import _not_compared, better_for, buyer_sentence, use_rows
from scanqa.words.of_comparison import pairs_note, side_words
from tests.records.builders import measure, qualification
from tests.report.past_pages import comparison

STREAK = Judged(
    "streaks.strongest_visible", "largest magnitude", "<=", 0.5, 3.0, "limited", 1.0, 0.1, "ok",
    words="strongest visible line",
)  # fmt: skip


def side(word, between=(), conditions=(STREAK,)):
    verdict = UseVerdict(
        "covers", word, conditions=conditions, between=between,
        settles="streaks.strongest_visible",
    )  # fmt: skip
    return replace(qualification("a"), outcome=Outcome("limited", uses=(verdict,)))


@pytest.mark.parametrize(
    ("first", "second", "better"),
    [
        (side("fit"), side("limited"), 0),
        (side("unfit"), side("limited"), 1),
        (side("fit"), side("fit"), None),
        (side("not judged", ("fit", "limited")), side("limited"), None),  # it may be limited too
        (side("not judged", ("fit", "limited")), side("unfit"), 0),
        (side("not judged"), side("unfit"), None),  # nothing is known of the first
        (side("fit"), side("not judged"), None),
    ],
)
def test_a_side_is_better_only_where_its_worst_word_is_above_the_others_best(first, second, better):
    found = better_for((first, second))
    assert found == tuple(["covers"] if at == better else [] for at in (0, 1))
    said = buyer_sentence(comparison(), (first, second))
    assert ("is better for covers" in said) == (better is not None)


def test_a_row_says_both_words_what_decides_and_the_difference_with_its_interval():
    (row,) = use_rows(comparison(), (side("limited"), side("fit", conditions=())))
    assert (row.use, row.first, row.second) == ("covers", "limited", "fit")
    assert row.decides.replace("\u202f", " ").replace("\u00a0", " ") == (
        "strongest visible line: 1.00 ± 0.10 % and not known"
    )
    assert row.difference


def test_what_is_not_compared_says_why():
    value = Judged("noise.total", "median", "<=", 3.0, 6.0, "fit", value=1.0, bound="ok")
    bound = replace(value, bound="at-least")
    missing = replace(value, value=None)
    for pair, words in (
        ((value, bound), "a bound on one side or both"),
        ((value, missing), "measured on one side only"),
        ((None, value), "measured on one side only"),
    ):
        assert _not_compared(pair) == f"not compared: {words}"
    assert _not_compared((missing, None)) == "not measured"


def test_a_difference_over_pairs_of_places_says_that_its_values_are_others():
    """Colour registration: the largest anywhere on each side, the difference at the same places."""
    at = [(20.0 * n, 20.0) for n in range(1, 6)]
    sides = []
    for shifts in ((0.30, 0.29, 0.31, 0.30, 0.30), (0.0, 0.01, -1.9, 0.0, 0.01)):
        values = tuple(
            replace(
                measure("colour.registration", shift, 0.01, at_mm=place, scan="a.tif"),
                direction="across", channel="red",
            )
            for shift, place in zip(shifts, at, strict=True)
        )  # fmt: skip
        largest = max(map(abs, shifts))
        judged = Judged(
            "colour.registration", "largest magnitude", "<=", 0.5, 1.0, "limited", largest, 0.01,
            "ok", words="colour registration",
        )  # fmt: skip
        verdict = UseVerdict(
            "covers", "limited", deciding=("colour.registration",), conditions=(judged,)
        )
        found = qualification("ab"[len(sides)], scanner="ab"[len(sides)], measures=values)
        sides.append(replace(found, outcome=Outcome("limited", uses=(verdict,))))
    made = compare(*([side] for side in sides))
    (row,) = use_rows(made, tuple(sides))
    # mean of (second − first) by hand: (−0.30 − 0.28 − 2.21 − 0.30 − 0.29) / 5
    assert row.difference.startswith("−0.68")
    assert row.difference.endswith(
        "the mean of 5 places that both show; the two values are the largest anywhere"
    )
    assert pairs_note(made)


def test_a_side_that_is_a_bound_reads_as_one():
    least = measure("drift.settle_time", 40.89, 0.5, status="at-most")
    sound = measure("drift.settle_time", 60.0, 0.5)
    made = compare([qualification(measures=[least])], [qualification("b", measures=[sound])])
    (row,) = [row for row in made.rows if row.key.name == "drift.settle_time"]
    assert side_words(row) == ("at most 41", "60")
