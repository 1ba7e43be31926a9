"""The border of paper on black in real scans, against what others read from it (README.md here)."""

from pathlib import Path

import numpy as np
import pytest
import tifffile

from scanqa.locate import locate
from scanqa.measures import sharpness
from scanqa.model import LUMA_WEIGHTS, Told
from scanqa.numeric.edge.sfr import measure_edge
from scanqa.scans.linear import linear, srgb
from scanqa.scans.open import open_scan
from scanqa.scans.overview import overview

HERE = Path(__file__).parent
FILES = ("paper-on-black-004.tif", "paper-on-black-005.tif")
SFR50_CY_PX = 0.525  # README.md; a plain estimate, not ours


@pytest.mark.parametrize("name", FILES)
def test_a_real_edge_reads_as_a_plain_estimate_of_others(name):
    codes = tifffile.imread(HERE / name).astype(np.float64) / 65535
    light = srgb(codes) @ np.array(LUMA_WEIGHTS)
    found = measure_edge(light, ((49.5, 0.0), (59.0, 447.0)), 14.0)
    assert found.sfr50.frequency == pytest.approx(SFR50_CY_PX, rel=0.005)
    assert found.sfr50.uncertainty > 0.002  # at half a cycle a pixel little is known of the shape


@pytest.mark.parametrize("name", FILES)
def test_it_is_found_by_itself_and_bounds_the_scanner(name):
    scan = open_scan(HERE / name)
    (placement,) = locate(scan, overview(scan), linear(scan))
    results = sharpness.measure([placement], Told())
    of_scan = [m.value / 75 * 25.4 for m in results.named("sharpness.sheet_sfr50")]
    assert len(of_scan) >= 2
    # parts of the edge of 40 mm each: half a pixel of blur leaves some per cent open in each
    assert np.median(of_scan) == pytest.approx(SFR50_CY_PX, rel=0.02)
    scanner = results.named("sharpness.sfr50")
    assert {(m.edge_kind, m.status) for m in scanner} == {("found", "at-least")}
