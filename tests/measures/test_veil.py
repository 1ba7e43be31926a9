"""Stray light of known size added to a drawn sheet, by the tests' own renderer and a Gaussian.

The page is drawn from the committed PDF by poppler, so that neither our drawing nor our simulator
takes part; what strays is a Gaussian mean of the page, by scipy.
"""

from pathlib import Path

import numpy as np
import pytest
from scipy import ndimage

from scanqa.locate import locate
from scanqa.measures import veil
from scanqa.model import Told
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear
from scanqa.scans.overview import overview
from tests.independent import blurred, raster
from tests.measures.blank_paper import placed, srgb_code

DPI = 150
TARGETS = Path(__file__).parents[2] / "targets"
INK, PAPER = 0.05, 0.85


@pytest.fixture(scope="module")
def sheet_light():
    """The bed sheet in light, black on white."""
    page = raster(TARGETS / "bed-sheet-a4.pdf", 300).astype(np.float64)
    page = page[: page.shape[0] // 2 * 2, : page.shape[1] // 2 * 2] / page.max()
    halves = page.reshape(page.shape[0] // 2, 2, page.shape[1] // 2, 2).mean(axis=(1, 3))
    return INK + (PAPER - INK) * halves


def scanned(light, *, share=0.0, reach_mm=8.0, seed=1):
    reach = reach_mm * DPI / 25.4
    stray = blurred(light.astype(np.float32), reach, truncate=3) if share else light
    rng = np.random.default_rng(seed)
    noisy = light + share * (stray - light) + 0.004 * rng.standard_normal(light.shape)
    codes = np.round(255 * srgb_code(noisy)).astype(np.uint8)
    scan = ArrayScan(np.repeat(codes[:, :, None], 3, axis=2), name="sheet.tif", dpi=(DPI, DPI))
    return locate(scan, overview(scan), linear(scan))


def stray(placements):
    (found,) = veil.measure(placements, Told()).named("veil.stray_light")
    return found


def kept_when_spread_again(sheet_light, reach_mm):
    """How much of the contrast of black's surroundings is left if they are spread once more."""
    reach = reach_mm * DPI / 25.4
    once = blurred(sheet_light, reach, truncate=3)
    twice = blurred(once, reach, truncate=3)
    black = ndimage.distance_transform_edt(sheet_light < 0.3) * 25.4 / DPI >= 0.75
    return np.polyfit(once[black], twice[black], 1)[0]


@pytest.mark.parametrize("share", [0.0, 0.05, 0.12])
def test_the_share_that_strays_is_found(sheet_light, share):
    found = stray(scanned(sheet_light, share=share))
    # 0.3 % of the light is well under what clean scanners differ by; the 8 % is what the contrast
    # of the surroundings changes beside 1 − share (see the module).
    assert found.value == pytest.approx(100 * share, rel=0.08, abs=0.3)
    # and exactly: light L that strays by s has surroundings (1 - s) G L + s G G L, black in them
    # (1 - s) L + s G L: the slope is s / (1 - s + s k), the share that is told s / (1 + s k)
    told = share / (1 + share * kept_when_spread_again(sheet_light, 8.0))
    assert found.value == pytest.approx(100 * told, rel=0.01, abs=0.05)


def test_ink_that_differs_from_place_to_place_is_in_the_uncertainty(sheet_light):
    """Every black area gets an ink of its own, so that the truth of the scatter is known."""
    areas, count = ndimage.label(sheet_light < 0.3)
    found = []
    for seed in range(12):
        inks = np.random.default_rng(seed).normal(0, 0.002, count + 1)
        inks[0] = 0
        found.append(stray(scanned(sheet_light + inks[areas], share=0.1, seed=seed)))
    scatter = np.std([m.value for m in found], ddof=1)
    stated = np.sqrt(np.mean([m.uncertainty**2 for m in found]))
    assert 0.7 < stated / scatter < 1.8  # 12 values know their scatter to 20 %


@pytest.mark.parametrize("reach_mm", [5.0, 15.0])
def test_reaches_between_those_tried_are_found_to_a_third(sheet_light, reach_mm):
    found = stray(scanned(sheet_light, share=0.1, reach_mm=reach_mm))
    assert 7.0 < found.value < 11.0


def test_blur_is_no_stray_light(sheet_light):
    soft = ndimage.gaussian_filter(sheet_light, 0.2 * DPI / 25.4)  # 0.2 mm: hardly legible
    assert stray(scanned(soft)).value < 0.5


def test_toner_that_is_thinner_here_and_there_is_in_the_uncertainty(sheet_light):
    rng = np.random.default_rng(7)
    rough = ndimage.gaussian_filter(rng.standard_normal(sheet_light.shape), 30)
    thin = sheet_light + np.where(sheet_light < 0.2, 0.02 * rough / rough.std(), 0.0)
    found = stray(scanned(np.clip(thin, 0.01, 1)))
    assert found.uncertainty > 0.5
    assert found.value < 3 * found.uncertainty


def test_without_a_sheet_it_is_not_measurable():
    assert veil.measure([], Told()).measurements[0].status == "not-measurable"
    blank = placed(np.full((400, 400, 1), 230, np.uint8), dpi=DPI)
    (nothing,) = veil.measure([blank], Told()).measurements
    assert nothing.status == "not-measurable"
    assert "bed sheet" in nothing.reason
    assert nothing.reason_kind == "no-scan"


def test_black_cut_off_at_the_bottom_is_not_measurable(sheet_light):
    (found,) = veil.measure(
        scanned(np.where(sheet_light < 0.2, -0.05, sheet_light)), Told()
    ).measurements
    assert (found.status, found.reason_kind) == ("not-measurable", "clipped")
