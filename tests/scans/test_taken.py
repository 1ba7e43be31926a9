"""Seconds that stand in a TIFF's description, and what is no such thing."""

import json

import numpy as np
import pytest
import tifffile
from PIL import Image

from scanqa.scans.array import ArrayScan
from scanqa.scans.open import open_scan

PIXELS = np.full((140, 130, 3), 200, np.uint8)


def written(path, words):
    tifffile.imwrite(path, PIXELS, photometric="rgb", description=words, metadata=None)
    return open_scan(path)


def test_the_seconds_of_a_captured_scan(tmp_path):
    words = json.dumps({"device": "test:0", "seconds": 12.5, "options": {}})
    assert written(tmp_path / "a.tif", words).seconds == 12.5


@pytest.mark.parametrize(
    "words",
    [
        "",
        "a scan of mine",
        "12.5",
        pytest.param("[" * 100_000, id="nested"),
        "[]",
        '{"seconds": 12.5}',
        '{"device": "x", "seconds": -1}',
        '{"device": "x", "seconds": 1e9}',
        '{"device": "x", "seconds": NaN}',
        '{"device": "x", "seconds": "soon"}',
        '{"device": "x", "seconds": null}',
    ],
)
def test_other_descriptions_say_nothing(tmp_path, words):
    assert written(tmp_path / "a.tif", words).seconds is None


def test_other_files_say_nothing(tmp_path):
    Image.fromarray(PIXELS).save(tmp_path / "a.png")
    assert open_scan(tmp_path / "a.png").seconds is None
    assert ArrayScan(PIXELS, dpi=(50, 50)).seconds is None
