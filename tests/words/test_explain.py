"""Every name that stands in a report can be explained, and a wrong one is said to be wrong."""

import pytest
from click.testing import CliRunner

from scanqa.catalogue import CATALOGUE, FAMILIES
from scanqa.catalogue.causes import CAUSES, CAUTIONS
from scanqa.cli import main
from scanqa.words.explain import explanation, names, nearest, topics


@pytest.mark.parametrize("name", names())
def test_every_name_is_explained_in_whole_sentences(name):
    text = explanation(name)
    assert text
    assert "{" not in text
    assert len(text.split()) > 8


def test_a_measure_says_what_it_is_needs_and_what_settles_it():
    text = explanation("sharpness.effective_dpi")
    row = CATALOGUE["sharpness.effective_dpi"]
    for part in (row.sentence, FAMILIES["sharpness"].needs, "edge card", "processing.halo"):
        assert part in text


def test_a_cause_comes_with_its_cautions():
    some = [cause for cause in CAUSES.values() if cause.cautions]
    assert some
    for cause in some:
        for caution in cause.cautions:
            assert CAUTIONS[caution] in explanation(cause.id)


def test_names_that_were_meant_are_named():
    assert nearest("effective_dpi") == ("sharpness.effective_dpi",)
    assert "edge-card" in nearest("edge-cart")
    assert nearest("") == ()


def test_the_command_explains_lists_and_refuses():
    run = CliRunner().invoke
    assert run(main, ["explain", "edge-card"]).output.startswith(topics()["edge-card"][0])
    listed = run(main, ["explain"]).output
    assert "asking-a-seller" in listed
    assert "sharpness" in listed
    wrong = run(main, ["explain", "sharpnes"])
    assert wrong.exit_code == 2
    assert "did you mean sharpness" in wrong.output
