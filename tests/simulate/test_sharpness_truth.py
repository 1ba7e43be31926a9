"""The response of a simulated edge against the closed form, by a few lines of our own.

Gaussian: exp(-2 π² σ² f²); pixel aperture a: sinc(a f) (Goodman, Introduction to Fourier Optics;
Boreman, Modulation Transfer Function in Optical and Electro-Optical Systems).
"""

from dataclasses import replace

import numpy as np
import pytest

from scanqa.simulate.optics import CELLS, resolve
from scanqa.simulate.scanner import Optics, Sensor
from tests.simulate.bench import PERFECT, SILENT, Shapes, changed, light

PHASES = 16  # the edge moves one pixel in so many rows
PITCH_MM = 25.4 / 300
TOLERANCE = 0.005  # of SFR


def edge(direction):
    """Dark to the right of (below) an edge that leans by one pixel in PHASES."""
    lean = 3 * 6.35 / PHASES  # over 1.5 heights each way, so that no end is in the image
    ring = np.array([[6.35 - lean, -12.7], [99, -12.7], [99, 25.4], [6.35 + lean, 25.4]])
    return Shapes((ring if direction == "across" else ring[:, ::-1],))


def response(picture):
    """SFR along rows: PHASES rows are one finely sampled edge; it moves by a pixel in them."""
    rows = picture[48 : 48 + PHASES]
    fine = np.empty(rows.shape[1] * PHASES)
    for i, row in enumerate(rows):  # row i sees the edge i / PHASES further right
        fine[PHASES - 1 - i :: PHASES] = row
    line = np.diff(fine)
    centre = int(np.argmax(np.abs(line)))
    line = line[centre - 16 * PHASES : centre + 16 * PHASES]
    f = np.fft.rfftfreq(len(line), 1 / PHASES)  # cycles per pixel
    spectrum = np.abs(np.fft.rfft(line)) / abs(line.sum())
    return f[f <= 1.0], (spectrum / np.sinc(f / PHASES))[f <= 1.0]


def closed_form(f, sigma_um, other_um, aperture=1.0):
    """Gaussian × box along the axis, and the little that the lean lets in of the other axis."""
    px = np.array([sigma_um, other_um]) / 1000 / PITCH_MM
    g = f / PHASES
    along = np.exp(-2 * (np.pi * px[0] * f) ** 2) * np.sinc(aperture * f)
    return np.abs(along * np.exp(-2 * (np.pi * px[1] * g) ** 2) * np.sinc(g))


@pytest.mark.parametrize(
    ("across", "travel", "aperture"), [(35, 50, 1.0), (20, 80, 1.0), (55, 30, 0.7), (15, 40, 0.5)]
)
def test_across_response_is_gaussian_times_aperture(across, travel, aperture):
    optics = Optics(across, travel, aperture_across=aperture)
    picture, _ = light(edge("across"), changed(optics=optics))
    f, measured = response(picture[:, :, 1])
    np.testing.assert_allclose(
        measured, closed_form(f, across, travel, aperture), atol=TOLERANCE, rtol=0
    )


@pytest.mark.parametrize(("across", "travel"), [(35, 50), (70, 25)])
def test_travel_response_is_its_own(across, travel):
    picture, _ = light(edge("travel"), changed(optics=Optics(across, travel)))
    f, measured = response(picture[:, :, 1].T)
    np.testing.assert_allclose(measured, closed_form(f, travel, across), atol=TOLERANCE, rtol=0)


def test_truth_says_the_same():
    picture, truth = light(edge("across"))
    f, measured = response(picture[:, :, 1])
    slant = np.degrees(np.arctan(1 / PHASES))
    normal = f / PITCH_MM / np.cos(np.radians(slant))
    stated = truth.sfr(normal, direction="across", slant_deg=slant)
    np.testing.assert_allclose(measured, np.abs(stated), atol=TOLERANCE, rtol=0)


def test_a_tilted_lens_is_softer_at_one_side_by_what_truth_says():
    optics = Optics(30.0, 30.0, tilt=(1.0, 0.0), tilt_um=90.0)
    scanner = changed(optics=optics, glass_mm=(50.8, 12.7))
    for x_mm in (8.0, 44.0):
        scene = Shapes((edge("across").rings[0] + np.array([x_mm - 6.35, 0]),))
        picture, truth = light(scene, scanner)
        f, measured = response(picture[:, :, 1])
        slant = np.degrees(np.arctan(1 / PHASES))
        stated = truth.sfr(
            f / PITCH_MM / np.cos(np.radians(slant)),
            direction="across",
            at_mm=(x_mm, 6.35),
            slant_deg=slant,
        )
        # Within a block the blur is even; it is up to 3 % off: 0.018 of SFR where it is steepest.
        np.testing.assert_allclose(measured, np.abs(stated), atol=0.02, rtol=0)


@pytest.mark.parametrize("sigma_px", [0.05, 0.08, 0.12, 0.2, 0.5])
@pytest.mark.parametrize("shift_px", [0.075, -0.07, 0.26])
def test_a_pixel_looks_where_it_is_said_to(sigma_px, shift_px):
    """The middle of a step seen by a row of pixels: their sum moves by the shift, however sharp."""
    pad, pixels = 3, 5
    fine = np.zeros(((1 + 2 * pad) * CELLS, (pixels + 2 * pad) * CELLS), np.float32)
    fine[:, (pad + 2) * CELLS :] = 1
    blur = np.full((1, 1), sigma_px)
    seen = resolve(
        fine, pad=pad, blocks=([0, 1], [0, pixels]), sigma_px=(blur, blur), aperture_px=(1.0, 1.0),
        shifts_px=((0.0, 0.0), (shift_px, 0.0)),
    )  # fmt: skip
    still, moved = seen[0].sum(axis=0)
    assert moved - still == pytest.approx(shift_px, abs=1e-3)


def test_channels_are_misregistered_by_what_the_sensor_says():
    sensor = replace(SILENT, red_px=(0.3, -0.2), blue_px=(-0.15, 0.45))
    for direction, axis in (("across", 0), ("travel", 1)):
        picture, _ = light(edge(direction), changed(sensor=sensor))
        planes = picture if axis == 0 else picture.transpose(1, 0, 2)
        # The light falls from 0.8 to 0.1: its sum says where the edge is.
        place = ((planes - 0.1) / 0.7).sum(axis=1)[40:110].mean(axis=0)
        for channel, moved in ((0, sensor.red_px), (2, sensor.blue_px)):
            # The edge leans: moving it along itself moves it sideways too.
            expected = moved[axis] - moved[1 - axis] / PHASES
            assert abs(place[channel] - place[1] - expected) < 0.002  # px


def test_scale_and_dead_margin_put_things_where_they_belong():
    scanner = changed(dead_margin_mm={"left": 2.4, "top": 1.1}, scale_error=(0.004, -0.002))
    square = np.array([[5.0, 4.0], [9.0, 4.0], [9.0, 8.0], [5.0, 8.0]])
    picture, truth = light(Shapes((square,)), scanner)
    dark = (0.8 - picture[:, :, 1]) / 0.7
    x = (dark.sum(axis=0) * np.arange(dark.shape[1])).sum() / dark.sum()
    y = (dark.sum(axis=1) * np.arange(dark.shape[0])).sum() / dark.sum()
    per_mm = 300 / 25.4
    assert abs(x - ((7.0 - 2.4) * per_mm * 1.004 - 0.5)) < 0.002
    assert abs(y - ((6.0 - 1.1) * per_mm * 0.998 - 0.5)) < 0.002
    assert truth.dead_margin_mm("left") == 2.4
    assert picture.shape[:2] == (round(11.6 * per_mm), round(10.3 * per_mm))


def test_shear_and_skew_lean_as_stated():
    scanner = changed(shear_deg=0.4, skew_deg=1.5, glass_mm=(25.4, 25.4))
    square = np.array([[5.0, 5.0], [20.0, 5.0], [20.0, 20.0], [5.0, 20.0]])
    to_px = scanner.glass_to_px((300.0, 300.0))
    corners = square @ to_px[:, :2].T + to_px[:, 2]
    across, down = corners[1] - corners[0], corners[3] - corners[0]
    assert np.isclose(np.degrees(np.arctan2(across[1], across[0])), 1.5, atol=1e-2)
    right_angle = np.degrees(np.arctan2(down[1], down[0]) - np.arctan2(across[1], across[0]))
    assert np.isclose(90 - right_angle, 0.4, atol=1e-3)


def test_a_scan_is_the_same_for_the_same_seed_only():
    noisy = replace(PERFECT, sensor=Sensor())
    first, again = (light(edge("across"), noisy, seed=5)[0] for _ in range(2))
    other = light(edge("across"), noisy, seed=6)[0]
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)


def test_misregistered_channels_soften_luma_as_truth_says():
    sensor = replace(SILENT, red_px=(0.6, 0.0), blue_px=(-0.8, 0.0))
    picture, truth = light(edge("across"), changed(sensor=sensor))
    slant = np.degrees(np.arctan(1 / PHASES))
    luma = picture @ np.array([0.2126, 0.7152, 0.0722])  # ITU-R BT.709
    for channel, plane in (("luma", luma), ("green", picture[:, :, 1])):
        f, measured = response(plane)
        normal = f / PITCH_MM / np.cos(np.radians(slant))
        stated = truth.sfr(normal, direction="across", slant_deg=slant, channel=channel)
        np.testing.assert_allclose(measured, np.abs(stated), atol=TOLERANCE, rtol=0)


def test_an_image_that_is_too_large_for_the_glass_goes_on_beyond_it():
    _, truth = light(edge("across"), changed(scale_error=(0.01, -0.01)))
    assert np.isclose(truth.dead_margin_mm("right"), 12.7 - 12.7 / 1.01)
    assert np.isclose(truth.dead_margin_mm("bottom"), 12.7 - 12.7 / 0.99)
