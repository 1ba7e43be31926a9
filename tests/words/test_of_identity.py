"""Which unit it is: what a file says wrote it is no scanner's name."""

from dataclasses import replace

import pytest

from scanqa.model import Identity
from scanqa.report.card.first_screen import card
from scanqa.words.of_identity import unit_words
from tests.records.builders import qualification

GAP = "Make, model, serial not noted: scanqa scanners add heron"


@pytest.mark.parametrize(
    ("unit", "said"),
    [
        (None, GAP),
        (Identity("heron"), GAP),
        (Identity("heron", driver="Viewer 4"), f"{GAP}; software Viewer 4"),
        (Identity("heron", site="reading room"), f"{GAP}; reading room"),
        (Identity("heron", serial="7"), "serial 7"),
        (Identity("heron", "Larkfield", driver="Scan 3.1"), "Larkfield, software Scan 3.1"),
    ],
)
def test_the_first_line_says_what_is_noted_and_what_is_not(unit, said):
    record = replace(qualification(), identity=unit)
    assert card(record).unit == said
    assert unit is None or unit_words(unit) in said
