"""CGATS text: structure as in ISO 12641 / CGATS.17, written out by hand here."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.errors import BadOption
from scanqa.scans.cgats import read_cgats

EXAMPLE = """CGATS.17
ORIGINATOR "Tarn Valley Orchard Society"
CREATED "2026-03-01"   # measured with a borrowed densitometer
NUMBER_OF_FIELDS 4
BEGIN_DATA_FORMAT
SAMPLE_ID\tD_VIS XYZ_Y LAB_L
END_DATA_FORMAT

NUMBER_OF_SETS 3
BEGIN_DATA
patch-1-0\t0.06 87.1 94.8
"patch 2" 0,30 50.1 76.1
3 1.40 n/a 21.5  # solid
END_DATA
"""


def written(tmp_path, text):
    path = tmp_path / "patches.txt"
    path.write_text(text, encoding="utf-8")
    return path


def test_reads_fields_quotes_comments_and_decimal_commas(tmp_path):
    assert read_cgats(written(tmp_path, EXAMPLE)) == {
        "patch-1-0": {"D_VIS": 0.06, "XYZ_Y": 87.1, "LAB_L": 94.8},
        "patch 2": {"D_VIS": 0.30, "XYZ_Y": 50.1, "LAB_L": 76.1},
        "3": {"D_VIS": 1.40, "LAB_L": 21.5},
    }


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "no CGATS table"),
        ("just some words\n", "no CGATS table"),
        (EXAMPLE.replace("END_DATA\n", ""), "no CGATS table"),
        (EXAMPLE.replace("SAMPLE_ID", "COLOUR"), "SAMPLE_ID"),
        (EXAMPLE.replace("1.40 n/a 21.5", "1.40 21.5"), "3 values for 4 fields"),
        (EXAMPLE.replace('"patch 2"', "3"), "twice"),
        (EXAMPLE.replace('"patch 2"', '"patch 2'), "quote"),
        ("BEGIN_DATA_FORMAT\nSAMPLE_ID\nEND_DATA_FORMAT\nBEGIN_DATA\nEND_DATA", "no rows"),
    ],
)
def test_a_file_that_cannot_be_used_is_one_line(tmp_path, text, word):
    with pytest.raises(BadOption, match=word) as error:
        read_cgats(written(tmp_path, text))
    assert "patches.txt" in str(error.value)
    assert "\n" not in str(error.value)


def test_a_picture_and_a_missing_file_are_refused(tmp_path):
    path = tmp_path / "scan.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n\xff\xfe")
    for each in (path, tmp_path / "none.txt"):
        with pytest.raises(BadOption, match="not a text file"):
            read_cgats(each)


@settings(deadline=None, max_examples=30)
@given(st.text(max_size=200))
def test_no_text_brings_it_down(tmp_path_factory, text):
    path = tmp_path_factory.mktemp("cgats") / "any.txt"
    path.write_bytes(text.encode("utf-8", "replace"))
    with pytest.raises(BadOption):
        read_cgats(path)
