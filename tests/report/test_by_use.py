"""A comparison by use: what both ends of each word allow, and no more."""

from dataclasses import replace

import pytest

from scanqa.model import Judged, Outcome, UseVerdict
from scanqa.report.comparison.by_use import _not_compared, better_for, buyer_sentence, use_rows
from tests.records.builders import qualification
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
