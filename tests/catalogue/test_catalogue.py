"""One row for each measure, complete; the tables for readers are those of the rows."""

import dataclasses
import tomllib
from importlib import import_module
from pathlib import Path

import pytest

from scanqa import catalogue
from scanqa.catalogue import CATALOGUE, FAMILIES, ROLES, SECOND_LOOKS, Definition, Matters
from scanqa.catalogue.table import short_table, whole_table

FOLDER = Path(catalogue.__file__).parent
ROOT = Path(__file__).parents[2]


@pytest.mark.parametrize("row", CATALOGUE.values(), ids=CATALOGUE)
def test_a_row_is_complete(row):
    for field in dataclasses.fields(Definition):
        value = getattr(row, field.name)
        empty = field.name in ("unit", "spoiled_by", "at", "curve", "on_one_print")
        assert value is not None
        assert value != "" or empty, field.name
    assert row.sentence.endswith(".")
    assert (row.matters.size is None) != (row.matters.share is None)
    assert row.matters.between(10.0, -10.0) > 0
    assert row.second_look in SECOND_LOOKS
    assert row.version >= 1
    assert not [trace for trace in row.spoiled_by if trace not in CATALOGUE]
    assert "{" not in row.name + row.label + row.sentence


@pytest.mark.parametrize("path", sorted(FOLDER.glob("families/*.toml")), ids=lambda p: p.stem)
def test_a_family_says_what_it_needs_and_has_a_room_of_its_name(path):
    family = FAMILIES[path.stem]
    assert family.title
    assert family.text.endswith(".")
    assert family.needs
    assert set(family.roles) <= set(ROLES)
    assert family.roles
    assert callable(import_module(f"scanqa.measures.{path.stem}").measure)
    given = {key for row in tomllib.loads(path.read_text("utf-8"))["measure"] for key in row}
    known = {field.name for field in dataclasses.fields(Definition)}
    assert given <= known | {"each"}


@pytest.mark.parametrize("missing", ["label", "matters", "second_look", "version"])
def test_an_incomplete_row_does_not_load(missing):
    given = tomllib.loads((FOLDER / "families" / "glass.toml").read_text("utf-8"))["measure"][0]
    del given[missing]
    with pytest.raises((KeyError, TypeError)):
        list(catalogue._rows("glass", given))


def test_what_matters_is_a_size_or_a_share_of_the_larger_value():
    assert Matters(size=2.0).between(1.0, 50.0) == 2.0
    assert Matters(share=0.05).between(-40.0, 20.0) == 2.0


def test_no_two_measures_share_a_label_within_a_family():
    labels = [(row.family, row.label) for row in CATALOGUE.values()]
    assert len(set(labels)) == len(CATALOGUE)


def test_the_tables_for_readers_are_made_from_the_rows():
    told = "run python -m scanqa.catalogue.table"
    guide = (FOLDER / "README.md").read_text("utf-8")
    assert guide == whole_table(), told
    assert short_table() in guide
    for row in CATALOGUE.values():
        assert f"`{row.pattern}`" in short_table()
    readme = (ROOT / "README.md").read_text("utf-8")
    assert "(scanqa/catalogue/README.md)" in readme
