"""What is new since the check before: by place for streaks and marks, by charts for the rest."""

import numpy as np
import pytest

from scanqa.model import Outcome
from scanqa.records import store
from scanqa.records.health import health
from scanqa.records.looking_back import health_of, keep
from scanqa.records.news import news
from scanqa.words.of_history import news_sentence, news_words
from tests.records.builders import facts, mark, measure, qualification, streak
from tests.records.test_health import life, steady

QUIET = health("heron", [])


def check(streaks=(), marks=(), **more):
    return qualification(streaks=tuple(streaks), glass_marks=tuple(marks), **more)


def words(found):
    return tuple(map(news_words, found.items))


def test_nothing_new_says_so():
    found = news(check([streak()], [mark()]), check([streak(71.5)], [mark(52.6, 87.5)]), QUIET)
    assert found.items == ()
    assert news_sentence(found) == "Nothing new since 2026-11-25."


def test_a_new_streak_and_mark_are_named_with_their_place():
    found = news(check([streak()], [mark()]), check(), QUIET)
    assert words(found) == (
        "new dark line at x 71.3 mm (1.5 %)",
        "new dark spot on the glass at x 52, y 88 mm",
    )


def test_what_is_gone_is_named_too():
    found = news(check(), check([streak()], [mark()]), QUIET)
    assert [item.rpartition(" ")[2] for item in words(found)] == ["gone", "gone"]


@pytest.mark.parametrize(
    "other",
    [streak(75.0), streak(polarity="bright"), streak(axis="across")],
)
def test_a_streak_elsewhere_or_of_another_kind_is_another(other):
    assert len(news(check([streak()]), check([other]), QUIET).items) == 2


def test_what_can_hardly_be_seen_is_no_news():
    faint = streak(contrast=0.25, visible=False)
    assert news(check([faint], [mark(contrast=3.0)]), check(), QUIET).items == ()


def test_the_same_streak_in_two_scans_is_named_once():
    assert len(news(check([streak(), streak(71.4, 1.3)]), check(), QUIET).items) == 1


def test_many_are_counted():
    streaks = [streak(10.0 * i) for i in range(1, 10)]
    items = words(news(check(streaks), check(), QUIET))
    assert items[-1] == "new lines: 5 more"
    assert len(items) == 5


def test_a_measure_whose_chart_alarmed_today_is_news():
    columns = steady(np.random.default_rng(3))
    columns["noise.total"][-1] = 18.0
    found = news(check(), check(), health("heron", life(columns)))
    assert len(found.items) == 1
    assert words(found)[0].endswith(" to 18.00 L*")


def test_an_outcome_that_changed_is_news():
    found = news(check(outcome=Outcome("limited")), check(outcome=Outcome("fit")), QUIET)
    assert words(found) == ("the outcome went from fit to limited",)


def test_without_paper_on_both_sides_nothing_is_said_of_streaks():
    dark = check([streak()], scans=[facts(role="dark", sha256="d")])
    assert news(dark, check(), QUIET).items == ()


def test_keep_looks_back_to_the_check_before(engine):
    first = check(conditions={"date": "2026-01-05"})
    assert keep(engine, first)[1] is None
    late = check([streak()], scans="b", conditions={"date": "2026-03-05"})
    between = check(scans="c", conditions={"date": "2026-02-05"})
    assert keep(engine, late)[1].news.since == "2026-01-05"
    assert keep(engine, between)[1].news.since == "2026-01-05"
    _, past = keep(engine, late)
    assert past.news.since == "2026-02-05"
    assert words(past.news) == ("new dark line at x 71.3 mm (1.5 %)",)
    assert past.health.checks == 3


def test_only_the_newest_checks_are_read_and_the_rest_is_told(engine):
    for i in range(6):
        store.add(
            engine,
            qualification(f"{i}", measures=[measure(value=float(i))],
                          conditions={"date": f"2026-0{i + 1}-01"}),
        )  # fmt: skip
    found = health_of(engine, "heron", newest=4)
    assert (found.checks, found.on_record) == (4, 6)
    assert found.series[0].values == (2.0, 3.0, 4.0, 5.0)
    later = health_of(engine, "heron", newest=None, since="2026-04-01")
    assert later.series[0].values == (3.0, 4.0, 5.0)
