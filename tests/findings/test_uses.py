"""Fit, limited, unfit: limits that follow from the published quality index, and the worst decides.

Quality index: Cornell University Library, tutorial "Moving Theory into Practice", section
"Benchmarking resolution requirements": QI = dpi × 0.039 h / 2 for characters in grey (from
memory; the bitonal form with /3 was read), dpi = QI / (0.039 w) for strokes (read);
levels 8 excellent, 5 good, 3.6 marginal (read); strokes 1.5 good, 1 questionable (read).
"""

import re
import tomllib
from importlib import resources
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from scanqa.catalogue import FAMILIES, SECOND_LOOKS
from scanqa.errors import BadOption
from scanqa.findings import judge
from scanqa.findings.uses import MISSES_A_SCAN, judge_uses, outcome
from scanqa.findings.uses_file import _among, own_uses, read_uses
from scanqa.model import LineSigns, Measurement, Results, ScanFacts, Streak
from scanqa.model.result import ReasonKind
from scanqa.summary import summarise
from scanqa.words.of_uses import next_scan, use_word, worded_outcome


def condition(use_name, measure):
    text = (resources.files("scanqa.findings") / "uses.toml").read_text("utf-8")
    (use,) = [u for u in tomllib.loads(text)["use"] if u["name"] == use_name]
    (found,) = [c for c in use["condition"] if c["measure"] == measure]
    return found


def test_text_limits_are_the_quality_index_at_one_and_a_half_millimetres():
    limits = condition("text", "sharpness.effective_dpi")
    assert limits["fit"] == pytest.approx(2 * 8 / (0.039 * 1.5), abs=1)
    assert limits["limited"] == pytest.approx(2 * 3.6 / (0.039 * 1.5), abs=1)


def test_line_limits_are_the_quality_index_of_a_stroke():
    limits = condition("fine line drawings", "sharpness.effective_dpi")
    assert limits["fit"] == pytest.approx(1.5 / (0.039 * 0.15), abs=1)
    assert limits["limited"] == pytest.approx(1.0 / (0.039 * 0.15), abs=1)


def results(dpi, streak=0.0, **more):
    return Results(
        (
            Measurement("sharpness.effective_dpi", dpi, 2.0, direction="across", **more),
            Measurement("sharpness.effective_dpi", dpi + 20, 2.0, direction="travel", **more),
            Measurement("streaks.strongest_visible", streak, 0.1),
        )
    )


def judged(found, uses, scans=()):
    """Every use's word and its reason."""
    verdicts = judge_uses(summarise(found.measurements, scans), uses)
    return worded_outcome(outcome(verdicts), ()).uses


def word(found, use, scans=()):
    return next(u for u in judged(found, own_uses(), scans) if u.use == use)


@pytest.mark.parametrize(("dpi", "fitness"), [(290, "fit"), (200, "limited"), (100, "unfit")])
def test_the_worse_direction_decides_text(dpi, fitness):
    assert word(results(dpi), "text").fitness == fitness


def test_a_strong_streak_makes_sharp_text_limited_and_is_named():
    found = word(results(290, streak=30.0), "text")
    assert found.fitness == "limited"
    assert found.deciding == ("streaks.strongest_visible",)


@pytest.mark.parametrize("at_most", [0.4, 2.25])
def test_no_line_found_is_a_bound_that_judges_and_is_quoted(at_most):
    """Blanks after JPEG: at most so much may have vanished; it is never 'not measured'."""
    found = Results(
        (
            Measurement(
                "streaks.strongest_visible", at_most, None, "at-most", "JPEG", reason_kind="noise"
            ),
            Measurement("shading.nonuniformity", 3.0, 0.1),
        )
    )
    pictures = word(found, "halftone pictures")
    assert {0.4: "at most 0.40 %", 2.25: "at most 2.3 %"}[at_most] in pictures.reason
    assert "strongest visible line was not measured" not in pictures.reason
    # 0.5 is fit and 3 limited: up to 0.4 is fit whatever it is; up to 2.25 it may be either
    expected = ("fit", ()) if at_most <= 0.5 else ("not judged", ("fit", "limited"))
    assert (pictures.fitness, pictures.between) == expected
    lines = next(c for c in pictures.conditions if c.measure == "streaks.strongest_visible")
    assert (lines.fitness, lines.between) == expected


def of_book(*, unseen=1.0, focus=80.0, best_margin=0.2):
    """A book that darkens little: what decides is what the sensor sees of it, and how sharp."""
    found = [
        Measurement("gutter.delta_L_at_5mm", 3.0, 0.2),
        Measurement("edges.dead_margin_right", best_margin, 0.1),
        Measurement("gutter.unseen", unseen, 0.1),
    ]
    if focus is not None:
        found.append(Measurement("gutter.focus_at_5mm", focus, 2.0))
    return word(Results(tuple(found)), "bound pages to the spine")


@pytest.mark.parametrize(
    ("book", "fitness", "decides"),
    [
        ({}, "fit", "gutter.focus_at_5mm"),
        ({"focus": None}, "fit", "gutter.unseen"),  # no ramp was scanned
        ({"focus": 15.0}, "unfit", "gutter.focus_at_5mm"),
        ({"focus": 40.0}, "limited", "gutter.focus_at_5mm"),
        ({"unseen": 4.5}, "limited", "gutter.unseen"),  # though the best of four sides sees all
    ],
)
def test_books_are_judged_by_the_side_where_they_lay_and_by_the_detail_left(book, fitness, decides):
    found = of_book(**book)
    assert found.fitness == fitness
    assert decides in found.deciding


def test_a_lower_bound_is_never_unfit_nor_said_to_be_usable():
    more = {"status": "at-least", "reason": "rough print", "reason_kind": "print"}
    found = word(results(100, **more), "text")  # 100 dpi or more; the text needs 123
    assert found.fitness == "not judged"
    assert "at least 100 dpi" in found.reason
    more_or_less = word(results(150, **more), "text")  # 150 dpi or more: usable, or more than that
    assert more_or_less.fitness == "not judged"
    assert more_or_less.between == ("fit", "limited")
    assert more_or_less.settles == "sharpness.effective_dpi"
    assert "unfit is excluded" in more_or_less.reason
    assert SECOND_LOOKS["another-edge"] in more_or_less.reason
    assert word(results(280, **more), "text").fitness == "fit"


def test_a_lower_bound_of_something_that_should_be_small_is_unfit_or_unknown():
    def covers(value):
        even = Measurement(
            "shading.nonuniformity", value, None, "at-least", "clipped paper",
            reason_kind="clipped",
        )  # fmt: skip
        clean = Measurement("streaks.strongest_visible", 0.0, 0.1)
        return word(Results((even, clean)), "covers")

    assert covers(25.0).fitness == "unfit"  # 25 % or more, where 20 % is the limit
    assert covers(3.0).fitness == "not judged"
    assert "at least 3.0 %" in covers(3.0).reason


@pytest.mark.parametrize(
    ("low", "high", "said"),
    [
        (280.0, 290.0, "fit"),
        (130.0, 200.0, "limited"),
        (130.0, 290.0, "fit or limited"),
        (100.0, 200.0, "limited or unfit"),
        (100.0, 290.0, "not judged"),
    ],
)
def test_a_range_is_judged_as_far_as_both_its_ends_agree(low, high, said):
    more = {"status": "between", "reason": "two ways to read it", "reason_kind": "unclear"}
    value = Measurement(
        "sharpness.effective_dpi", high - 1, 2.0, direction="across", low=low, high=high, **more
    )
    found = word(Results((value,)), "text")
    assert use_word(found) == said
    assert f"between {low:.0f} and {high:.0f} dpi" in found.reason


@pytest.mark.parametrize(
    ("dpi", "uncertainty", "said"),
    [(290.0, 8.0, "fit"), (290.0, 9.0, "fit or limited"), (130.0, 4.0, "limited or unfit")],
)
def test_twice_the_uncertainty_must_give_the_same_word(dpi, uncertainty, said):
    value = Measurement("sharpness.effective_dpi", dpi, uncertainty, direction="across")
    assert use_word(word(Results((value,)), "text")) == said  # 273 for fit, 123 for limited


def test_what_is_unfit_for_sure_needs_no_other_measure():
    """The worst condition decides: evenness, though needed, can make it no better."""
    strong, faint = (Measurement("streaks.strongest_visible", v, 0.1) for v in (9.0, 1.0))
    assert word(Results((strong,)), "covers").fitness == "unfit"
    some = word(Results((faint,)), "covers")
    assert (some.fitness, some.between) == ("not judged", ("limited", "unfit"))
    assert some.settles == "shading.nonuniformity"
    assert FAMILIES["shading"].needs in some.reason


def test_an_outcome_with_open_uses_is_partly_judged_and_keeps_the_word_of_the_others():
    verdicts = judge_uses(summarise(results(290).measurements), own_uses())
    whole = outcome(verdicts)
    assert (whole.fitness, whole.judged) == ("partly judged", "fit")
    assert outcome([each for each in verdicts if each.fitness == "fit"]).fitness == "fit"
    assert outcome(()).fitness == "not judged"


@pytest.mark.parametrize(("role", "counts"), [("bed-sheet", True), ("claim", False)])
def test_a_scan_of_which_it_is_not_known_what_it_shows_judges_no_use(role, counts):
    scan = ScanFacts(
        "some.tif", role, 2480, 3508, 8, 3, (300.0, 300.0), "file", 0, None, "tiff", False,
        "sRGB assumed", "0" * 64,
    )  # fmt: skip
    found = judge(results(290, scan="some.tif"), (scan,)).outcome
    text = next(use for use in found.uses if use.use == "text")
    assert text.fitness == ("fit" if counts else "not judged")
    assert text.between == ()


def test_without_the_required_measure_there_is_no_word():
    found = word(Results(), "text")
    assert found.fitness == "not judged"
    assert "effective dpi" in found.reason


GOOD = """
[[use]]
name = "labels"
sentence = "Labels with letters from 1 mm up"

[[use.condition]]
measure = "sharpness.effective_dpi"
statistic = "median of the worse direction"
operator = ">="
fit = 410
limited = 185
required = true
words = "effective dpi"
"""


def test_uses_of_ones_own_are_judged_like_ours(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD, "utf-8")
    uses = read_uses(path)
    verdicts = {dpi: judged(results(dpi), uses)[0].fitness for dpi in (420, 200, 150)}
    assert verdicts == {420: "fit", 200: "limited", 150: "unfit"}
    assert judged(Results(), uses)[0].fitness == "not judged"


def test_a_use_of_which_nothing_is_known_is_not_judged(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace("required = true\n", ""), "utf-8")
    (verdict,) = judged(Results(), read_uses(path))
    assert verdict.fitness == "not judged"
    assert "nothing of it is known" in verdict.reason


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ('"sharpness.effective_dpi"', '"sharpness.efective_dpi"', "did you mean 'sharpness.effe"),
        ('"median of the worse direction"', '"mean"', "did you mean 'median'"),
        ('">="', '"=>"', "write one of >=, >, <=, <"),
        ("fit = 410", 'fit = "410"', "fit = '410': write a number"),
        ("fit = 410", "fit = true", "write a number"),
        ("fit = 410", "fit = nan", "give a finite number"),
        ("fit = 410", "fit = 100", "milder than limited"),
        ("limited = 185\n", "", "'limited' is missing; add it"),
        ("required =", "requird =", "did you mean 'required'?"),
        ("required = true", "required = 1", "write true or false"),
        ('words = "effective dpi"', 'words = " "', "words is empty"),
        ('name = "labels"', "name = 3", "name = 3: write words in quotes"),
        ("[[use.condition]]", "[[use.conditions]]", "write [[use.condition]] below it"),
        ("[[use]]", "[[uses]]", "write [[use]] before each use"),
        ("[[use]]", "[use", "is not TOML"),
        ("operator", "opera\x00tor", "is not TOML"),
    ],
)
def test_what_is_wrong_with_a_file_is_one_line_with_file_row_and_remedy(old, new, said, tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD.replace(old, new, 1), "utf-8")
    with pytest.raises(BadOption) as caught:
        read_uses(path)
    line = str(caught.value)
    assert said in line
    assert line.startswith(str(path))
    assert "\n" not in line
    if "TOML" not in line and "[[use]]" not in line:
        assert "use 1" in line


def test_files_that_are_none_are_one_line_too(tmp_path):
    binary = tmp_path / "scan.toml"
    binary.write_bytes(b"\xff\xfe\x00")
    empty = tmp_path / "empty.toml"
    empty.write_text("")
    for path in (binary, empty, tmp_path, tmp_path / "absent.toml"):
        with pytest.raises(BadOption, match=path.name):
            read_uses(path)


def test_two_uses_of_one_name_are_refused(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(GOOD + GOOD, "utf-8")
    with pytest.raises(BadOption, match=r"use 2: the name 'labels' is taken"):
        read_uses(path)


def test_the_example_of_the_guide_is_a_file_of_uses(tmp_path):
    text = (Path(__file__).parents[2] / "scanqa/findings/README.md").read_text("utf-8")
    (example,) = re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
    path = tmp_path / "orchard.toml"
    path.write_text(example, "utf-8")
    lists, plates = read_uses(path)
    # letters of 1.2 mm: QI 8 (excellent) and 3.6 (marginal)
    assert lists.conditions[0].fit == pytest.approx(2 * 8 / (0.039 * 1.2), abs=1)
    assert lists.conditions[0].limited == pytest.approx(2 * 3.6 / (0.039 * 1.2), abs=1)
    assert judged(results(350), (lists, plates))[0].fitness == "fit"


@pytest.mark.parametrize(
    ("status", "kind", "scan"),
    [
        ("at-least", "print", "another-edge"),
        ("at-least", "cut", "another-edge"),
        ("at-least", "sampling", "finer"),  # another edge would not show what no sample holds
        ("at-most", "software", "untouched"),
        ("at-most", "compression", "lossless"),
    ],
)
def test_the_scan_that_settles_a_bound_is_told_by_why_it_is_one(status, kind, scan):
    found = word(results(200, status=status, reason="some", reason_kind=kind), "text")
    assert found.fitness == "not judged"
    assert (found.settles, found.settled_by) == ("sharpness.effective_dpi", scan)
    assert SECOND_LOOKS[scan] in found.reason


@pytest.mark.parametrize("use", ["halftone pictures", "covers"])
def test_light_over_small_paper_is_settled_by_paper_that_covers_the_glass(use):
    """The same paper turned would not show the light beyond its border."""
    why = {"status": "at-least", "reason": "over the paper only", "reason_kind": "too-small"}
    light = Measurement("shading.nonuniformity", 2.0, 0.1, **why)
    clean = Measurement("streaks.strongest_visible", 0.0, 0.1)
    grain = Measurement("noise.total", 0.5, 0.01)
    found = word(Results((light, clean, grain)), use)
    assert (found.fitness, found.settles) == ("not judged", "shading.nonuniformity")
    assert found.settled_by == "whole-glass"
    assert SECOND_LOOKS["whole-glass"] in found.reason


def test_a_measure_without_value_is_settled_by_the_scan_of_its_family():
    found = word(Results(), "bound pages to the spine")
    assert (found.settles, found.settled_by) == ("gutter.delta_L_at_5mm", "gutter")
    assert FAMILIES["gutter"].needs in found.reason


def test_an_uncertain_noise_is_not_settled_by_another_day():
    clean = Measurement("streaks.strongest_visible", 0.0, 0.1)
    even = Measurement("shading.nonuniformity", 2.0, 0.1)
    grain = Measurement("noise.total", 2.0, 0.3)
    found = word(Results((clean, even, grain)), "halftone pictures")
    assert (found.between, found.settled_by) == (("fit", "limited"), "noise")


def test_what_another_condition_excludes_anyway_settles_nothing():
    """A line of 9 % leaves limited at best: whether dpi is fit or limited does not matter."""
    more = {"status": "between", "reason": "two ways to read it", "reason_kind": "unclear"}
    dpi = Measurement("sharpness.effective_dpi", 200.0, 2.0, low=150.0, high=300.0, **more)
    line = Measurement("streaks.strongest_visible", 12.0, 0.1)
    faint_or_gross = Measurement("noise.total", 7.0, 1.0)  # limited or unfit
    found = word(Results((dpi, line, faint_or_gross)), "text")
    assert (found.between, found.settles) == (("limited", "unfit"), "noise.total")


def test_the_next_scan_is_the_one_that_settles_most_uses():
    clean = Measurement("streaks.strongest_visible", 0.0, 0.1)
    even = Measurement("shading.nonuniformity", 2.0, 0.1)
    verdicts = judge_uses(summarise((clean, even)), own_uses())
    found = outcome(verdicts)
    assert [each.settled_by for each in verdicts] == ["sharpness", "sharpness", "", "", "gutter"]
    assert (found.fitness, found.next_scan) == ("partly judged", "sharpness")
    assert outcome([each for each in verdicts if each.fitness == "fit"]).next_scan == ""


def blank(name, paper):
    return ScanFacts(
        name, "blank", 2480, 3508, 8, 3, (300.0, 300.0), "file", 0, None, "tiff", False,
        "sRGB assumed", "0" * 64, paper=paper,
    )  # fmt: skip


def judged_covers(papers, *, nonuniformity):
    """The outcome of clean blanks whose paper lies so, for covers alone; a value and its doubt."""
    scans = [blank(f"{at}.tif", paper) for at, paper in enumerate(papers)]
    measured = (
        Measurement("streaks.strongest_visible", 0.0, 0.1, scan="0.tif"),
        Measurement("shading.nonuniformity", *nonuniformity, scan="0.tif"),
    )
    covers = [use for use in own_uses() if use.name == "covers"]
    return judge(Results(measured), scans, uses=covers).outcome


@pytest.mark.parametrize(
    ("papers", "fitness"),
    [
        (("first",), "partly judged"),
        (("first", "still"), "partly judged"),
        (("first", "moved"), "fit"),
        (("first", "quarter"), "fit"),
    ],
)
def test_only_a_blank_whose_paper_moved_makes_a_whole_fit(papers, fitness):
    """All that one use rests on may be good: marks on the glass are not known from one look."""
    found = judged_covers(papers, nonuniformity=(2.0, 0.1))
    assert (found.fitness, found.judged) == (fitness, "fit")
    assert found.next_scan == ("" if fitness == "fit" else "paper-moved")


@pytest.mark.parametrize(
    ("papers", "scan"),
    [(("first", "moved"), "paper-half"), (("first", "half"), ""), (("first", "quarter"), "")],
)
def test_a_scan_that_is_in_the_set_is_not_named_as_the_next_one(papers, scan):
    """Light whose unevenness is uncertain about its limit: the paper turned tells it, once."""
    found = judged_covers(papers, nonuniformity=(8.0, 0.5))
    (verdict,) = found.uses
    assert (verdict.between, verdict.settled_by) == (("fit", "limited"), scan)
    said = worded_outcome(found, ())
    assert ("turned by 180" in said.uses[0].reason) == bool(scan)
    assert ("are in the set" in said.uses[0].reason) == (not scan)
    assert next_scan(said).startswith("Scan next: " if scan else "No scan that is missing")


LOOKS_AND_FAMILIES = sorted({*SECOND_LOOKS, *FAMILIES})


@given(
    had=st.sets(st.sampled_from(LOOKS_AND_FAMILIES)).map(frozenset),
    kind=st.sampled_from([None, *(k for k in get_args(ReasonKind) if k not in MISSES_A_SCAN)]),
    value=st.sampled_from([None, 8.0, 273.0, 0.6, 2.0]),
)
def test_whatever_is_in_the_set_what_is_named_is_not(had, kind, value):
    more = {} if kind is None else {"reason": "so", "reason_kind": kind}
    status = "not-measurable" if value is None else "ok" if kind is None else "at-least"
    if status == "not-measurable" and kind is None:
        more = {"reason": "so", "reason_kind": "no-detail"}
    names = {c.measure for use in own_uses() for c in use.conditions} - {"gutter.unseen"}
    found = [Measurement(name, value, value and 0.3 * value, status, **more) for name in names]
    for verdict in judge_uses(summarise(found, ()), own_uses(), had):
        assert verdict.settled_by not in had


@pytest.mark.parametrize(
    ("papers", "scan"), [(("first",), "paper-moved"), (("first", "moved"), "")]
)
def test_a_line_that_one_look_shows_lies_between_none_and_all(papers, scan):
    """It may be the paper's: covers stay open until another blank; text bears it either way."""
    line = Streak(
        50.0, 590.0, 200.0, 9.0, 2.8, "dark", ("red", "green", "blue"), (0.0, 297.0), 30.0, True,
        "0.tif", signs=LineSigns(compared=len(papers) - 1, stays=100.0),
    )  # fmt: skip
    measured = (
        Measurement("streaks.strongest_visible", 9.0, 0.1, scan="0.tif"),
        Measurement("shading.nonuniformity", 2.0, 0.1, scan="0.tif"),
        Measurement("sharpness.effective_dpi", 290.0, 2.0, direction="across", scan="0.tif"),
    )
    scans = [blank(f"{at}.tif", paper) for at, paper in enumerate(papers)]
    words = {use.use: use for use in judge(Results(measured, (line,)), scans).outcome.uses}
    covers = words["covers"]
    assert (covers.fitness, covers.settled_by) == ("not judged" if scan else "unfit", scan)
    assert words["text"].fitness == "fit"  # 10 % is the limit


def test_one_name_is_meant_and_all_of_few_are_said():
    with pytest.raises(BadOption, match=r"'mediann' is not known; did you mean 'median'\?$"):
        _among("mediann", ("median", "medium", "middle"), "statistic")
    with pytest.raises(BadOption, match=r"write one of a, b$"):
        _among("zzz", ("a", "b"), "operator")


def test_a_use_that_is_no_table_is_refused(tmp_path):
    path = tmp_path / "own.toml"
    path.write_text('use = [{ name = "a", sentence = "A.", condition = [] }, 3]\n', "utf-8")
    with pytest.raises(BadOption, match=path.name):
        read_uses(path)
