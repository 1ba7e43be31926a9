"""Bounds as they are read: true for every number, two digits, on their side of every limit.

Truth: rounding worked out in exact fractions, which share no code with decimal rounding.
"""

import math
import re
from fractions import Fraction

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from scanqa.model import Judged
from scanqa.words.numbers import MINUS, MOST_DIGITS, bounded, outward, told
from scanqa.words.of_uses import value_told

MAGNITUDES = st.floats(1e-4, 1e6)
VALUES = st.one_of(MAGNITUDES, MAGNITUDES.map(lambda v: -v))
NOISE = 1e-11  # share that the sums before may have left in the last places


def read(text):
    """The number that a person reads."""
    return Fraction(text.replace(MINUS, "-"))


def digits_of(text):
    """Significant digits of a number as written, zeros at the end of a whole one left out."""
    plain = text.replace(MINUS, "").replace(".", "").lstrip("0")
    return len(plain if "." in text else plain.rstrip("0"))


@given(VALUES, st.booleans())
def test_a_bound_is_true_near_and_has_two_digits(value, upper):
    text = outward(value, upper=upper)
    off = (read(text) - Fraction(value)) * (1 if upper else -1)
    assert off >= -NOISE * abs(Fraction(value))  # never inside what it must hold
    assert off <= Fraction(1, 10) * abs(Fraction(value)) * (1 + Fraction(NOISE))  # a last digit
    assert digits_of(text) <= 2
    assert "e" not in text


@given(MAGNITUDES, st.booleans(), MAGNITUDES.map(lambda v: float(f"{v:.3g}")))
def test_a_bound_stays_on_its_side_of_a_limit(value, upper, limit):
    assume(not math.isclose(value, limit, rel_tol=2e-3))  # four digits tell them apart
    text = outward(value, upper=upper, beside=(limit,))
    assert (read(text) > Fraction(str(limit))) == (value > limit)
    assert digits_of(text) <= MOST_DIGITS


@given(VALUES, st.floats(1e-3, 1e3))
def test_a_range_holds_what_it_held_and_is_little_wider(low, width):
    high = low + width
    assume(high > low)
    first, second = map(read, bounded("between", low, (low, high)).split(" to "))
    slack = NOISE * max(abs(low), abs(high))
    assert first <= Fraction(low) + Fraction(slack)
    assert second >= Fraction(high) - Fraction(slack)
    if max(abs(low), abs(high)) < 10 * width:
        wider = (second - first) / (Fraction(high) - Fraction(low))
        assert wider <= Fraction("1.2") + Fraction(1, 1000)


@pytest.mark.parametrize(
    ("status", "value", "doubt", "ends", "words"),
    [
        ("at-most", 40.89, None, (None, None), "at most 41"),
        ("at-least", 40.89, None, (None, None), "at least 40"),
        ("at-most", 0.1 + 0.2, None, (None, None), "at most 0.30"),
        ("at-least", 99.96, None, (None, None), "at least 99"),
        ("at-most", 99.96, None, (None, None), "at most 100"),
        ("at-most", 0.996, None, (None, None), "at most 1.0"),
        ("at-least", 0.0, None, (None, None), "at least 0"),
        ("at-most", -3.21, None, (None, None), "at most −3.2"),
        ("at-least", 17.51, 2.9, (None, None), "at least 17 ± 3"),
        ("at-most", 2.066, 0.03, (None, None), "at most 2.1"),
        ("between", 0.3, None, (0.0312, 12.4), "0.031 to 13"),
        ("between", 301.0, None, (300.12, 302.43), "300.1 to 302.5"),
        ("ok", 40.89, 0.31, (None, None), "40.89 ± 0.31"),
    ],
)
def test_a_value_reads_as_its_status_lets_it(status, value, doubt, ends, words):
    assert told(status, value, doubt, ends, 2).replace("\u00a0", " ") == words


def test_a_bound_does_not_round_across_the_limit_that_it_was_judged_by():
    judged = Judged(
        "sharpness.effective_dpi", "median", ">=", 273, 123, "fit", 275.4, None, "at-least"
    )
    assert value_told(judged, None) == "at least 275"


def test_digits_are_counted_as_a_reader_does():
    assert [digits_of(text) for text in ("0.040", "41", "1200", "0.0395", "−3.2")] == [
        2,
        2,
        2,
        3,
        2,
    ]
    assert not re.search(r"\d", bounded("ok", 3.0, (None, None)))
