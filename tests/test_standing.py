"""A record decided with what is known beside its scans."""

from dataclasses import replace

import pytest

from scanqa.errors import BadOption
from scanqa.model import Diagnosis, Identity, Outcome, Share, UseVerdict
from scanqa.standing import decided
from tests.records.builders import qualification

DIRT = Diagnosis(
    cause="moving-dirt", severity="warning", causes=(Share("moving-dirt", 0.9),),
    rests_on=("streaks",), heading="Dark line at 71.3 mm", look="paper-moved",
)  # fmt: skip
USES = (
    UseVerdict("text", "fit", deciding=("sharpness.effective_dpi",)),
    UseVerdict("covers", "limited", deciding=("streaks.strongest_visible",)),
)


def record(created="2026-11-25T10:00:00+00:00", **changes):
    plain = qualification("a", created=created)
    return replace(plain, findings=(DIRT,), outcome=Outcome("limited", uses=USES), **changes)


def heron(until):
    return Identity("heron", return_until=until)


def test_dirt_that_stays_after_cleaning_sends_the_unit_back_while_there_is_time():
    first = decided(record())
    assert first.decision.decision == "clean"
    told = {"before": record(), "noted": ["sensor window cleaned"]}
    again = decided(record(), identity=heron("2026-12-04"), **told)
    assert (again.decision.decision, again.decision.days_left) == ("return", 9)
    assert "still there: Dark line at 71.3 mm" in again.decision.sentence
    assert again.decision.sentence.endswith("9 days are left to return it.")
    late = decided(record(), identity=heron("2026-11-24"), **told)
    assert late.decision.decision == "repair"
    assert late.decision.sentence.endswith("The time to return it is over.")


def test_an_event_that_speaks_of_no_cleaning_changes_nothing():
    again = decided(record(), before=record(), noted=["moved to the other desk"])
    assert again.decision.decision == "clean"


def test_a_use_that_is_needed_must_be_one_of_the_records():
    assert decided(record(), needed=["text"]).decision.decision == "clean"
    with pytest.raises(BadOption, match="--for 'maps': no such use; choose of: text, covers"):
        decided(record(), needed=["maps"])
