"""No code reads a meaning out of a sentence: with numbers in place of all words, nothing changes.

Planted faults are simulated and measured once; then every sentence of the catalogue, of causes,
criteria, uses and advice, and every reason of a measurement is replaced by a number that says
nothing, and they are judged again.
"""

import itertools
from dataclasses import replace

import msgspec
import pytest

from scanqa.catalogue import CATALOGUE, FAMILIES
from scanqa.catalogue.causes import CAUSES, CAUTIONS, TELLS_APART
from scanqa.findings import backing_advice, criteria, judge
from scanqa.findings.uses_file import own_uses
from scanqa.model import Results
from scanqa.words import of_criteria, of_findings
from scanqa.words.of_judgement import worded
from tests.findings.faults import CASES, answer

pytestmark = pytest.mark.slow

PLANTED = (
    "contact sensor, joins",
    "cold lamp, dirt on the white strip",
    "JPEG of quality 60",
    "rough print",
)
# Fields that carry words from where they were made to where they are shown.
WORDS = {"quoted", "sentence", "words", "note", "source", "title", "reason", "text", "because"}


def numbers_and_ids(judgement):
    """A judgement without its words, as plain dictionaries and lists."""

    def without(value):
        if isinstance(value, dict):
            return {key: without(each) for key, each in value.items() if key not in WORDS}
        return [without(each) for each in value] if isinstance(value, list | tuple) else value

    return without(msgspec.to_builtins(judgement))


NUMBERS = itertools.count()


def silent():
    """A word that says nothing."""
    return f"#{next(NUMBERS)}"


def silenced(row, *names):
    """A row of the package with some of its texts made silent."""
    return replace(row, **{name: silent() for name in names})


def silence_the_package(monkeypatch):
    """Every sentence that comes with the package becomes a number."""
    for name, cause in CAUSES.items():
        row = silenced(cause, "name", "until_sure", "check", "action", "stop", "source")
        monkeypatch.setitem(CAUSES, name, row)
    for texts in (CAUTIONS, TELLS_APART):
        for name in tuple(texts):
            monkeypatch.setitem(texts, name, silent())
    for name, row in CATALOGUE.items():
        monkeypatch.setitem(CATALOGUE, name, silenced(row, "label", "sentence"))
    for name, family in FAMILIES.items():
        monkeypatch.setitem(FAMILIES, name, silenced(family, "title", "text", "needs"))
    documents = dict(silent_documents())
    for room in (criteria, of_criteria):
        monkeypatch.setattr(room, "documents", lambda: documents)
    told = backing_advice.advices().items()
    advices = {name: silenced(row, "title", "action") for name, row in told}
    for room in (backing_advice, of_findings):
        monkeypatch.setattr(room, "advices", lambda: advices)


def silent_documents():
    """Criteria whose texts are numbers; quantities and grades are ids."""
    texts = {"document", "category", "sure", "table", "why_not", "missing", "condition"}
    texts |= {"upper_bound", "lower_bound"}

    def silent_row(row):
        return {key: silent() if key in texts else row[key] for key in row}

    for name, document in criteria.documents().items():
        limits = [silent_row(limit) for limit in document["limit"]]
        yield name, silent_row(document) | {"limit": limits}


def silent_uses():
    return tuple(
        replace(
            silenced(use, "sentence"),
            conditions=tuple(silenced(each, "words") for each in use.conditions),
        )
        for use in own_uses()
    )


@pytest.fixture(scope="module", params=PLANTED)
def measured(request, tmp_path_factory):
    """Results and scans of a planted fault."""
    (case,) = (case for case in CASES if case.planted.startswith(request.param))
    record = answer(case, tmp_path_factory.mktemp("planted")).record
    return Results(record.measures, record.streaks, record.glass_marks), record.scans


def test_nothing_changes_when_words_say_nothing(measured, monkeypatch):
    results, scans = measured
    before = judge(results, scans)
    said = worded(before, results)
    reasons = {reason: silent() for m in results.measurements if (reason := m.reason)}
    told = tuple(replace(m, reason=reasons.get(m.reason, "")) for m in results.measurements)
    wordless = replace(results, measurements=told)
    silence_the_package(monkeypatch)
    after = judge(wordless, scans, uses=silent_uses())
    assert numbers_and_ids(after) == numbers_and_ids(before)
    # The words were indeed others, and every sentence can still be made of what is left.
    for old, new in zip(said.findings, worded(after, wordless).findings, strict=True):
        assert new.title
        # a title of one look names no cause: its words are all of the sign
        assert (new.title, getattr(new, "likely", ())) != (old.title, getattr(old, "likely", ()))
