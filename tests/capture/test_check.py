"""What the look at a fresh scan asks for, on scans drawn by poppler and on made-up paper."""

import numpy as np
import pytest
from PIL import Image

from scanqa.capture.one_scan import read_back
from scanqa.capture.session import Session
from scanqa.capture.steps import FULL
from scanqa.cli.capture_check import look
from tests import independent as ind
from tests.capture.fake import paper
from tests.measures.folded import TARGETS, folded_ramp

STEPS = {step.id: step for step in FULL}
DPI = 100


def looked(tmp_path, codes, step):
    path = tmp_path / f"{step}.tif"
    Image.fromarray(np.repeat(codes, 3, axis=2) if codes.shape[2] == 1 else codes).save(
        path, dpi=(DPI, DPI)
    )
    return look(STEPS[step], read_back(path), Session("heron"), dpi=None, curve=None)


@pytest.fixture(scope="module")
def ramp():
    """The folded ramp under an even lamp and a good lens, its lip at the bottom."""
    light = folded_ramp(lambda h: np.exp2(-h / 9), lambda h: 0.05 + 0 * h, fine_dpi=2 * DPI)
    return ind.degrade(light, dpi_from=2 * DPI, dpi_to=DPI, paper=1.0, ink=0.0)


def test_a_whole_ramp_is_good(tmp_path, ramp):
    verdict = looked(tmp_path, ramp, "gutter-ramp")
    assert verdict.shows == "the gutter ramp"
    assert verdict.again == {}


@pytest.mark.parametrize(("part", "words"), [("flat", "flat part"), ("slope", "slope")])
def test_half_a_ramp_is_asked_for_again(tmp_path, ramp, part, words):
    foot = round((60 + 8) * DPI / 25.4)
    half = ramp.copy()
    half[foot:] = ramp[0, 0] if part == "flat" else half[foot:]
    if part == "slope":
        half[:foot] = ramp[0, 0]
    verdict = looked(tmp_path, half, "gutter-ramp")
    assert f"only the ramp's {words} was recognised" in verdict.again["ramp"]


@pytest.mark.parametrize(("turn_deg", "asked"), [(2.0, False), (4.0, True), (-4.0, True)])
def test_a_sheet_that_lies_askew_is_asked_to_be_straightened(tmp_path, turn_deg, asked):
    pose = ind.Pose(turn_deg=turn_deg, about_mm=(105, 148))
    page = ind.raster(TARGETS / "bed-sheet-a4.pdf", 2 * DPI, pose=pose)
    verdict = looked(tmp_path, ind.degrade(page, dpi_from=2 * DPI, dpi_to=DPI), "bed-sheet")
    assert verdict.facts["skew_deg"] == pytest.approx(turn_deg, abs=0.02)
    assert ("skew" in verdict.again) == asked
    if asked:
        assert "4.0° askew" in verdict.again["skew"]


def test_something_else_and_a_white_that_is_cut_off_are_said(tmp_path):
    blank = paper(1, dpi=DPI)
    assert "black card" in looked(tmp_path, blank, "dark").again["role"]
    bright = np.where(np.arange(blank.shape[0])[:, None, None] < 30, 255, blank).astype(np.uint8)
    assert "very top of the scale" in looked(tmp_path, bright, "blank-1").again["clipped"]
    assert looked(tmp_path, blank, "blank-1").again == {}
