"""Planted faults, from simulated scans to the finding: a quick part of the table in faults.md."""

from pathlib import Path

import pytest

from scanqa.catalogue.causes import CAUSES
from scanqa.report.evidence.seller_page import worth_a_page
from tests.findings.faults import CASES, COMBINED, HEALTHY, SINGLE, answer, write

TABLE = Path(__file__).with_name("faults.md")
BLANKS = (  # words of cases that need only blank paper on a small bed, of every kind
    "dirt on the sensor window: dark",
    "contact sensor, joins",
    "a scratch of 14 mm",
    "worn lamp, 60 %",
    "inverter flickers at 31 Hz",
    "belt: bands",
    "a line in the paper",
    "light source ends too soon",
)
FIRST_LOOKS = (  # what one scan of print or of a whole page of paper says of other kinds
    "haze: 8 %",
    "red and blue 0.5 px",
    "software smooths grain",
    "sheet printed 1.2 % too large, no rule",
)


def named(words):
    (case,) = (case for case in CASES if case.planted.startswith(words))
    return case


@pytest.mark.parametrize("words", BLANKS)
def test_a_planted_fault_is_named_first_and_nothing_else_is(words, tmp_path):
    case = named(words)
    assert answer(case, tmp_path).faults_of(case) == []


@pytest.mark.parametrize("words", BLANKS + FIRST_LOOKS)
def test_the_first_look_says_the_word_that_was_expected(words, tmp_path):
    case = named(words)
    given = answer(case.at_first, tmp_path)
    assert given.faults_of_first_look(case) == []
    if case.once == "look again":  # and nothing for a seller
        assert not worth_a_page(given.record)


def test_several_faults_are_named_each(tmp_path):
    """Cold lamp, dirt on the strip and a shadow, in one set of blank scans."""
    case = named("cold lamp, dirt on the white strip")
    given = answer(case, tmp_path)
    assert given.faults_of(case) == []
    for finding in given.findings:
        assert finding.action
        assert finding.check_next
        assert finding.stop or not finding.confirmed  # what is not sure asks for a scan only


def test_the_cases_are_many_and_each_expectation_is_a_cause():
    assert len(SINGLE) >= 20
    assert len(COMBINED) >= 3
    assert len(HEALTHY) >= 3
    assert len({case.planted for case in CASES}) == len(CASES)
    for case in CASES:
        assert set(case.expected) <= set(CAUSES)


def test_the_committed_table_has_every_case_and_each_is_as_expected():
    rows = [line for line in TABLE.read_text("utf-8").splitlines() if line.startswith("| ")]
    by_case = {line.split(" | ")[0].removeprefix("| "): line for line in rows}
    for case in CASES:
        assert case.planted in by_case, (
            f"make {TABLE.name} afresh: python -m tests.findings.fault_table"
        )
        for cause in case.expected:
            assert CAUSES[cause].name in by_case[case.planted]
        assert by_case[case.planted].endswith("| yes |")


def test_simulation_does_not_hang_on_the_order_of_cases(tmp_path):
    """The scans of a case have a seed of their own: the same words give the same scans."""
    case = named("shadow 4 mm deep")
    first = [file.read_bytes() for file in write(case, tmp_path)]
    assert first == [file.read_bytes() for file in write(case, tmp_path)]
