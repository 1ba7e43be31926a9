"""A table of a known edge response, against a Gaussian in closed form."""

import numpy as np
import pytest

from scanqa.errors import BadOption
from scanqa.scans.response import read_response


def written(tmp_path, text):
    path = tmp_path / "toner.txt"
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("between", [" ", "\t", "; ", ","])
def test_a_table_is_read_whatever_parts_its_columns(tmp_path, between):
    at = np.arange(0, 12, 0.25)
    gauss = np.exp(-2 * (np.pi * 0.03 * at) ** 2)
    rows = "\n".join(f"{f:.2f}{between}{r:.6f}" for f, r in zip(at, gauss, strict=True))
    response = read_response(written(tmp_path, f"# toner of 30 µm\n\n{rows}  # last\n"))
    probe = np.linspace(0, 11.7, 40)
    assert response(probe) == pytest.approx(np.exp(-2 * (np.pi * 0.03 * probe) ** 2), abs=0.001)
    assert response(np.array([12.5])) == 0


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "0 rows"),
        ("0 1\n1 0.9\n2 0.8\n", "3 rows"),
        ("0 1\n2 0.9\n1 0.8\n3 0.5\n", "rise"),
        ("0 1\n1 0.9\n2 -0.1\n3 0.5\n", "between 0 and about 1"),
        ("0 100\n1 90\n2 80\n3 50\n", "between 0 and about 1"),
        ("0 1\n1 high\n2 0.8\n3 0.5\n", "“1 high”"),
        ("0 1\n1 nan\n2 0.8\n3 0.5\n", "not finite"),
        ("0 1 2\n1 1 2\n2 1 2\n3 1 2\n", "“0 1 2”"),
    ],
)
def test_what_is_no_table_is_refused_in_one_line(tmp_path, text, words):
    with pytest.raises(BadOption, match=words) as caught:
        read_response(written(tmp_path, text))
    assert "toner.txt" in str(caught.value)
    assert "\n" not in str(caught.value)


def test_what_cannot_be_read_is_refused(tmp_path):
    path = tmp_path / "toner.txt"
    with pytest.raises(BadOption, match="not a text file"):
        read_response(path)
    path.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadOption, match="not a text file"):
        read_response(path)
