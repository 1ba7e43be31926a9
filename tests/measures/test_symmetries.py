"""A scan that is mirrored, turned or recoloured is the same scanner: what must and must not change.

Truth is symmetry itself; seeds are drawn. Streaks, banding, shading, edges, gutter and registration
have theirs beside their other tests.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.measures import drift, glass, noise, processing, tone
from scanqa.model import Told
from tests.measures.blank_paper import light_of_paper, placed, scanned
from tests.measures.test_drift import SECONDS, exponential, series

DPI = 300
SHAPE = (900, 760)
SEEDS = st.integers(0, 2**31)


def changed(placement, pixels, name="changed.tif"):
    return placed(np.ascontiguousarray(pixels), dpi=DPI, name=name, role=placement.role)


def mirrored(placement):
    return changed(placement, placement.scan.pixels[:, ::-1], placement.scan.name)


def transposed(placement):
    return changed(placement, placement.scan.pixels.transpose(1, 0, 2), placement.scan.name)


def recoloured(placement):
    """Red and blue change places."""
    return changed(placement, placement.scan.pixels[..., ::-1], placement.scan.name)


def blanks(seed, *, channels=3, mark=True, temporal=0.006):
    """Two blanks, each of its own paper; with one speck that stays and another that moves."""
    made = []
    for k in range(2):
        light, rng = light_of_paper(seed + k, SHAPE, dpi=DPI, curl=False)
        if mark:
            light[300:306, 200:206] *= 0.6
            light[500 + 90 * k : 506 + 90 * k, 500:506] *= 0.6
        made.append(
            scanned(light, rng, dpi=DPI, channels=channels, noise=temporal, name=f"{k}.tif")
        )
    return made


def one(results, name):
    return results.named(name)[0].value


@settings(max_examples=3, deadline=None)
@given(seed=SEEDS)
def test_marks_on_the_glass_are_mirrored_and_turned_with_the_scan(seed):
    plain = glass.measure(blanks(seed), Told()).marks
    assert len(plain) == 1
    width_mm = SHAPE[1] * 25.4 / DPI
    x, y = plain[0].at_mm
    for change, place in (
        (mirrored, (width_mm - x, y)),
        (transposed, (y, x)),
        (recoloured, (x, y)),
    ):
        (mark,) = glass.measure([change(b) for b in blanks(seed)], Told()).marks
        assert mark.at_mm == pytest.approx(place, abs=0.1)  # mm
        assert mark.contrast_percent == pytest.approx(plain[0].contrast_percent, rel=0.1)


@settings(max_examples=3, deadline=None)
@given(seed=SEEDS)
def test_noise_does_not_know_left_from_right_nor_rows_from_columns(seed):
    blank = blanks(seed, mark=False)[0]
    plain = one(noise.measure([blank], Told()), "noise.total")
    for change in (mirrored, transposed):
        assert one(noise.measure([change(blank)], Told()), "noise.total") == pytest.approx(
            plain, rel=0.02
        )


@settings(max_examples=3, deadline=None)
@given(seed=SEEDS, factor=st.floats(1.5, 2.5))
def test_noise_of_a_scan_grows_with_the_noise_that_is_in_it(seed, factor):
    """Variances add, paper's own being the same in both (ISO 15739)."""
    quiet, loud = (
        one(noise.measure(blanks(seed, mark=False, temporal=t)[:1], Told()), "noise.total") ** 2
        for t in (0.015, 0.015 * factor)
    )
    # Without the sensor's noise; the same paper
    paper = (
        one(noise.measure(blanks(seed, mark=False, temporal=0.0)[:1], Told()), "noise.total") ** 2
    )
    assert (loud - paper) / (quiet - paper) == pytest.approx(factor**2, rel=0.1)


@settings(max_examples=5, deadline=None)
@given(seed=SEEDS, sigma=st.floats(0.6, 1.2))
def test_grain_smoothed_along_one_axis_turns_with_the_scan(seed, sigma):
    from scipy import ndimage

    rng = np.random.default_rng(seed)
    pixels = ndimage.gaussian_filter1d(rng.normal(235, 3, (640, 576, 3)), sigma, axis=0)
    plain = placed(np.rint(pixels).astype(np.uint8), dpi=DPI)

    def kept(placement):
        found = processing.measure([placement], Told()).named("processing.grain_kept")
        return {m.direction: m.value for m in found}

    here, turned = kept(plain), kept(transposed(plain))
    assert here["travel"] < 0.6 < here["across"]
    assert turned["across"] == pytest.approx(here["travel"], rel=0.15, abs=0.05)
    assert turned["travel"] == pytest.approx(here["across"], rel=0.15)


@settings(max_examples=6, deadline=None)
@given(gain=st.floats(0.5, 1.0), start=st.floats(0.03, 0.1), tau=st.floats(20, 60))
def test_settling_does_not_depend_on_how_bright_the_scans_are(gain, start, tau):
    light = exponential(SECONDS, -start, tau)
    plain, darker = (drift.measure(series(g * light, SECONDS), Told()) for g in (1.0, gain))
    for name, within in (("drift.settle_time", 0.06), ("drift.level", 0.06)):
        assert one(darker, name) == pytest.approx(one(plain, name), rel=within)


@settings(max_examples=6, deadline=None)
@given(seed=SEEDS)
def test_the_level_of_white_does_not_know_where_it_lies(seed):
    blank = blanks(seed)[0]
    plain = one(tone.measure([blank], Told()), "tone.white")
    for change in (mirrored, transposed):
        moved = one(tone.measure([change(blank)], Told()), "tone.white")
        assert moved == pytest.approx(plain, abs=0.1)  # L*
