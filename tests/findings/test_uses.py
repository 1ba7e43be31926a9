"""Fit, limited, unfit: limits that follow from the published quality index, and the worst decides.

Quality index: Cornell University Library, tutorial "Moving Theory into Practice", section
"Benchmarking resolution requirements": QI = dpi × 0.039 h / 2 for characters in grey (from
memory; the bitonal form with /3 was read), dpi = QI / (0.039 w) for strokes (read);
levels 8 excellent, 5 good, 3.6 marginal (read); strokes 1.5 good, 1 questionable (read).
"""

import tomllib
from importlib import resources

import pytest

from scanqa.findings.uses import judge_uses
from scanqa.model import Measurement, Results


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


def word(found, use):
    return next(u for u in judge_uses(found) if u.use == use)


@pytest.mark.parametrize(("dpi", "fitness"), [(290, "fit"), (200, "limited"), (100, "unfit")])
def test_the_worse_direction_decides_text(dpi, fitness):
    assert word(results(dpi), "text").fitness == fitness


def test_a_strong_streak_makes_sharp_text_limited_and_is_named():
    found = word(results(290, streak=30.0), "text")
    assert found.fitness == "limited"
    assert found.deciding == ("streaks.strongest_visible",)


def test_a_lower_bound_is_never_unfit():
    more = {"status": "lower-bound", "reason": "rough print"}
    assert word(results(100, **more), "text").fitness == "limited"


def test_without_the_required_measure_there_is_no_word():
    found = word(Results(), "text")
    assert found.fitness == "not judged"
    assert "effective dpi" in found.reason
