"""No wrong word, and no fewer words than promised: two units at a low dpi, and the whole table."""

from collections import Counter

import pytest

from tests.traps import decided as table
from tests.traps.decided_units import UNITS

SETUPS = ("two blanks", "with an edge card")
DPI = 150.0  # which can make nothing fit for text: these units are not, at any dpi
FLOOR = {"two blanks": 40, "with an edge card": 70}  # % of uses


@pytest.mark.parametrize("name", ["gravely faulty: soft", "a dark line of 40 %"])
def test_no_word_of_a_unit_is_wrong_and_enough_are_given(name):
    (unit,) = [unit for unit in UNITS if name in unit.name]
    rows = list(table.rows_of(unit, SETUPS, DPI))
    assert not [row for row in rows if row.is_bad]
    assert {setup: table.decided(rows, setup) >= FLOOR[setup] for setup in SETUPS} == dict.fromkeys(
        SETUPS, True
    )


def test_the_committed_table_is_of_the_rows_that_were_kept():
    assert table.TABLE.read_text("utf-8") == table.page(), "python -m tests.traps.decided --write"


def test_it_has_its_units_in_every_set_up_and_at_least_three_of_each_kind():
    rows = table.kept()
    names = {row.unit for row in rows}
    assert names <= {unit.name for unit in UNITS}
    assert len(rows) == len(names) * len(table.SETUPS)
    kinds = Counter(unit.kind for unit in UNITS if unit.name in names)
    assert set(kinds) == {unit.kind for unit in UNITS}
    assert min(kinds.values()) >= 3


def test_it_has_no_wrong_word_and_as_many_as_promised():
    rows = table.kept()
    assert not [row for row in rows if row.is_bad]
    for setup, goal in table.GOALS.items():
        assert table.decided(rows, setup) >= goal, setup
