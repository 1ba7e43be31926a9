import dataclasses
import json
import math
import os
import stat

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.catalogue import CATALOGUE
from scanqa.errors import BadOption
from scanqa.model import (
    Action,
    FileSize,
    Finding,
    Job,
    Judgement,
    Legibility,
    Legible,
    Mark,
    Measurement,
    Outcome,
    Plan,
    Record,
    Rejected,
    Results,
    ScanFacts,
    Streak,
    UseVerdict,
)
from scanqa.report.document import document, schema, write_json
from tests.report import synthetic

RECORDS = {
    "heron": synthetic.heron(),
    "one blank": synthetic.one_blank(),
    "hostile": synthetic.hostile(),
}


def no_nan(text: str):
    raise AssertionError(f"{text} in JSON")


def read(path):
    return json.loads(path.read_text("utf-8"), parse_constant=no_nan)


def objects_of(part):
    """Every description of an object in a schema."""
    if isinstance(part, dict):
        if part.get("type") == "object":
            yield part
        for value in part.values():
            yield from objects_of(value)
    elif isinstance(part, list):
        for value in part:
            yield from objects_of(value)


def test_schema_is_a_valid_draft_2020_12_schema():
    assert schema()["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema())


def test_schema_describes_every_property_and_allows_no_other():
    found = [part for part in objects_of(schema()) if "properties" in part]
    assert len(found) > 8
    for part in found:
        assert part["additionalProperties"] is False
        # early versions lack these two; their documents can still be imported
        later = [] if "schema" not in part["properties"] else ["legibility", "plan"]
        assert [*part["required"], *later] == list(part["properties"])
        for name, rules in part["properties"].items():
            assert rules.get("description") or "$ref" in rules, name


@pytest.mark.parametrize("record", RECORDS.values(), ids=RECORDS)
def test_documents_validate_and_survive_writing(record, tmp_path):
    whole = document(record)
    jsonschema.Draft202012Validator(schema()).validate(whole)
    write_json(record, tmp_path / "out.json")
    assert read(tmp_path / "out.json") == whole


def test_keys_are_those_of_the_contract():
    # design.md, section 8, and what the schema adds to it
    whole = document(synthetic.heron())
    contract = ["scanner", "tool_version", "scans", "measures", "streaks", "glass_marks"]
    contract += ["findings", "actions", "outcome"]
    assert whole["schema"] == "scanqa.qualification/1"
    assert set(contract) <= set(whole)
    added = {"schema", "created", "conditions", "rejected", "legibility", "plan"}
    assert set(whole) - set(contract) == added
    keys = "name value unit uncertainty status reason scan at_mm direction channel edge_kind"
    assert list(whole["measures"][0]) == keys.split()
    keys = "at_mm at_px width_um contrast_percent delta_L polarity channels extent_mm "
    keys += "significance likely_cause visible scan axis"
    assert set(keys.split()) <= set(whole["streaks"][0])
    keys = {"file", "role", "width_px", "height_px", "bits", "dpi", "dpi_source", "rotation_deg"}
    assert keys | {"sheet"} <= set(whole["scans"][0])


@pytest.mark.parametrize(
    ("name", "type_", "added"),
    [
        ("scan", ScanFacts, set()),
        ("rejected", Rejected, set()),
        ("measure", Measurement, {"unit"}),
        ("streak", Streak, set()),
        ("glass_mark", Mark, set()),
        ("finding", Finding, set()),
        ("action", Action, set()),
        ("use", UseVerdict, set()),
        ("outcome", Outcome, set()),
        ("legible", Legible, set()),
        ("legibility", Legibility, set()),
        ("job", Job, set()),
        ("file_size", FileSize, set()),
        ("plan", Plan, set()),
    ],
)
def test_schema_has_every_field_of_the_types(name, type_, added):
    fields = {field.name for field in dataclasses.fields(type_)}
    assert set(schema()["$defs"][name]["properties"]) == fields | added


def test_unknown_is_null_with_its_reason():
    whole = document(synthetic.heron())
    (black,) = [m for m in whole["measures"] if m["name"] == "tone.black"]
    assert black["value"] is None
    assert black["uncertainty"] is None
    assert black["reason"] == "no dark scan was given"
    assert black["unit"] == "L*"
    (white,) = [m for m in whole["measures"] if m["name"] == "tone.white"]
    assert white["reason"] is None
    assert white["at_mm"] is None


def record_of(results: Results) -> Record:
    outcome = Outcome("not judged", "")
    return Record("x", "2026-01-01", "0", (), results, Judgement((), (), outcome))


any_float = st.floats() | st.just(math.nan) | st.just(math.inf)


@settings(deadline=None, max_examples=150)
@given(
    at=any_float,
    width=any_float,
    extent=st.tuples(any_float, any_float),
    size=st.tuples(any_float, any_float),
)
def test_what_is_not_a_number_never_gets_into_a_document(at, width, extent, size):
    streak = Streak(at, at, width, 1.0, 0.4, "dark", ("luma",), extent, 5.0, "dirt", True, "s")
    mark = Mark(size, size, 1.0, "dark", "spot", "s")
    record = record_of(Results(streaks=(streak,), marks=(mark,)))
    if all(math.isfinite(v) for v in (at, width, *extent, *size)):
        assert document(record)["streaks"][0]["at_mm"] == at
    else:
        with pytest.raises(ValueError, match=r"document\.(streaks|glass_marks)\[0\]"):
            document(record)


@settings(deadline=None, max_examples=100)
@given(
    name=st.sampled_from(sorted(CATALOGUE)),
    value=st.floats(allow_nan=False, allow_infinity=False),
    reason=st.text(min_size=1),
    words=st.text(),
)
def test_any_measurement_and_any_words_give_a_valid_document(name, value, reason, words):
    measured = (
        Measurement(name, value, 0.0, "lower-bound", reason, words),
        Measurement(name, None, status="not-measurable", reason=reason),
    )
    whole = document(record_of(Results(measured)))
    jsonschema.Draft202012Validator(schema()).validate(whole)
    assert json.loads(json.dumps(whole, allow_nan=False)) == whole


def test_schema_refuses_a_value_where_the_status_says_there_is_none():
    whole = document(synthetic.heron())
    for changes in (
        {"status": "not-measurable", "value": 1.0, "reason": "because"},
        {"status": "ok", "value": None},
        {"status": "lower-bound", "value": 1.0, "reason": None},
        {"channel": "purple"},
        {"extra": 1},
    ):
        broken = {**whole, "measures": [{**whole["measures"][0], **changes}]}
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.Draft202012Validator(schema()).validate(broken)


def test_a_dash_writes_to_standard_output(capsys):
    write_json(synthetic.one_blank(), "-")
    assert json.loads(capsys.readouterr().out)["scanner"] == "wren"


def test_a_file_is_whole_or_not_there(tmp_path, monkeypatch):
    path = tmp_path / "deep" / "out.json"
    write_json(synthetic.one_blank(), path)
    before = path.read_bytes()
    mask = os.umask(0)
    os.umask(mask)
    assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~mask

    def full(self, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.replace", full)
    with pytest.raises(BadOption, match=r"out\.json: cannot be written: No space left"):
        write_json(synthetic.heron(), path)
    assert path.read_bytes() == before
    assert [p.name for p in path.parent.iterdir()] == ["out.json"]
