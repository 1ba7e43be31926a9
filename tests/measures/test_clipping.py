"""Paper at the top of the scale: what rests on it is a bound on the right side, or nothing.

Truth: the same light before it is cut off, in closed form. The codes clip at a spread, 65532 to
65535, as those of a real 16-bit flatbed do (tests/real/README.md).
"""

from dataclasses import replace

import numpy as np
import pytest

from scanqa.measures import banding, edges, glass, noise, processing, sharpness, streaks
from scanqa.model import Told
from scanqa.reading.cut_off import clipped_share
from tests.measures.blank_paper import light_of_paper, placed, srgb_code
from tests.measures.paper import grid_mm
from tests.measures.printed_sheet import placed as placed_sheet
from tests.measures.printed_sheet import sheet_picture
from tests.measures.test_edges import transmitted, true_depth
from tests.measures.test_sharpness import scanned as scanned_sheet

DPI = 300


def in_spread_codes(light, rng):
    """16-bit codes; what reaches the top lies anywhere on the last four."""
    codes = np.round(srgb_code(light) * 65535)
    return np.where(codes >= 65532, rng.integers(65532, 65536, codes.shape), codes).astype(
        np.uint16
    )


def of_light(light, rng, dpi=DPI, name="blank.tif"):
    noisy = light + 0.006 * rng.standard_normal(light.shape)
    return placed(in_spread_codes(noisy, rng)[..., None], dpi=dpi, name=name)


def bright(seed, gain, *, change=None, name="blank.tif"):
    light, rng = light_of_paper(seed, (1800, 900), dpi=DPI)
    if change is not None:
        change(light)
    return of_light(light * gain, rng, name=name)


def judged(measure, scans):
    return processing.bounded(measure(scans, Told()), scans)


def one(results, name):
    (found,) = [m for m in results.measurements if m.name == name]
    return found


def test_no_line_is_ok_nought_on_paper_that_is_cut_off():
    def line(light):
        light[:, 300] *= 1.004  # bright, and the paper there is wholly cut off

    scan = bright(4, 1.255, change=line)
    assert 0.3 < clipped_share(scan) < 0.6
    for measure, name in ((streaks.measure, "streaks.strongest_visible"),
                          (banding.measure, "banding.amplitude")):  # fmt: skip
        found = one(judged(measure, [scan]), name)
        assert (found.status, found.reason_kind) == ("not-measurable", "clipped")
    pattern = one(judged(streaks.measure, [scan]), "streaks.column_pattern")
    assert (pattern.status, pattern.reason_kind) == ("at-least", "clipped")


def test_no_mark_is_none_on_paper_that_is_cut_off():
    pair = [bright(seed, 1.255, name=f"{seed}.tif") for seed in (4, 5)]
    found = one(judged(glass.measure, pair), "glass.marks")
    assert (found.status, found.reason_kind) == ("not-measurable", "clipped")


def test_a_line_seen_on_cut_off_paper_is_at_least_as_strong():
    def line(light):
        light[:, 450] *= 0.97

    scan = bright(4, 1.23, change=line)
    assert 0.02 < clipped_share(scan) < 0.5
    found = one(judged(streaks.measure, [scan]), "streaks.strongest_visible")
    assert (found.status, found.reason_kind) == ("at-least", "clipped")
    assert 0 < found.value <= 3.0 + 0.2


def test_the_shadow_before_a_cut_off_plateau_is_at_least_as_deep():
    x, y = grid_mm(150.0, 200.0, 150)
    light = np.broadcast_to(1.1 * transmitted(x, 0.0, 3.0), (y.size, x.size))
    scan = of_light(light, np.random.default_rng(5), dpi=150)
    found = one(judged(edges.measure, [scan]), "edges.shadow_left")
    truth = true_depth(0.0, 3.0, paper=1.1)
    assert (found.status, found.reason_kind) == ("at-least", "clipped")
    assert 0 < found.value < truth


def test_noise_that_is_cut_off_is_at_least_what_is_left():
    pair = [bright(seed, 1.25, name=f"{seed}.tif") for seed in (6, 7)]
    results = judged(noise.measure, pair)
    for name in ("noise.total", "noise.fixed_pattern"):
        for found in (m for m in results.measurements if m.name == name):
            assert (found.status, found.reason_kind) == ("at-least", "clipped")


def test_an_edge_against_a_spread_of_top_codes_is_refused(tmp_path):
    picture = sheet_picture(tmp_path)
    codes = scanned_sheet(picture, 300, blur_sigma_px=0.7, gain=1.3).astype(np.float64) / 255
    rng = np.random.default_rng(8)
    spread = np.where(codes >= 1, 65535 - rng.integers(0, 4, codes.shape), codes * 65535)
    at_8_bits = placed_sheet(scanned_sheet(picture, 300, blur_sigma_px=0.7, gain=1.3), 300)
    sharp = placed(spread.astype(np.uint16), dpi=300)
    scan = replace(at_8_bits, scan=sharp.scan, overview=sharp.overview, light=sharp.light)
    results = sharpness.measure([scan], Told())
    assert results.named("sharpness.sheet_sfr50") == ()
    assert {m.reason_kind for m in results.measurements if m.at_mm} == {"clipped"}


@pytest.mark.parametrize("gain", [1.0, 1.1])
def test_paper_that_is_not_cut_off_keeps_its_values(gain):
    scan = bright(9, gain)
    results = streaks.measure([scan], Told())
    assert clipped_share(scan) < 0.001
    assert processing.bounded(results, [scan]) is results
