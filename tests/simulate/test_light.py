"""Levels, noise, streaks and shadows of simulated scans against closed forms."""

import math
from dataclasses import replace

import numpy as np
import pytest

from scanqa.simulate.deliver import encoded
from scanqa.simulate.device_faults import Banding, Dust, Falloff, Scratch, Shadow, Streak
from scanqa.simulate.exposure import scan
from scanqa.simulate.scanner import Lamp, Output, Segments
from scanqa.simulate.scenes import BlankScene, BookScene, Paper
from scanqa.simulate.truth import lstar
from tests.simulate.bench import PERFECT, SILENT, WHITE, Even, changed, light

PITCH_MM = 25.4 / 300
ONE_CODE = 1 / 65535


def plain(reflectance=0.8):
    return Even(reflectance)


# ---------------------------------------------------------------------------------- codes


@pytest.mark.parametrize(
    ("reflectance", "code"),
    # sRGB codes of linear light, IEC 61966-2-1: 255 · (1.055 y^(1/2.4) - 0.055), 12.92 y below
    # 0.0031308.
    [(0.002, 7), (0.18, 118), (0.2159, 128), (0.5, 188), (0.9, 243), (1.0, 255)],
)
def test_srgb_code_of_a_known_reflectance(reflectance, code):
    srgb = changed(output=Output(tone="srgb", bits=8))
    pixels = scan(plain(reflectance), srgb, dpi=300, rng=np.random.default_rng(1)).pixels
    assert pixels.dtype == np.uint8
    assert np.all(pixels == code)


def test_gamma_and_linear_curves():
    y = np.linspace(0, 1, 101)
    np.testing.assert_allclose(encoded(y, "gamma-2.2") ** 2.2, y, atol=1e-12)
    np.testing.assert_array_equal(encoded(y, "linear"), y)
    np.testing.assert_allclose(encoded(np.array([-0.1, 1.3]), "srgb"), [0, 1], atol=1e-12)


def test_white_reflectance_comes_out_at_the_top():
    picture, truth = light(plain(0.46), changed(white_reflectance=0.92, black_light=0.01))
    np.testing.assert_allclose(picture, 0.51, atol=ONE_CODE)
    assert np.isclose(truth.paper_luma, 0.51)


# ---------------------------------------------------------------------------------- noise


def noise_of(sensor, *, reflectance, lamp_level=1.0):
    lamp = Lamp(level=lamp_level, vignetting=0.0)
    scanner = changed(sensor=sensor, lamp=lamp, glass_mm=(60.0, 60.0))
    picture, truth = light(plain(reflectance), scanner)
    return picture, truth


def test_photon_variance_grows_with_light():
    sensor = replace(SILENT, full_well_e=20_000)
    for level in (0.1, 0.3, 0.8):
        picture, truth = noise_of(sensor, reflectance=level)
        # Poisson: variance of N electrons is N, so of the share N / 20 000 it is share / 20 000.
        # 1.5 million samples scatter by sqrt(2 / n) = 0.12 %; five sigma.
        assert np.isclose(picture.var(), level / 20_000, rtol=0.006)
        assert np.isclose(truth.noise_sd(np.array(level)) ** 2, level / 20_000)


def test_calibration_keeps_the_level_of_a_weak_lamp_and_its_noise_grows():
    # Behind white calibration: photon variance by 1 / t, read variance by 1 / t².
    t = 0.7
    for sensor, power in (
        (replace(SILENT, full_well_e=20_000), 1),
        (replace(SILENT, full_well_e=20_000, read_noise_e=600.0), 2),
    ):
        level = 0.8 if power == 1 else 0.0005
        new, _ = noise_of(sensor, reflectance=level if power == 1 else 0.4)
        old, _ = noise_of(sensor, reflectance=level if power == 1 else 0.4, lamp_level=t)
        assert np.isclose(old.mean(), new.mean(), rtol=2e-4)
        if power == 1:
            assert np.isclose(old.var() / new.var(), 1 / t, rtol=0.01)
        else:
            photons = 0.4 / 20_000
            reading = (600 / 20_000) ** 2
            expected = (photons / t + reading / t**2) / (photons + reading)
            assert np.isclose(old.var() / new.var(), expected, rtol=0.01)


def test_snr_falls_by_three_decibels_at_half_the_light():
    sensor = replace(SILENT, full_well_e=20_000)
    snr = [
        20 * math.log10(p.mean() / p.std())
        for p in (noise_of(sensor, reflectance=0.8, lamp_level=v)[0] for v in (1.0, 0.5))
    ]
    assert np.isclose(snr[0] - snr[1], 3.0103, atol=0.05)  # 10 log10 2


def test_the_ends_of_the_line_are_level_but_noisier():
    sensor = replace(SILENT, full_well_e=20_000)
    picture, truth = light(
        plain(), changed(sensor=sensor, lamp=Lamp(vignetting=0.4), glass_mm=(60.0, 60.0))
    )
    ends, middle = picture[:, :30], picture[:, 330:380]
    assert np.isclose(ends.mean(), middle.mean(), rtol=5e-4)
    # Over the outermost 30 of 709 columns the loss is 0.4 · (1 … 0.915)² on average 0.367.
    assert np.isclose(ends.var() / middle.var(), 1 / (1 - 0.367), rtol=0.03)
    assert truth.noise_sd(np.array(0.8), vignette=0.4) > truth.noise_sd(np.array(0.8))


def test_column_pattern_stays_and_calibration_noise_does_not():
    fixed = changed(sensor=replace(SILENT, column_pattern=0.002))
    one, two = (light(plain(), fixed, seed=s)[0].mean(axis=0) / 0.8 - 1 for s in (1, 2))
    np.testing.assert_array_equal(one, two)
    assert np.isclose(one.std(), 0.002, rtol=0.15)  # 450 gains: 3.3 % scatter, over four sigma
    fresh = changed(
        sensor=replace(SILENT, full_well_e=20_000, calibration_lines=16), glass_mm=(60.0, 60.0)
    )
    one, two = (light(plain(), fresh, seed=s)[0].mean(axis=0) / 0.8 for s in (1, 2))
    # Each calibration: one line's noise 1 / 20 000 over 16 lines; rows: 0.8 / 20 000 / 709 / 0.64.
    expected = math.sqrt(2 * (1 / 20_000 / 16 + 1 / (0.8 * 20_000 * 709)))
    assert np.isclose((one - two).std(), expected, rtol=0.08)


def test_segments_repeat_at_their_pitch():
    sensor = replace(SILENT, segments=Segments(pitch_mm=10.0, gain_rms=0.003, notch=0.02))
    picture, _ = light(plain(), changed(sensor=sensor, glass_mm=(60.0, 6.0)))
    steps = np.flatnonzero(np.abs(np.diff(picture[:, :, 1].mean(axis=0))) > 0.01)
    starts = steps[::2] + 1
    np.testing.assert_allclose(np.diff((starts + 0.5) * PITCH_MM), 10.0, atol=PITCH_MM)


# ------------------------------------------------------------------------ streaks and marks


@pytest.mark.parametrize(("width_um", "contrast"), [(84.6667, -0.01), (400, 0.004), (30, -0.2)])
def test_a_streak_has_its_place_width_and_contrast(width_um, contrast):
    streak = Streak(6.31, width_um, contrast)
    picture, _ = light(plain(), changed(streaks=(streak,)))
    profile = picture[:, :, 1].mean(axis=0) / 0.8 - 1
    mm = (np.arange(len(profile)) + 0.5) * PITCH_MM
    area = profile.sum() * PITCH_MM
    assert np.isclose(area, contrast * width_um / 1000, rtol=0.01)
    # One that is narrower than a pixel lies in one pixel.
    middle_within = 0.002 if width_um > 80 else PITCH_MM / 2
    assert np.isclose((profile * mm).sum() * PITCH_MM / area, 6.31, atol=middle_within)
    outside = np.abs(mm - 6.31) > width_um / 2000 + PITCH_MM
    assert np.all(np.abs(profile[outside]) < 2 * ONE_CODE)


def test_a_soft_streak_spreads_by_its_sigma():
    streak = Streak(6.31, 300.0, -0.05, softness_um=250.0)
    picture, _ = light(plain(), changed(streaks=(streak,)))
    profile = 1 - picture[:, :, 1].mean(axis=0) / 0.8
    mm = (np.arange(len(profile)) + 0.5) * PITCH_MM - 6.31
    variance = (profile * mm**2).sum() / profile.sum()
    # Box, pixel and Gaussian: their variances add.
    assert np.isclose(variance, (0.3**2 + PITCH_MM**2) / 12 + 0.25**2, rtol=0.01)


def test_a_streak_may_be_of_one_channel_and_part_of_the_length():
    streak = Streak(6.0, 200.0, -0.1, channels=("blue",), extent_mm=(3.0, 7.0))
    picture, _ = light(plain(), changed(streaks=(streak,)))
    loss = 1 - picture / 0.8
    assert loss[:, :, :2].max() < 2 * ONE_CODE
    rows = np.flatnonzero(loss[:, :, 2].max(axis=1) > 0.05)
    assert abs((rows[0] + 0.5) * PITCH_MM - 3.0) < PITCH_MM
    assert abs((rows[-1] + 0.5) * PITCH_MM - 7.0) < PITCH_MM


def test_marks_lie_where_they_should_and_take_their_share():
    dust = Dust((4.0, 7.5), 600.0, -0.3)
    scratch = Scratch((7.0, 2.0), (11.0, 5.0), 80.0, -0.2)
    picture, _ = light(plain(), changed(marks=(dust, scratch)))
    loss = 1 - picture[:, :, 1] / 0.8
    left = loss[:, :70]
    y, x = np.mgrid[: loss.shape[0], :70]
    assert np.isclose(((x + 0.5) * left).sum() / left.sum() * PITCH_MM, 4.0, atol=0.005)
    assert np.isclose(((y + 0.5) * left).sum() / left.sum() * PITCH_MM, 7.5, atol=0.005)
    area = left.sum() * PITCH_MM**2
    assert np.isclose(area, 0.3 * math.pi * 0.3**2, rtol=0.015)  # a 24-gon is 1.1 % smaller
    assert np.isclose(left.max(), 0.3, atol=0.01)
    right = loss[:, 76:].sum() * PITCH_MM**2
    assert np.isclose(right, 0.2 * 5.0 * 0.08, rtol=0.005)  # a 3-4-5 triangle's long side


# -------------------------------------------------------------------- shadows, lift, texture


def test_a_shadow_is_two_lightness_units_deep_where_truth_says():
    scanner = changed(shadows={"left": Shadow(2.0)}, dead_margin_mm={"left": 1.0})
    picture, truth = light(plain(), scanner)
    lightness = lstar(picture[:, :, 1].mean(axis=0))
    mm = (np.arange(len(lightness)) + 0.5) * PITCH_MM
    depth = np.interp(2.0, (lightness[-1] - lightness)[::-1][-80:], mm[::-1][-80:])
    assert abs(depth - truth.depth_mm("left")) < 0.01  # mm
    # For paper that gives 0.9 of the light the depth is as designed.
    _, bright = light(plain(0.9), scanner)
    assert abs(bright.depth_mm("left") - 2.0) < 0.003
    assert truth.depth_mm("right") == 0.0


def test_a_shadow_too_weak_to_be_seen_is_refused():
    with pytest.raises(ValueError, match="no depth"):
        Shadow(3.0, strength=0.02)


def test_falloff_and_banding_multiply():
    banding = Banding(0.01, 2.54)
    scanner = changed(falloff={"right": Falloff(0.1, 5.0)}, banding=banding)
    picture, truth = light(plain(), scanner)
    columns = picture[:, :, 1].mean(axis=0)
    from_right = (np.arange(150) + 0.5) * PITCH_MM
    expected = 0.8 * truth.light_from("right", from_right)[::-1]
    np.testing.assert_allclose(columns, expected, atol=2 * ONE_CODE)
    rows = picture[:, :, 1].mean(axis=1)
    swing = np.abs(np.fft.rfft(rows / rows.mean()))[5] * 2 / 150
    assert np.isclose(swing, 0.01, rtol=0.003)  # five periods; a pixel is short against them


def test_a_cold_lamp_drifts_within_a_scan():
    lamp = Lamp(vignetting=0.0, warm_up=0.2, settle_s=10.0, on_for_s=5.0)
    picture, _ = light(plain(0.5), changed(lamp=lamp, line_time_s=0.1))
    rows = picture[:, :, 1].mean(axis=1)
    time = 5.0 + 0.1 * np.arange(150)
    expected = 0.5 * (1 - 0.2 * np.exp(-time / 10)) / (1 - 0.2 * np.exp(-0.5))
    np.testing.assert_allclose(rows, expected, atol=2 * ONE_CODE)


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
def test_a_book_darkens_towards_its_spine_as_truth_says(side):
    book = BookScene(side, 2.0, 8.0, page_mm=(60, 60), paper=WHITE, text=False)
    scanner = changed(
        glass_mm=(30.0, 30.0),
        lamp=Lamp(vignetting=0.0, half_height_mm=4.0),
        dead_margin_mm={side: 1.0},
    )
    picture, truth = light(book, scanner)
    turned = {"left": 0, "top": 1, "right": 2, "bottom": 3}[side]
    page = np.rot90(picture[:, :, 1], turned)[100:250].mean(axis=0)
    distance = (np.arange(len(page)) + 0.5) * PITCH_MM
    # Beam leaving the glass without moment: (1 - d / length)³; half the light at 4 mm.
    height = 2.0 * np.clip(1 - (distance + 1.0) / 8.0, 0, None) ** 3
    np.testing.assert_allclose(page, 0.8 * 0.5 ** (height / 4.0), rtol=2e-3)
    darker = lstar(np.array([0.8])) - lstar(page)
    np.testing.assert_allclose(truth.delta_L(side, distance), darker, atol=0.06)


def test_a_flat_bar_of_leds_darkens_the_gutter_more_than_a_lamp_that_wraps_round():
    book = BookScene("left", page_mm=(60, 60), paper=WHITE)
    reach = []
    for half_height in (9.0, 2.6):
        scanner = changed(glass_mm=(30.0, 30.0), lamp=Lamp(half_height_mm=half_height))
        _, truth = light(book, scanner)
        reach.append(truth.depth_mm("left", 5.0))
        assert truth.depth_mm("left", 2.0) >= truth.depth_mm("left", 10.0)
    assert reach[1] > 2 * reach[0]


def test_a_lifted_page_is_blurred_more_by_a_contact_sensor():
    book = BookScene("left", page_mm=(60, 60), paper=WHITE)
    truths = [
        light(book, changed(glass_mm=(30.0, 30.0), optics=replace(PERFECT.optics, **change)))[1]
        for change in ({"focus_um_per_mm": 12.0}, {"focus_um_per_mm": 130.0})
    ]
    f = np.array([3.0])
    near = [t.sfr(f, direction="across", at_mm=(0.5, 15.0))[0] for t in truths]
    far = [t.sfr(f, direction="across", at_mm=(29.0, 15.0))[0] for t in truths]
    assert np.isclose(far[0], far[1])
    assert near[1] < 0.2 * near[0]


def test_paper_texture_has_its_strength_and_moves_with_the_paper():
    paper = Paper(0.8, (1.0, 1.0, 1.0), texture=0.01)
    scanner = changed(glass_mm=(60.0, 60.0))
    still, _ = light(BlankScene(paper), scanner)
    moved, _ = light(BlankScene(paper, moved_mm=(20 * PITCH_MM, -10 * PITCH_MM)), scanner)
    grain = still[:, :, 1] / 0.8 - 1
    # Cloudy formation of 0.9 mm leaves a few hundred independent places: some 5 % of scatter.
    # Interpolation between places of the texture takes up to a tenth off the fine grain.
    assert np.isclose(grain.std(), 0.01, rtol=0.12)
    other = moved[:, :, 1] / 0.8 - 1
    same = np.corrcoef(grain[30:600, 30:600].ravel(), other[20:590, 50:620].ravel())[0, 1]
    assert same > 0.95
    assert np.corrcoef(grain[30:600, 30:600].ravel(), other[30:600, 30:600].ravel())[0, 1] < 0.5
