"""Noise of known parts in synthetic pairs of scans; seeds in each test.

Closed forms: dL* = (116/3) Y^(1/3) dY/Y (CIE 15); the noise of luma is that of one channel times
the root of the summed squared BT.709 weights; a two-frame difference holds twice the temporal
variance (ISO 15739, photon transfer); rounding to whole codes adds 1/12 code squared.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from scanqa.measures import noise
from scanqa.measures.noise.by_distance import at_nought, by_distance
from scanqa.measures.noise.turned import AffineField
from scanqa.model import Told, Window
from scanqa.simulate import scan as simulated
from scanqa.simulate.scanner import Lamp, Scanner
from scanqa.simulate.scenes import BlankScene, Paper
from tests.measures.blank_paper import PAPER, grain, placed, srgb_code, srgb_light

DPI = 300
SHAPE = (1400, 1100)
TEXTURE, FIXED, TEMPORAL = 0.01, 0.003, 0.006  # fractions of the light
TO_L = 116 / 3 * PAPER ** (1 / 3)  # L* per fraction of light
# Signal to noise is that at a light of 0.8: of noise whose variance goes with the light.
TO_WHITE_DB = 10 * math.log10(0.8 / PAPER)


def frames(
    shifts, *, seed=1, texture=TEXTURE, temporal=TEMPORAL, fixed=FIXED, top=255, grain_px=1.2
):
    """Grey 16-bit (or 8-bit) scans of one paper at several places on one sensor."""
    rng = np.random.default_rng(seed)
    rows, columns = SHAPE
    paper = grain((rows + 100, columns + 100), rng, grain_px)
    pattern = rng.standard_normal(SHAPE, np.float32)
    out = []
    for dy, dx in shifts:
        part = paper[50 + dy : 50 + dy + rows, 50 + dx : 50 + dx + columns]
        light = PAPER * (1 + texture * part) * (1 + fixed * pattern)
        light = light + PAPER * temporal * rng.standard_normal(SHAPE, np.float32)
        dtype = np.uint8 if top == 255 else np.uint16
        pixels = np.round(srgb_code(light) * top).astype(dtype)
        out.append(placed(pixels, dpi=DPI, name=f"{dy}-{dx}.tif"))
    return out


def value(results, name):
    (one,) = results.named(name)
    return one


def test_moved_paper_gives_all_parts():
    results = noise.measure(frames([(0, 0), (23, -31)], top=65535), Told())
    temporal, fixed = value(results, "noise.temporal"), value(results, "noise.fixed_pattern")
    assert temporal.value == pytest.approx(TO_L * TEMPORAL, rel=0.02)
    assert fixed.value == pytest.approx(TO_L * FIXED, rel=0.06)
    total = results.named("noise.total")[0]
    assert total.value == pytest.approx(TO_L * math.hypot(TEXTURE, FIXED, TEMPORAL), rel=0.02)
    assert value(results, "noise.snr").value == pytest.approx(
        TO_WHITE_DB - 20 * math.log10(TEMPORAL), abs=0.2
    )
    assert "moved" in temporal.reason


def test_cloudy_paper_that_lay_still_is_not_taken_for_moved():
    """Clouds of 10 px share their grain beyond the displacements that are left out near nought."""
    pair = frames([(0, 0), (0, 0)], seed=10, texture=0.004, grain_px=8.0, top=65535)
    results = noise.measure(pair, Told())
    temporal = value(results, "noise.temporal")
    assert temporal.value == pytest.approx(TO_L * TEMPORAL, rel=0.02)
    assert "still" in temporal.reason


def test_turned_paper_is_followed_over_the_bed():
    """A turn by 0.4° shears a window of 256 px by 1.8 px, more than the grain is wide."""
    rng = np.random.default_rng(70)
    big = grain((1800, 1500), rng)
    turned = ndimage.rotate(big, 0.4, reshape=False, order=5)
    out = []
    for index, paper in enumerate((big, turned)):
        light = PAPER * (1 + TEXTURE * paper[200:1600, 200:1300])
        light = light + PAPER * TEMPORAL * rng.standard_normal(SHAPE, np.float32)
        pixels = np.round(srgb_code(light) * 65535).astype(np.uint16)
        out.append(placed(pixels, dpi=DPI, name=f"{index}.tif"))
    out[1] = placed(np.roll(out[1].scan.pixels, (21, -17), (0, 1)), dpi=DPI, name="1.tif")
    results = noise.measure(out, Told())
    assert value(results, "noise.temporal").value == pytest.approx(TO_L * TEMPORAL, rel=0.04)


def test_paper_that_moved_far_is_found_again_through_the_previews():
    results = noise.measure(frames([(40, -45), (-45, 48)], seed=9, top=65535), Told())
    temporal = value(results, "noise.temporal")
    assert temporal.value == pytest.approx(TO_L * TEMPORAL, rel=0.03)
    assert "+7.87 mm across and -7.20 mm" not in temporal.reason  # B shows the paper the other way
    assert "-7.87 mm across and +7.20 mm along travel" in temporal.reason
    assert value(results, "noise.paper").value == pytest.approx(TO_L * TEXTURE, rel=0.02)


def test_still_paper_gives_the_temporal_part_as_the_two_frame_difference():
    one, other = frames([(0, 0), (0, 0)], seed=2, top=65535)
    results = noise.measure([one, other], Told())
    assert value(results, "noise.temporal").value == pytest.approx(TO_L * TEMPORAL, rel=0.02)
    a, b = (srgb_light(p.scan.pixels / 65535.0) for p in (one, other))
    two_frame = np.std(a - b) / math.sqrt(2) / a.mean()
    assert value(results, "noise.snr").value == pytest.approx(
        TO_WHITE_DB - 20 * math.log10(two_frame), abs=0.05
    )
    assert not results.named("noise.fixed_pattern")
    reasons = [m.reason for m in results.measurements if m.name == "noise.fixed_pattern"]
    assert "did not move" in reasons[0]


def test_another_sheet_leaves_temporal_open_and_still_gives_the_fixed_pattern():
    one = frames([(0, 0)], seed=3, fixed=0.0)[0]
    other = frames([(0, 0)], seed=4, fixed=0.0)[0]
    results = noise.measure([one, other], Told())
    assert not results.named("noise.temporal")
    assert not results.named("noise.snr")
    assert value(results, "noise.fixed_pattern").value < 0.1 * TO_L * TEXTURE


def test_one_scan_gives_the_total_only():
    results = noise.measure(frames([(0, 0)], seed=5), Told())
    assert len(results.named("noise.total")) == 1
    missing = {m.name: m.reason for m in results.measurements if m.value is None}
    assert {"noise.temporal", "noise.fixed_pattern", "noise.paper", "noise.snr"} < set(missing)
    assert "noise.light_index" in missing
    assert all("two scans" in reason for reason in missing.values())


def test_rounding_to_8_bits_adds_its_twelfth():
    results = noise.measure(frames([(0, 0), (23, -31)], seed=6), Told())
    code = srgb_code(PAPER) * 255
    step = float(srgb_light((code + 0.5) / 255) - srgb_light((code - 0.5) / 255)) / PAPER
    expected = TO_L * math.hypot(TEMPORAL, step / math.sqrt(12))
    assert value(results, "noise.temporal").value == pytest.approx(expected, rel=0.03)


def test_half_the_light_behind_white_calibration_costs_3_db():
    """Shot noise: variance over level doubles when half the light is scaled back up."""
    full = noise.measure(frames([(0, 0), (17, 25)], seed=7, top=65535), Told())
    half = noise.measure(
        frames([(0, 0), (17, 25)], seed=8, temporal=TEMPORAL * math.sqrt(2), top=65535), Told()
    )
    fall = value(full, "noise.snr").value - value(half, "noise.snr").value
    assert fall == pytest.approx(3.01, abs=0.25)


def test_stated_uncertainty_holds_the_scatter_of_repeats():
    values, errors = [], []
    for seed in range(10):
        one = value(
            noise.measure(frames([(0, 0), (21, 18)], seed=20 + seed), Told()), "noise.temporal"
        )
        values.append(one.value)
        errors.append(one.uncertainty)
    ratio = np.std(values, ddof=1) / np.mean(errors)
    assert 0.4 < ratio < 2.0  # 10 repeats know a standard deviation to 24 %


def test_a_scan_without_any_grain_is_said_to_be_so():
    flat = [placed(np.full((900, 900), 230, np.uint8), dpi=DPI, name=n) for n in ("a", "b")]
    missing = [m for m in noise.measure(flat, Told()).measurements if m.value is None]
    assert len(missing) == 7
    assert all("no grain" in m.reason for m in missing)


ELECTRONS = 30_000  # at full scale
READ = 0.002  # of full scale


def shot_frames(shifts, *, lamp=1.0, seed=1, level=PAPER, texture=TEXTURE, top=65535, role="blank"):
    """Photon noise behind white calibration: `lamp` of the light, scaled back to the same level.

    Poisson counts (as normal, the counts are high) of lamp × electrons × light, and read noise
    before the scaling: the closed form of published-values section 8.
    """
    rng = np.random.default_rng(seed)
    rows, columns = SHAPE
    paper = grain((rows + 100, columns + 100), rng)
    out = []
    for index, (dy, dx) in enumerate(shifts):
        part = paper[50 + dy : 50 + dy + rows, 50 + dx : 50 + dx + columns]
        light = level * (1 + texture * part)
        variance = light / (ELECTRONS * lamp) + (READ / lamp) ** 2
        light = light + np.sqrt(variance) * rng.standard_normal(SHAPE, np.float32)
        pixels = np.round(srgb_code(light) * top)
        pixels = pixels.astype(np.uint8 if top == 255 else np.uint16)
        out.append(placed(pixels, dpi=DPI, name=f"{role}{index}.tif", role=role))
    return out


@pytest.mark.parametrize("shift", [(0, 0), (23, -31)])
@pytest.mark.parametrize("top", [255, 65535])
def test_light_index_sees_a_lamp_at_80_percent(shift, top):
    found = []
    for lamp, seed in ((1.0, 40), (0.8, 41)):
        pair = shot_frames([(0, 0), shift], lamp=lamp, seed=seed, top=top)
        found.append(value(noise.measure(pair, Told()), "noise.light_index"))
    full, dimmed = found
    # level / (shot + read variance), thousand electrons
    truth = 1e-3 * PAPER / (PAPER / ELECTRONS + READ**2)
    assert full.value == pytest.approx(truth, rel=0.04)
    ratio = dimmed.value / full.value
    error = ratio * math.hypot(full.uncertainty / full.value, dimmed.uncertainty / dimmed.value)
    assert ratio + 1.96 * error < 1.0  # the 95 % interval leaves 100 % out
    expected = (PAPER / ELECTRONS + READ**2) / (PAPER / (0.8 * ELECTRONS) + (READ / 0.8) ** 2)
    assert abs(ratio - expected) < 3 * error + 0.01


def test_photon_transfer_gives_gain_and_read_noise():
    """Variance = read² + gain × level, from white and dark pairs."""
    white = shot_frames([(0, 0), (0, 0)], seed=50)
    black = shot_frames([(0, 0), (0, 0)], seed=51, level=0.01, texture=0.0, role="dark")
    results = noise.measure([*white, *black], Told())
    assert value(results, "noise.gain").value == pytest.approx(1e6 / ELECTRONS, rel=0.02)
    assert value(results, "noise.read").value == pytest.approx(100 * READ, rel=0.02)


def test_signal_to_noise_is_the_same_on_darker_paper():
    """Of photons and reading alone, three papers; truth in closed form at a light of 0.8."""
    truth = 10 * math.log10(0.8**2 / (0.8 / ELECTRONS + READ**2))
    for seed, level in ((95, 0.6), (96, 0.75), (97, 0.9)):
        pair = shot_frames([(0, 0), (0, 0)], seed=seed, level=level)
        found = value(noise.measure(pair, Told()), "noise.snr")
        assert abs(found.value - truth) < 1.96 * found.uncertainty
        assert found.uncertainty < 0.25


def test_compressed_files_give_no_light_index():
    pair = shot_frames([(0, 0), (0, 0)], seed=60, top=255)
    lossy = [replace(p, scan=replace(p.scan, lossy=True)) for p in pair]
    missing = {
        m.name: m.reason for m in noise.measure(lossy, Told()).measurements if m.value is None
    }
    assert "compressed" in missing["noise.light_index"]


def test_noise_below_the_code_steps_gives_no_light_index():
    pair = frames([(0, 0), (0, 0)], seed=61, temporal=0.0004)
    missing = {
        m.name: m.reason for m in noise.measure(pair, Told()).measurements if m.value is None
    }
    assert "16 bits" in missing["noise.light_index"]


WINDOWS = 12  # of 256 × 256 pixels, on a scan of this size
# A variance of N normal values is known to √(2/N) of itself (chi-squared), a median of n such
# values to √(π/2n) of their scatter. The stated error comes from the 12 windows themselves: a root
# mean square over eight pairs knows it to 8 %, over five to 10 %.
# Twelve windows hold 95 % within 2.201 of their own standard errors (Student, tables).
COUNTED = math.sqrt(2 / 256**2) * math.sqrt(math.pi / 2 / WINDOWS) * 2.201 / 1.96


def rms(values):
    return math.sqrt(np.mean(np.square(values)))


def test_stated_errors_are_those_of_counting_pixels():
    stated = {"noise.total": [], "noise.temporal": [], "noise.snr": [], "noise.light_index": []}
    for seed in range(80, 88):
        bare = frames([(0, 0)], seed=seed, texture=0.0, fixed=0.0, top=65535)
        total = value(noise.measure(bare, Told()), "noise.total")
        stated["noise.total"].append(total.uncertainty / total.value)
        pair = noise.measure(frames([(0, 0), (0, 0)], seed=seed, top=65535), Told())
        for name in ("noise.temporal", "noise.light_index"):
            stated[name].append(value(pair, name).uncertainty / value(pair, name).value)
        stated["noise.snr"].append(value(pair, "noise.snr").uncertainty)
    truth = {
        "noise.total": COUNTED / 2,  # of a root
        "noise.temporal": COUNTED / 2,
        "noise.light_index": COUNTED,
        "noise.snr": 10 / math.log(10) * math.hypot(COUNTED, 0.15 * math.log(PAPER / 0.8)),  # dB
    }
    for name, errors in stated.items():
        assert rms(errors) == pytest.approx(truth[name], rel=0.25), name


def test_stated_errors_of_photon_transfer_are_those_of_counting_pixels():
    """Var = read² + gain × level through a white and a dark pair; errors of both in quadrature."""
    dark_level, gains, reads = 0.01, [], []
    for seed in range(90, 95):
        white = shot_frames([(0, 0), (0, 0)], seed=seed)
        black = shot_frames(
            [(0, 0), (0, 0)], seed=seed + 100, level=dark_level, texture=0.0, role="dark"
        )
        results = noise.measure([*white, *black], Told())
        gains.append(value(results, "noise.gain").uncertainty)
        reads.append(value(results, "noise.read").uncertainty)
    of_white, of_dark = (COUNTED * (level / ELECTRONS + READ**2) for level in (PAPER, dark_level))
    gain_error = math.hypot(of_white, of_dark) / (PAPER - dark_level)
    read_error = math.hypot(of_dark, dark_level * gain_error) / (2 * READ)
    assert rms(gains) == pytest.approx(1e6 * gain_error, rel=0.3)
    assert rms(reads) == pytest.approx(100 * read_error, rel=0.3)


def of_turned(turn_deg, dpi, *, texture=0.004, level=1.0, seed=0, still=False):
    """Results of two scans of one sheet, and the noise of the same scanner without any paper."""
    scanner = Scanner("bench", glass_mm=(108.0, 150.0), lamp=Lamp(level=level))
    smooth = Paper(seed=5, texture=0.0)
    paper = Paper(seed=5 + seed, texture=texture)
    moved = (0.0, 0.0) if still else (2.5, -3.1)

    def pair(of):
        scenes = (BlankScene(of), BlankScene(of, moved, turn_deg))
        rngs = [np.random.default_rng([seed, at]) for at in (0, 1)]
        return [
            simulated(scene, scanner, dpi=dpi, rng=rng).pixels
            for scene, rng in zip(scenes, rngs, strict=True)
        ]

    weights = np.array([0.2126, 0.7152, 0.0722])  # BT.709
    lights = [srgb_light(pixels / 255.0) @ weights for pixels in pair(smooth)]
    middle = np.s_[100:-100, 100:-100]
    truth = np.std(lights[0][middle] - lights[1][middle]) / math.sqrt(2)
    truth *= 116 / 3 * lights[0][middle].mean() ** (-2 / 3)
    scans = [placed(p, dpi=dpi, name=f"{at}.tif") for at, p in enumerate(pair(paper))]
    return noise.measure(scans, Told()), truth


@pytest.mark.parametrize(
    ("turn_deg", "dpi", "texture"),
    [
        (0.4, 150, 0.004),
        (1.0, 150, 0.01),
        (2.0, 150, 0.004),
        (-3.0, 150, 0.01),
        (0.4, 300, 0.01),
        (2.0, 300, 0.004),
    ],
)
def test_paper_that_was_turned_gives_the_noise_of_smooth_paper(turn_deg, dpi, texture):
    """Truth: the two-frame difference of the same scanner on a sheet without any texture."""
    results, truth = of_turned(turn_deg, dpi, texture=texture)
    found = value(results, "noise.temporal")
    assert found.status == "ok"
    assert found.value == pytest.approx(truth, rel=0.04)


def right_or_none(results, truth):
    """Whether the temporal noise is right, or said not to be known."""
    (found,) = [m for m in results.measurements if m.name == "noise.temporal"]
    if found.value is None:
        return found.reason_kind == "unlike"
    return found.status == "ok" and found.value == pytest.approx(truth, rel=0.06)


@pytest.mark.parametrize(("turn_deg", "dpi"), [(4.0, 150), (5.0, 150), (8.0, 150), (4.0, 300)])
def test_paper_turned_too_far_gives_the_right_noise_or_none(turn_deg, dpi):
    assert right_or_none(*of_turned(turn_deg, dpi, texture=0.01, seed=1))


@pytest.mark.parametrize("turn_deg", [0.6, 2.0])
def test_paper_turned_about_the_middle_is_not_taken_for_still(turn_deg):
    """Near the point about which it was turned its clouds hardly moved."""
    assert right_or_none(*of_turned(turn_deg, 150, texture=0.01, still=True))


def test_half_the_light_is_seen_on_paper_turned_by_two_degrees():
    index = [
        np.median([m.value for m in of_turned(2.0, 150, level=level)[0].named("noise.light_index")])
        for level in (1.0, 0.5)
    ]
    assert index[1] / index[0] == pytest.approx(0.5, rel=0.08)


FINE, SIZE = 6, 128  # fine samples to a sample; samples of a window
CORNER = 20


def fine_grain(rng, *, narrow_px, clouds_px=6.0):
    """A field of unit variance on a grid of FINE to a sample: half fine grain, half clouds."""
    side, field = (SIZE + 2 * CORNER) * FINE, 0.0
    for sigma in (narrow_px, clouds_px):
        part = ndimage.gaussian_filter(rng.normal(size=(side, side)), sigma * FINE, mode="wrap")
        field = field + part / part.std() / math.sqrt(2)
    return field


def sampled_twice(rng, turn_deg, off_px, noise, *, narrow_px):
    """Windows of two scans that sample one field at other points, and where the paper lies."""
    turn = math.radians(turn_deg)
    slopes = np.array([[np.cos(turn) - 1, np.sin(turn)], [-np.sin(turn), np.cos(turn) - 1]])
    at = np.mgrid[:SIZE, :SIZE].astype(float)
    there = np.einsum("ab,bxy->axy", np.linalg.inv(np.eye(2) + slopes.T), at - off_px)
    field = fine_grain(rng, narrow_px=narrow_px)
    planes = [
        ndimage.map_coordinates(field, (place + CORNER) * FINE, order=3, mode="wrap")
        for place in (at, there)
    ]
    planes = [plane + noise * rng.normal(size=plane.shape) for plane in planes]
    return *planes, AffineField(off_px[:, 0, 0], slopes)


@pytest.mark.parametrize("turn_deg", [0.0, 0.3, 2.0])
@pytest.mark.parametrize("narrow_px", [0.4, 0.8, 1.5])
def test_paper_sampled_at_other_points_leaves_the_noise(turn_deg, narrow_px):
    """One field sampled twice, grain four times the noise in variance; truth is the noise added."""
    rng, noise, found = np.random.default_rng(6), 0.5, []
    whole = Window(0, 0, SIZE, SIZE)
    for number in range(4):  # windows lie otherwise to the samples, as over a bed
        off = np.array([0.2 + 0.37 * number, 0.4 - 0.29 * number])[:, None, None]
        one, other, field = sampled_twice(rng, turn_deg, off, noise, narrow_px=narrow_px)
        found.append(by_distance([one], [other], whole, whole, field))
    values, doubt = at_nought(found, np.ones((4, 1)))
    # A variance of N normal values is known to √(2/N), and noise meets grain in each difference.
    chance = noise**2 * math.sqrt(4 / (4 * SIZE**2))
    assert abs(np.median(values) - noise**2) < 1.96 * math.hypot(doubt[0], chance)
    assert doubt[0] < 0.15 * noise**2


def test_light_that_falls_off_otherwise_at_the_other_place_is_no_noise():
    """A shadow under one of two windows, seven times the noise: found all the same.

    Windows come rid of shading as far as a parabola is one; what a shadow leaves beyond counts.
    """
    rng, noise = np.random.default_rng(7), 0.5
    off = np.array([0.3, -0.4])[:, None, None]
    one, other, field = sampled_twice(rng, 0.5, off, noise, narrow_px=0.8)
    shade = 3.5 * np.exp(-np.arange(SIZE) / 25.0)
    shade -= np.polyval(np.polyfit(np.arange(SIZE), shade, 2), np.arange(SIZE))
    whole = Window(0, 0, SIZE, SIZE)
    gathered = by_distance([one], [other + shade], whole, whole, field)
    values, doubt = at_nought([gathered], np.ones((1, 1)))
    chance = noise**2 * math.sqrt(4 / SIZE**2)
    assert abs(values[0, 0] - noise**2) < 1.96 * math.hypot(doubt[0], chance)


def test_grain_finer_than_samples_that_all_lie_between_is_not_told_from_noise():
    """Moved by whole samples and a half everywhere: what the paper is at a sample is not seen."""
    rng, texture = np.random.default_rng(8), 0.008
    field = ndimage.gaussian_filter(rng.normal(size=(1160, 1160)), 0.8)  # 0.4 samples of two
    field = texture * field / field.std()
    pair = []
    for shift in (80, 37):  # of half samples: 21.5 samples apart
        paper = field[shift : shift + 1040 : 2, shift : shift + 1040 : 2]
        light = PAPER * (1 + paper + 0.004 * rng.standard_normal(paper.shape))
        pixels = np.round(srgb_code(light) * 65535).astype(np.uint16)
        pair.append(placed(pixels, dpi=DPI, name=f"{shift}.tif"))
    missing = {m.name for m in noise.measure(pair, Told()).measurements if m.value is None}
    assert {"noise.temporal", "noise.snr", "noise.light_index"} <= missing


WHITE_LIGHT, BLACK_LIGHT = 0.82, 0.03


def twin(power):
    """Electrons and read noise of a unit behind another curve whose white and black look alike."""
    wanted = np.array([level / ELECTRONS + READ**2 for level in (WHITE_LIGHT, BLACK_LIGHT)])
    true = np.array([WHITE_LIGHT, BLACK_LIGHT]) ** (1 / power)
    slope = power * true ** (power - 1)
    gain, read = np.linalg.solve(np.stack([true, np.ones(2)], axis=1), wanted / slope**2)
    return gain, read, true


@pytest.mark.parametrize("power", [0.9, 1.1, 1.3])
def test_noise_of_white_and_black_does_not_tell_the_curve(power):
    """A unit behind another curve, with other electrons and read noise, gives the same numbers.

    Two variances and two unknowns: for any power of light down to a limit there is a unit that
    would look the same, so that photon transfer narrows no doubt of an assumed curve.
    """
    gain, read_variance, true = twin(power)
    assert gain > 0
    assert read_variance > 0
    rng, scans = np.random.default_rng(98), []
    for role, level in zip(("blank", "dark"), true, strict=True):
        light = level * (1 + (TEXTURE * grain(SHAPE, rng) if role == "blank" else 0))
        for index in range(2):
            noisy = light + np.sqrt(gain * light + read_variance) * rng.standard_normal(SHAPE)
            seen = np.clip(noisy, 0, 1) ** power  # what an assumed curve makes of it
            pixels = np.round(srgb_code(seen) * 65535).astype(np.uint16)
            scans.append(placed(pixels, dpi=DPI, name=f"{role}{index}.tif", role=role))
    results = noise.measure(scans, Told())
    assert value(results, "noise.gain").value == pytest.approx(1e6 / ELECTRONS, rel=0.02)
    assert value(results, "noise.read").value == pytest.approx(100 * READ, rel=0.02)


def test_the_limit_of_such_twins():
    """Beyond it no read noise explains what white and black show: only from above, and by how much.

    With shot noise in a power k of light, variance rises with the level to the power 2 - 1/k.
    """
    levels = np.array([WHITE_LIGHT, BLACK_LIGHT])
    rise = np.diff(np.log(levels / ELECTRONS + READ**2))[0] / np.diff(np.log(levels))[0]
    limit = 1 / (2 - rise)
    assert limit == pytest.approx(0.692, abs=0.001)  # READ hides all powers from there on
    assert twin(limit * 1.01)[1] > 0
    assert twin(limit * 0.99)[1] < 0
