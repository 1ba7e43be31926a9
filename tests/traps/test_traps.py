"""Traps that are fast, run each time; the whole table by `python -m tests.traps --write`."""

from pathlib import Path

import pytest

from tests.traps.case import run, said_of, wrong_words
from tests.traps.gather import areas

TABLE = Path(__file__).with_name("README.md")
CASES = [case for cases in areas().values() for case in cases]


@pytest.mark.parametrize("case", [each for each in CASES if each.fast], ids=lambda case: case.name)
def test_nothing_wrong_is_said_and_nothing_that_must_be_is_kept_silent(case, tmp_path):
    assert wrong_words(case, said_of(run(case, tmp_path))) == []


def test_each_trap_has_a_name_of_its_own_and_asks_for_something():
    assert len({case.name for case in CASES}) == len(CASES)
    for case in CASES:
        assert case.must_not or case.must, case.name
        assert not set(case.must) & set(case.must_not), case.name


def test_the_committed_table_has_every_trap_and_none_went_wrong():
    text = TABLE.read_text("utf-8")
    for case in CASES:
        assert f"| {case.name}" in text, "make it afresh: python -m tests.traps --write"
    assert "**no**" not in text
