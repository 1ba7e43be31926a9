"""The limits against the table that they were taken from, and the comparing code."""

import csv
from pathlib import Path

import pytest

from scanqa.findings.criteria import documents, judge_criteria
from scanqa.model import Measurement, Results

EXTERNAL = Path(__file__).parents[1] / "external"
SFR10 = "sharpness.sampling_efficiency"

# Our grade names → the grades of the table (tests/external/README.md says where it comes from).
GRADES = {
    "4 star": ["4"], "3 star": ["3"], "2 star": ["2"], "1 star": ["1"],
    "level A": ["A"], "level B": ["B"], "level C": ["C"],
    "full": ["full"], "extra light": ["extra-light"], "full and light": ["full", "light"],
    "light and extra light": ["light", "extra-light"],
    "all levels": ["full", "light", "extra-light"],
}  # fmt: skip
DOCUMENTS = {
    "FADGI, 3rd edition (2023)": "FADGI 2023",
    "ISO 19264-1:2021": "ISO 19264-1:2021",
    "Metamorfoze 2.0 (draft, June 2023)": "Metamorfoze 2.0 draft",
}
QUANTITIES = {
    "geometry.dpi": {"sampling"},
    SFR10: {"SFR10 sampling efficiency"},
    "sharpness.peak": {"sharpening maximum SFR", "maximum modulation"},
    "colour.registration": {"colour channel misregistration", "colour misregistration"},
    "noise.total": {"noise", "noise upper limit"},
    "geometry.distortion": {"geometric distortion"},
}


def quoted_limits():
    with (EXTERNAL / "imaging_criteria_2021_2023.csv").open() as file:
        rows = csv.DictReader(line for line in file if not line.startswith("#"))
        return {(r["document"], r["quantity"], r["grade"]): r for r in rows}


def our_limits():
    for document in documents():
        for limit in document["limit"]:
            for grade, value in limit.get("grades", {}).items():
                for theirs in GRADES[grade]:
                    yield DOCUMENTS[document["document"]], limit, theirs, value


@pytest.mark.parametrize(("document", "limit", "grade", "value"), list(our_limits()))
def test_every_limit_stands_in_the_quoted_table(document, limit, grade, value):
    # Source: imaging_criteria_2021_2023.csv (quoted in secondary texts, see its README).
    table = quoted_limits()
    rows = [table.get((document, q, grade)) for q in QUANTITIES[limit["measure"]]]
    (row,) = [r for r in rows if r]
    assert float(row["limit"]) == value
    assert row["comparison"] == limit["operator"]


def efficiency(across, travel, **more):
    return Results(
        tuple(
            Measurement(SFR10, value, 0.5, direction=direction, at_mm=(1.0, 1.0), **more)
            for direction, value in (("across", across), ("travel", travel))
        )
    )


def verdicts(results):
    return {f.title: f for f in judge_criteria(results)}


def test_the_worse_direction_decides_and_the_best_grade_is_named():
    found = verdicts(efficiency(95.0, 82.0))
    fadgi = found[
        "FADGI, 3rd edition (2023), bound general: resolution (SFR10 as sampling efficiency)"
    ]
    assert fadgi.verdict == "met"
    assert "3 star" in fadgi.reason
    meta = next(f for t, f in found.items() if t.startswith("Metamorfoze") and "SFR10" in t)
    assert meta.verdict == "not met"  # 82 % is under its 85 %


def test_a_limit_of_over_is_not_met_by_the_limit_itself():
    found = verdicts(efficiency(60.0, 60.0))
    fadgi = next(f for t, f in found.items() if t.startswith("FADGI") and "SFR10" in t)
    assert fadgi.verdict == "not met"


def test_a_lower_bound_never_fails_a_scanner():
    found = verdicts(efficiency(50.0, 50.0, status="lower-bound", reason="rough print"))
    assert all(f.verdict != "not met" for t, f in found.items() if "SFR10" in t)


def test_what_was_not_measured_is_not_judged():
    found = verdicts(Results())
    assert found
    assert {f.verdict for f in found.values()} == {"not judged"}
    assert all(f.reason for f in found.values())
