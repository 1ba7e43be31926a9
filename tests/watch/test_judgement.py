"""The running judgement on features made by hand: what alarms, what never does."""

from __future__ import annotations

import numpy as np
import pytest

from scanqa.watch.line_state import Laid, Search
from scanqa.watch.line_watch import search
from scanqa.watch.sampling import CHART, lots, sample_of
from scanqa.watch.slow_change import advance_charts

WIDTH, ERROR, AT = 400, 0.04, 150


def laid(number, rng, *, line=0.0, ends=None, skew=None, hidden=False):
    """A page of pure chance, with a line of so many per cent."""
    off, end = (rng.normal(0, e, WIDTH).astype(np.float32) for e in (ERROR, 3 * ERROR))
    off[AT] += line
    end[AT] += line if ends is None else ends
    if hidden:
        off[AT] = np.nan
    skew = float(rng.normal(0, 0.2)) if skew is None else skew
    errors = np.full(WIDTH, ERROR, np.float32)
    return Laid(number, off, errors, end, 3 * errors, number % 2 == 1, skew)


def run(pages):
    state = Search(WIDTH)
    for page in pages:
        state = search(state, page)
    return state


def test_one_page_alone_never_makes_a_line():
    rng = np.random.default_rng(1)
    assert run(laid(n, rng, line=50.0 if n == 25 else 0.0) for n in range(40)).lines == ()


def test_two_pages_do_not_either_and_three_that_are_far_off_do():
    for count, found in ((2, 0), (3, 1)):
        rng = np.random.default_rng(2)
        state = run(
            laid(n, rng, line=-1.0 if 25 <= n < 25 + count else 0.0) for n in range(25 + count)
        )
        assert len(state.lines) == found


def test_a_faint_line_takes_some_pages_until_its_margins_are_certain():
    rng = np.random.default_rng(3)
    state = run(laid(n, rng, line=0.25 if n >= 25 else 0.0) for n in range(28))
    assert state.lines == ()
    for n in range(28, 33):
        state = search(state, laid(n, rng, line=0.25))
    (line,) = state.lines
    assert (line.kind, line.column, line.since) == ("line", pytest.approx(AT, abs=0.3), 25)
    assert line.contrast == pytest.approx(0.25, abs=3 * line.error + 0.02)


def test_pages_that_cannot_be_judged_neither_break_nor_make_a_run():
    rng = np.random.default_rng(4)
    state = run(
        laid(n, rng, line=1.0 if n >= 25 else 0.0, hidden=n in (26, 27, 29)) for n in range(31)
    )
    assert [line.since for line in state.lines] == [25]


def test_a_rule_that_does_not_reach_the_margins_is_print():
    rng = np.random.default_rng(5)
    state = run(laid(n, rng, line=-8.0 if n >= 25 else 0.0, ends=0.0) for n in range(60))
    assert state.lines == ()


def test_what_bleeds_and_never_moves_is_line_or_print():
    rng = np.random.default_rng(6)
    state = run(laid(n, rng, line=-8.0 if n >= 25 else 0.0, skew=0.0) for n in range(60))
    assert [line.kind for line in state.lines] == ["line-or-print"]


def test_print_that_ends_is_no_bright_line():
    rng = np.random.default_rng(7)
    state = run(laid(n, rng, line=-8.0 if n < 25 else 0.0) for n in range(60))
    assert state.lines == ()


def test_a_line_that_is_cleaned_away_ends_with_its_last_page():
    rng = np.random.default_rng(8)
    state = run(laid(n, rng, line=-1.0 if 25 <= n <= 34 else 0.0) for n in range(45))
    (line,) = state.lines
    assert (line.since, line.last, line.gone) == (25, 34, True)


def test_pure_chance_gives_no_line_in_two_hundred_thousand_columns_of_pages():
    rng = np.random.default_rng(9)
    assert run(laid(n, rng) for n in range(500)).lines == ()


def charted(values, name="light"):
    charts, found = {}, []
    for number, value in enumerate(values):
        charts, shifts = advance_charts(charts, {name: value}, number)
        found += [(number, shift) for shift in shifts]
    return found


def test_light_that_falls_by_five_per_cent_is_told_once_and_soon():
    rng = np.random.default_rng(10)
    values = rng.normal(0, 1.0, 80) - 5.0 * (np.arange(80) >= 40)
    ((number, shift),) = charted(values)
    assert 40 <= number < 60
    assert shift.since == pytest.approx(40, abs=2)
    assert abs(shift.size + 5) < 4 * shift.error


def test_a_steady_job_of_ten_thousand_pages_tells_of_no_light():
    rng = np.random.default_rng(11)
    assert charted(rng.normal(0, 1.0, 10_000)) == []


def test_one_dark_plate_is_no_change_of_light():
    rng = np.random.default_rng(12)
    values = rng.normal(0, 1.0, 80)
    values[50] = -60.0
    assert charted(values) == []


def test_samples_are_those_of_the_published_chart():
    # Chart of the Biodiversity Heritage Library after ANSI tables, published-values.md, READ-2.
    for lot, sample, reject in (
        (9, 3, 1), (15, 3, 1), (16, 5, 1), (25, 5, 1), (26, 8, 1), (50, 8, 1), (51, 13, 2),
        (90, 13, 2), (91, 20, 3), (150, 20, 3), (151, 32, 4), (280, 32, 4), (281, 50, 5),
        (500, 50, 5),
    ):  # fmt: skip
        assert sample_of(lot) == (sample, reject)
    assert sample_of(4) == (4, 1)
    for wrong in (0, 501):
        with pytest.raises(ValueError, match="a lot has"):
            sample_of(wrong)
    assert CHART[-1][0] == 500


def test_lots_hold_every_page_once_and_their_samples_can_be_drawn_again():
    files = [(f"{n:04d}.tif", f"{n:064x}") for n in range(1203)]
    made = lots(files)
    assert [lot.pages for lot in made] == [401, 401, 401]
    assert sum(lot.pages for lot in made) == len(files)
    assert all(len(set(lot.sample)) == 50 for lot in made)
    assert lots(files) == made
    other = lots([("0000.tif", "f" * 64), *files[1:]])
    assert other[0].sample != made[0].sample
