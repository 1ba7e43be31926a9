"""The document is the record: what goes out comes back, and nothing else comes in."""

import dataclasses
import json
import math
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa import codec, model
from scanqa.catalogue import CATALOGUE
from scanqa.codec import from_builtins, from_json, schema, to_builtins, to_json, to_json_line
from scanqa.errors import NotARecord
from scanqa.model import SCHEMA, Mark, Measurement, Outcome, Record, Shared, Streak
from tests.report import synthetic

RECORDS = {
    "heron": synthetic.heron().record,
    "one blank": synthetic.one_blank().record,
    "hostile": synthetic.hostile().record,
}
VALIDATOR = jsonschema.Draft202012Validator(schema())


def no_nan(text: str):
    raise AssertionError(f"{text} in JSON")


def read(text):
    return json.loads(text, parse_constant=no_nan)


def record_of(**fields) -> Record:
    empty = {name: () for name in ("scans", "measures", "streaks", "glass_marks", "findings")}
    given = {"actions": (), "outcome": Outcome("not judged"), **empty, **fields}
    return Record("x", "2026-01-01", "0", **given)


# ---------------------------------------------------------------------------- there and back


@pytest.mark.parametrize("record", RECORDS.values(), ids=RECORDS)
def test_a_record_survives(record):
    assert from_json(to_json(record)) == record
    assert from_json(to_json_line(record).encode()) == record
    assert from_builtins(read(to_json(record))) == record


@pytest.mark.parametrize("record", RECORDS.values(), ids=RECORDS)
def test_a_reference_validator_takes_every_document(record):
    # jsonschema, Draft 2020-12: a path of its own from the schema to a verdict
    VALIDATOR.validate(read(to_json(record)))
    assert "\n" not in to_json_line(record)


@settings(deadline=None, max_examples=100)
@given(
    name=st.sampled_from(sorted(CATALOGUE)),
    value=st.floats(-1e300, 1e300),
    size=st.floats(0, 1e150),
    reason=st.text(st.characters(exclude_categories=["Cs"]), min_size=1),
    words=st.text(st.characters(exclude_categories=["Cs"])),
)
def test_any_measurement_and_any_words_survive(name, value, size, reason, words):
    measured = (
        Measurement(name, value, 0.0, "at-least", reason, words, reason_kind="range"),
        Measurement(name, value, size, shared=(Shared("print", words, size),)),
        Measurement(
            name, value, None, "between", reason, reason_kind="print", low=value, high=value
        ),
        Measurement(name, None, status="not-measurable", reason=reason, reason_kind="noise"),
    )
    record = record_of(measures=measured, conditions={words: reason})
    VALIDATOR.validate(read(to_json(record)))
    assert from_json(to_json(record)) == record


# --------------------------------------------------------------------------------- contract


def test_keys_are_those_of_the_contract():
    # the machine-readable result as it is promised to programs
    whole = read(to_json(RECORDS["heron"]))
    keys = "schema scanner tool_version scans measures streaks glass_marks findings actions outcome"
    assert set(keys.split()) <= set(whole)
    assert next(iter(whole)) == "schema"
    assert whole["schema"] == SCHEMA == "scanqa.qualification/2"
    keys = "name value unit uncertainty status reason scan at_mm direction channel edge_kind"
    assert set(keys.split()) <= set(whole["measures"][0])
    keys = "at_mm at_px width_um contrast_percent delta_L polarity channels extent_mm "
    keys += "significance likely_cause visible scan axis"
    assert set(keys.split()) <= set(whole["streaks"][0])
    keys = {"file", "role", "width_px", "height_px", "bits", "dpi", "dpi_source", "rotation_deg"}
    assert keys | {"sheet"} <= set(whole["scans"][0])
    kinds = {finding["kind"] for finding in whole["findings"]}
    assert kinds == {"diagnosis", "criterion"}
    assert {"kind", "severity", "title"} <= set(whole["findings"][0])
    assert "text" in whole["actions"][0]


def test_unknown_is_null_with_its_reason_and_its_kind():
    whole = read(to_json(RECORDS["heron"]))
    (black,) = [m for m in whole["measures"] if m["name"] == "tone.black"]
    assert (black["value"], black["uncertainty"], black["unit"]) == (None, None, "L*")
    assert (black["reason"], black["reason_kind"]) == ("no dark scan was given", "no-scan")
    (white,) = [m for m in whole["measures"] if m["name"] == "tone.white"]
    assert (white["at_mm"], white["reason_kind"]) == (None, None)


# ----------------------------------------------------------------------------------- schema


def test_the_shipped_schema_is_the_one_of_the_types():
    shipped = Path(codec.__file__).with_name("record.schema.json").read_text("utf-8")
    told = "python -m scanqa.codec > scanqa/record.schema.json"
    assert json.loads(shipped) == read(json.dumps(schema())), told
    jsonschema.Draft202012Validator.check_schema(schema())


def test_schema_has_every_type_and_every_field_of_a_record():
    parts = schema()["$defs"]
    assert {"Measurement", "Shared", "Streak", "Seen", "Diagnosis", "Criterion", "Plan"} <= set(
        parts
    )
    for name, part in parts.items():
        kind = getattr(model, name)
        if dataclasses.is_dataclass(kind):
            fields = {field.name for field in dataclasses.fields(kind)}
        else:
            fields = {*kind.__struct_fields__, "kind"}
        assert set(part["properties"]) == fields
        assert part["description"], name


def test_attributes_of_the_docstrings_describe_the_properties():
    parts = schema()["$defs"]
    assert "half height" in parts["Streak"]["properties"]["width_um"]["description"]
    assert parts["Measurement"]["properties"]["low"]["description"].startswith("Ends of what")


# ---------------------------------------------------------------------------- what is refused


any_float = st.floats() | st.just(math.nan) | st.just(math.inf)


@settings(deadline=None, max_examples=150)
@given(
    at=any_float,
    width=any_float,
    extent=st.tuples(any_float, any_float),
    size=st.tuples(any_float, any_float),
)
def test_what_is_not_a_number_never_gets_into_a_document(at, width, extent, size):
    streak = Streak(at, at, width, 1.0, 0.4, "dark", ("luma",), extent, 5.0, True, "s")
    mark = Mark(size, size, 1.0, "dark", "spot", "s")
    record = record_of(streaks=(streak,), glass_marks=(mark,))
    if all(math.isfinite(v) for v in (at, width, *extent, *size)):
        assert to_builtins(record)["streaks"][0]["at_mm"] == at
    else:
        with pytest.raises(ValueError, match=r"record\.(streaks|glass_marks)\[0\]"):
            to_json(record)


BAD = {
    "not JSON": "picture",
    "empty": "",
    "another schema": '{"schema": "scanqa.qualification/1"}',
    "no schema": "{}",
    "a list": "[]",
    "nested": "[" * 100_000,
    "no fields": json.dumps({"schema": SCHEMA}),
}


@pytest.mark.parametrize("text", BAD.values(), ids=BAD)
def test_what_is_no_record_is_one_line(text):
    with pytest.raises(NotARecord) as caught:
        from_json(text)
    assert "\n" not in str(caught.value)
    assert len(str(caught.value)) < 300


CHANGES = [
    {"status": "not-measurable", "value": 1.0},
    {"status": "ok", "value": None},
    {"status": "at-least", "reason": "", "reason_kind": None},
    {"status": "between"},
    {"channel": "purple"},
    {"name": "novel.measure"},
    {"value": "many"},
    {"value": 1e999},
    {"shared": [{"kind": "print", "of": "A", "size": 1e9}]},
    {"low": 5.0, "high": 4.0, "status": "between"},
]


@pytest.mark.parametrize("change", CHANGES, ids=str)
def test_a_measure_that_contradicts_itself_is_refused_with_its_place(change):
    whole = read(to_json(RECORDS["heron"]))
    whole["measures"][3] = {**whole["measures"][3], **change}
    with pytest.raises(NotARecord, match=r"\$\.measures\[3\]|Out of range|out of range|not JSON"):
        from_json(json.dumps(whole))


def test_whole_numbers_may_stand_for_others_and_tuples_stay_tuples():
    whole = read(to_json(RECORDS["one blank"]))
    whole["scans"][0]["dpi"] = [300, 300]
    found = from_json(json.dumps(whole))
    assert found.scans[0].dpi == (300.0, 300.0)
    assert isinstance(found.scans[0].dpi[0], float)
