"""The first screen of a page where not everything could be judged.

What is excluded and the one scan that settles most stand there, and no comfort that misleads.
"""

import pytest

from scanqa.catalogue import FAMILIES, SECOND_LOOKS
from scanqa.findings import judge
from scanqa.model import Measurement, Outcome, Results, ScanFacts
from scanqa.report.card.first_screen import card
from scanqa.report.pages import render
from scanqa.words.of_judgement import worded
from scanqa.words.of_uses import nothing_to_do
from tests.records.builders import qualification
from tests.report import synthetic
from tests.report.reading import page_text


def facts(name, role, paper=""):
    return ScanFacts(
        name, role, 2480, 3508, 8, 3, (300.0, 300.0), "file", 0, None, "tiff", False,
        "sRGB assumed", "0" * 64, paper=paper,
    )  # fmt: skip


BLANKS = (facts("blank-1.tif", "blank", "first"), facts("blank-2.tif", "blank", "moved"))
CLEAN = (
    Measurement("streaks.strongest_visible", 0.0, 0.1, scan="blank-1.tif"),
    Measurement("shading.nonuniformity", 2.0, 0.1),
)
PRINTED = Measurement(
    "sharpness.effective_dpi", 219.0, 1.0, "at-least", "rough print", "sheet.tif",
    direction="travel", channel="luma", edge_kind="printed", reason_kind="print",
)  # fmt: skip


def first_screen(measured, scans):
    """Text of the page up to what to do, that included."""
    results = Results(measured)
    judged = worded(judge(results, scans), results)
    found = synthetic.changed(
        synthetic.one_blank(), scans=scans, measures=measured, actions=judged.actions,
        findings=judged.findings, outcome=judged.outcome, decision=judged.decision,
    )  # fmt: skip
    html = render(found)
    return page_text(html[: html.index('<nav aria-label="Contents"')]).replace("\u00a0", " ")


def test_two_blanks_name_the_sheet_that_settles_most():
    text = first_screen(CLEAN, BLANKS)
    assert "What to do: Nothing found against it, still open: effective dpi" in text
    assert f"{FAMILIES['sharpness'].needs}. It settles most for text and fine line" in text


def test_a_soft_print_says_what_is_excluded_and_asks_for_another_edge():
    text = first_screen((*CLEAN, PRINTED), (*BLANKS, facts("sheet.tif", "bed-sheet")))
    assert text.count("Fit or limited") == 2  # text and fine lines: unfit is excluded
    assert f"Scan next: {SECOND_LOOKS['another-edge']}." in text


def test_one_blank_asks_for_another_and_never_says_a_whole_fit():
    text = first_screen(CLEAN, BLANKS[:1])
    assert "still open" in text
    assert "Keep" not in text


@pytest.mark.parametrize("fitness", ["partly judged", "not judged"])
def test_what_is_open_is_not_called_in_order(fitness):
    assert nothing_to_do(Outcome(fitness)) != nothing_to_do(Outcome("fit"))
    assert nothing_to_do(Outcome("fit")) not in first_screen(CLEAN, BLANKS)
    assert nothing_to_do(Outcome("fit")) not in first_screen((), BLANKS)


def test_a_page_that_is_whole_asks_for_no_scan():
    assert "Scan next" not in page_text(render(synthetic.heron()))


@pytest.mark.parametrize(
    ("measured", "missing"),
    [
        ((), ("lines", "marks on the glass", "evenness of light")),
        (("streaks.strongest_visible", "shading.nonuniformity"), ("marks on the glass",)),
        (("streaks.strongest_visible", "shading.nonuniformity", "glass.marks"), ()),
    ],
)
def test_that_nothing_was_found_is_said_with_what_was_not_looked_for(measured, missing):
    values = [Measurement(name, 0.0, 0.1, scan="blank.tif") for name in measured]
    words = card(qualification(measures=values)).nothing_found
    assert words.startswith("Nothing was found")
    assert all(each in words for each in missing)
    assert ("not measured" in words) == bool(missing)
