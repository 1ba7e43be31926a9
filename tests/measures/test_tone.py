"""Levels against published lightness, and patches placed by a known map."""

import math
from pathlib import Path

import numpy as np
import pytest

from scanqa.measures import tone
from scanqa.model import Patch, Piece
from tests.measures.paper import MM, placed, placed_codes, value

# CIE 15 lightness of relative luminance in %: see tests/external/README.md.
TABLE = Path(__file__).parents[1] / "external" / "cie_lstar.csv"
PAIRS = np.loadtxt(TABLE, delimiter=",", skiprows=2)[:, :2]


@pytest.mark.parametrize(("percent", "lightness"), PAIRS)
def test_lightness_of_white_is_the_published_one(percent, lightness):
    blank = placed(np.full((300, 200), percent / 100), 100, noise=0.0005, bits=16)
    (m,) = tone.measure([blank], [], [blank]).named("tone.white")
    assert m.value == pytest.approx(lightness, abs=0.02)


def test_white_does_not_heed_dust():
    light = np.full((300, 200), 0.8)
    light[::7, ::5] = 0.1
    found = tone.measure([placed(light, 100, noise=0.01)], [], [])
    assert value(found, "tone.white") == pytest.approx(116 * 0.8 ** (1 / 3) - 16, abs=0.3)


def test_repeats_that_differ_show_in_the_uncertainty():
    levels = (0.78, 0.80, 0.82)
    blanks = [placed(np.full((300, 200), y), 100, noise=0.01, seed=i) for i, y in enumerate(levels)]
    (m,) = tone.measure(blanks, [], blanks).named("tone.white")
    expected = np.std([116 * y ** (1 / 3) for y in levels], ddof=1) / math.sqrt(3)
    assert m.uncertainty == pytest.approx(expected, rel=0.3)


def test_clipped_counts_samples_once_for_each_scan():
    codes = np.full((200, 300, 3), 200, np.uint8)
    codes[:20, :, 0] = 255  # a tenth of one channel in three
    strips = [placed_codes(codes, 100, role="edge-strip", name="strips.tif") for _ in range(3)]
    blank = placed(np.full((300, 200), 0.5), 100)
    found = tone.measure([blank], [], [blank, *strips]).named("tone.clipped")
    assert {m.scan: m.value for m in found} == {
        "blank.tif": 0.0,
        "strips.tif": pytest.approx(100 / 30),
    }


def test_black_is_that_of_the_black_card():
    dark = placed(
        np.full((300, 200), 0.01), 100, noise=0.001, role="dark", bits=16, name="dark.tif"
    )
    found = tone.measure([], [dark], [dark])
    assert value(found, "tone.black") == pytest.approx(8.9914, abs=0.2)  # CIE 15 at 1 %
    (white,) = [m for m in found.measurements if m.name == "tone.white"]
    assert "blank" in white.reason


def sheet_scan(turn_deg, *, shift_mm=(5.0, 5.0), black=0.03, dpi=150):
    """A page of 60 × 90 mm with three patches."""
    patches = (
        Patch("solid", (10.0, 10.0, 22.0, 18.0), 1.0),
        Patch("half", (10.0, 30.0, 22.0, 38.0), 0.5),
        Patch("solid-low", (10.0, 50.0, 22.0, 58.0), 1.0),
    )
    piece = Piece("page", ((0, 0), (60, 0), (60, 90), (0, 90)), (), patches=patches)
    angle, scale = math.radians(turn_deg), dpi / MM
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    middle = np.array([30.0, 45.0])
    shift = middle + shift_mm - turn @ middle
    rows, cols = round(100 * scale), round(70 * scale)
    if turn_deg in (90, 270):
        rows, cols = round(100 * scale), round(100 * scale)
        shift = np.array([50.0, 50.0]) - turn @ middle
    y, x = (np.mgrid[:rows, :cols] + 0.5) / scale
    sheet_x, sheet_y = np.tensordot(turn.T, np.array([x - shift[0], y - shift[1]]), axes=1)
    light = np.full((rows, cols), 0.8)
    for patch, level in zip(patches, (black, 0.4, 2 * black), strict=True):
        left, top, right, bottom = patch.box_mm
        inside = (sheet_x > left) & (sheet_x < right) & (sheet_y > top) & (sheet_y < bottom)
        light[inside] = level
    to_px = np.column_stack([turn * scale, shift * scale - 0.5])
    return placed(
        light, dpi, role="bed-sheet", noise=0.002, name="sheet.tif", piece=piece, to_px=to_px
    )


@pytest.mark.parametrize("turn_deg", [0, 3, 90, 180, 270])
def test_without_black_card_the_darkest_solid_patch_counts(turn_deg):
    (m,) = tone.measure([], [], [sheet_scan(turn_deg)]).named("tone.black")
    assert m.value == pytest.approx(20.0439, abs=0.2)  # CIE 15 at 3 %
    assert "card" in m.reason
    assert m.scan == "sheet.tif"


def test_patches_outside_the_image_do_not_count():
    found = tone.measure([], [], [sheet_scan(0, shift_mm=(-15.0, 0.0))])
    (m,) = [m for m in found.measurements if m.name == "tone.black"]
    assert m.status == "not-measurable"
    assert "card" in m.reason
