"""Which backing is advised, and the numbers that the advice carries."""

import pytest

from scanqa.findings.backing_advice import advices, advise
from scanqa.model import Measurement, Reason, Results, not_measurable
from scanqa.summary import summarise
from scanqa.words.of_findings import worded_diagnosis


def advised(measurements):
    """What is advised, in words."""
    results = Results(tuple(measurements))
    return tuple(worded_diagnosis(each, results) for each in advise(summarise(measurements)))


def scans(**backings):
    """Show-through in % and L* of the paper, by the name of the scan."""
    return tuple(
        Measurement(name, value, 0.05, scan=scan)
        for scan, values in backings.items()
        for name, value in zip(("backing.show_through", "backing.paper"), values, strict=True)
    )


def lightness(light):
    """CIE 15:2018, above the toe."""
    return 116 * light ** (1 / 3) - 16


def test_black_card_is_advised_with_what_remains_and_what_it_costs():
    (found,) = advised(scans(lid=(7.9, 96.4), card=(0.4, 93.4)))
    assert found.severity == "warning"
    assert "black card" in found.title
    assert "from 7.9 % to 0.4 % of the light" in found.action
    assert "which is not seen" in found.action
    assert "3.0 L* darker" in found.action


def test_the_step_is_that_of_cie_lightness():
    """Paper of 80 % that loses 7.9 % of its light."""
    before, after = lightness(0.8), lightness(0.8 * (1 - 0.079))
    (found,) = advised(scans(lid=(7.9, before), card=(0.0, before - 3)))
    assert f"a step of {before - after:.1f} L*" in found.reason


def test_what_remains_is_said_when_it_is_still_seen():
    (found,) = advised(scans(lid=(14.0, 96.0), card=(5.0, 90.0)))
    assert "still" in found.action
    assert found.rests_on == ("backing.show_through", "backing.paper")


@pytest.mark.parametrize(
    ("backings", "words", "severity"),
    [
        ({"lid": (1.2, 96.0), "card": (0.1, 94.0)}, "will do", "good"),
        ({"lid": (8.0, 96.0), "card": (6.0, 93.0)}, "hardly helps", "warning"),
        ({"lid": (8.0, 96.0)}, "shows through", "warning"),
        ({"lid": (8.0, 96.0), "again": (7.9, 95.9)}, "shows through", "warning"),
        ({"card": (-0.02, 93.0)}, "on the backing it was scanned on", "good"),
    ],
)
def test_other_cases(backings, words, severity):
    (found,) = advised(scans(**backings))
    assert words in found.title
    assert found.cause in advices()
    assert found.severity == severity
    assert ("card behind it" in found.action) == (words == "shows through")


def test_nothing_is_said_without_a_back_print_scan():
    assert advised(()) == ()
    missing = not_measurable("backing.show_through", Reason("no-scan", "no scan"))
    assert advised((missing,)) == ()
