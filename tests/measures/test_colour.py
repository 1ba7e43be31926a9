"""Colour registration on sheets drawn by poppler, channels shifted by plain numpy."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from scanqa.measures import colour
from scanqa.model import Told
from tests import independent as ind
from tests.measures.paper import grid_mm
from tests.measures.paper import placed as paper_placed
from tests.measures.printed_sheet import (
    RASTER_DPI,
    SHEET_BOX_MM,
    SLANT_DEG,
    placed,
    sheet_picture,
)

SHIFTS = ((0.5, -0.25), (0.0, 0.0), (-0.375, 0.625))  # px of red, green, blue: x, y


@pytest.fixture(scope="module")
def picture(tmp_path_factory):
    return sheet_picture(tmp_path_factory.mktemp("sheet"))


@pytest.fixture(scope="module")
def shifted(picture):
    """300 dpi; the raster is 8 times as fine, so eighths of a pixel are whole raster pixels."""
    return ind.degrade(
        picture,
        dpi_from=RASTER_DPI,
        dpi_to=300,
        channel_shifts_px=SHIFTS,
        blur_sigma_px=0.7,
        noise=0.004,
    )


def sites(results, channel, direction):
    return [
        m
        for m in results.named("colour.registration")
        if m.channel == channel and m.direction == direction
    ]


def test_shifts_in_both_directions_at_every_site(shifted):
    results = colour.measure([placed(shifted, 300)], Told())
    for channel, truth in (("red", SHIFTS[0]), ("blue", SHIFTS[2])):
        for direction, shift in zip(("across", "travel"), truth, strict=True):
            found = sites(results, channel, direction)
            assert len(found) == 4
            for m in found:
                assert m.value == pytest.approx(shift, abs=0.02)  # px
                assert m.uncertainty < 0.01
                assert abs(m.value - shift) < 4 * m.uncertainty + 0.002


def test_stated_uncertainties_are_the_scatter_about_the_truth(picture):
    pulls = []
    for seed in range(5):
        noisy = ind.degrade(
            picture,
            dpi_from=RASTER_DPI,
            dpi_to=300,
            channel_shifts_px=SHIFTS,
            blur_sigma_px=0.7,
            noise=0.02,
            seed=seed,
        )
        results = colour.measure([placed(noisy, 300)], Told())
        for channel, truth in (("red", SHIFTS[0]), ("blue", SHIFTS[2])):
            for direction, shift in zip(("across", "travel"), truth, strict=True):
                found = sites(results, channel, direction)
                pulls += [(m.value - shift) / m.uncertainty for m in found]
    # 80 of them know their spread to 8 %; neighbours share what is taken off for the slant
    assert np.sqrt(np.mean(np.square(pulls))) == pytest.approx(1, abs=0.25)


def test_a_shift_along_an_edge_that_no_crossing_edge_tells_is_in_the_uncertainty(shifted):
    place = placed(shifted, 300)
    upright = [e for e in place.piece.edges if abs(e.end_mm[1] - e.start_mm[1]) > 5]
    alone = replace(place, piece=replace(place.piece, edges=tuple(upright)))
    found = sites(colour.measure([alone], Told()), "red", "across")
    assert len(found) == 4
    slant = np.tan(np.radians(SLANT_DEG))
    for m in found:
        # it reads slant × the other shift too much or too little, which it cannot know
        assert abs(m.value - SHIFTS[0][0]) == pytest.approx(slant * abs(SHIFTS[0][1]), abs=0.01)
        # half a pixel along it, as a standard deviation: more than scanners are seen to have
        assert m.uncertainty == pytest.approx(slant * 0.5, rel=0.15)


def test_different_blur_and_level_of_the_channels_shift_nothing(picture):
    dpi = 300
    planes = [
        ind.degrade(
            picture, dpi_from=RASTER_DPI, dpi_to=dpi, blur_sigma_px=blur, gain=gain, noise=0.003
        )
        for blur, gain in ((1.3, 0.8), (0.6, 1.0), (0.9, 0.6))
    ]
    results = colour.measure([placed(np.concatenate(planes, axis=2), dpi)], Told())
    for channel in ("red", "blue"):
        for direction in ("across", "travel"):
            values = [m.value for m in sites(results, channel, direction)]
            assert np.abs(values).max() < 0.02  # px


def test_mirroring_changes_the_sign_across_only(shifted):
    place = placed(shifted, 300)
    to_px = place.to_px.copy()
    to_px[0] = -to_px[0]
    to_px[0, 2] += shifted.shape[1] - 1
    mirrored = replace(placed(shifted[:, ::-1], 300), to_px=to_px)
    for direction, sign in (("across", -1), ("travel", 1)):
        one = [m.value for m in sites(colour.measure([place], Told()), "red", direction)]
        two = [m.value for m in sites(colour.measure([mirrored], Told()), "red", direction)]
        assert two == pytest.approx(sign * np.array(one), abs=0.003)


def test_swapping_red_and_blue_swaps_the_results(shifted):
    one = colour.measure([placed(shifted, 300)], Told())
    two = colour.measure([placed(shifted[..., ::-1], 300)], Told())
    assert [m.value for m in sites(one, "red", "across")] == pytest.approx(
        [m.value for m in sites(two, "blue", "across")], abs=1e-6
    )


def test_grey_scans_are_refused_in_words(picture):
    grey = ind.degrade(picture, dpi_from=RASTER_DPI, dpi_to=300, blur_sigma_px=0.7)
    (alone,) = colour.measure([placed(grey, 300)], Told()).measurements
    assert alone.status == "not-measurable"
    assert "grey" in alone.reason
    assert alone.reason_kind == "no-scan"
    results = colour.measure([placed(np.repeat(grey, 3, axis=2), 300)], Told())
    assert results.named("colour.registration") == ()
    assert all("grey" in m.reason or "three" in m.reason for m in results.measurements)
    (nothing,) = colour.measure([], Told()).measurements
    assert nothing.status == "not-measurable"


def test_one_clipped_channel_leaves_the_other(shifted):
    pixels = shifted.copy()
    pixels[..., 0] = np.where(pixels[..., 0] > 220, 255, pixels[..., 0])
    results = colour.measure([placed(pixels, 300)], Told())
    assert sites(results, "red", "across") == []
    assert len(sites(results, "blue", "across")) == 4
    red = [m for m in results.measurements if m.channel == "red"]
    assert red
    assert {m.reason_kind for m in red} == {"clipped"}
    assert all("clipped" in m.reason for m in red)


def test_curves_run_over_the_bed(shifted):
    results = colour.measure([placed(shifted, 300)], Told())
    across, travel = results.evidence
    assert [c.label for c in across.curves] == ["red", "blue"]
    assert travel.x_label == "place travel (mm)"
    high = SHEET_BOX_MM[3] - SHEET_BOX_MM[1]
    assert 0 < travel.curves[0].x.min() < travel.curves[0].x.max() < high


# -------------------------------------------------------------------------------- neutrality


def tinted_bed(factors, *, dpi=100, noise=0.004, seed=3):
    """White paper of 120 × 160 mm; `factors(x, y)` of 0..1 gives red, green and blue."""
    x, y = grid_mm(120, 160, dpi)
    x, y = np.broadcast_arrays(x / 120, y / 160)
    light = 0.8 * np.stack([np.broadcast_to(f, x.shape) for f in factors(x, y)], axis=-1)
    return paper_placed(light, dpi, noise=noise, seed=seed)


def one(results, name):
    (found,) = results.named(name)
    return found


def test_light_that_falls_off_alike_in_all_channels_has_no_tint():
    def factors(x, y):
        fall = 1 - 0.3 * ((2 * x - 1) ** 2 + (2 * y - 1) ** 2) / 2
        return fall, fall, fall

    results = colour.measure([tinted_bed(factors)], Told())
    assert one(results, "colour.neutrality").value < 0.15  # a*b*: rounding of 8 bits and noise
    assert abs(one(results, "colour.paper_a").value) < 0.1
    assert abs(one(results, "colour.paper_b").value) < 0.1


def test_a_tint_that_grows_to_one_side_is_measured_there():
    results = colour.measure([tinted_bed(lambda x, y: (1 + 0 * x, 1 + 0 * x, 1 - 0.2 * x))], Told())
    tint = one(results, "colour.neutrality")
    # Closed form from CIE 15 with the sRGB primaries and D65 (IEC 61966-2-1), for the light of the
    # last and the first column of cells against that of the middle cell
    expected = max(abs_tint((1, 1, (1 - 0.2 * x) / (1 - 0.2 * 0.5))) for x in (0.5 / 12, 11.5 / 12))
    assert tint.value == pytest.approx(expected, abs=0.15)
    assert tint.at_mm[0] < 12 or tint.at_mm[0] > 108
    assert 0 < tint.uncertainty < 0.2
    (picture,) = results.evidence
    assert picture.image.shape == (16, 12)
    assert picture.image[:, 0].mean() == pytest.approx(abs_tint((1, 1, 0.9917 / 0.9)), abs=0.4)


def abs_tint(rgb):
    """√(a*² + b*²) of linear sRGB light: CIE 15, ISO 11664-4, primaries of IEC 61966-2-1."""
    matrix = np.array(
        [
            [0.4124, 0.3576, 0.1805],
            [0.2126, 0.7152, 0.0722],
            [0.0193, 0.1192, 0.9505],
        ]
    )
    f = np.cbrt(matrix @ np.asarray(rgb) / matrix.sum(axis=1))
    return float(np.hypot(500 * (f[0] - f[1]), 200 * (f[1] - f[2])))


def test_the_papers_own_tint_is_reported_as_delivered():
    results = colour.measure([tinted_bed(lambda x, y: (1.0, 1.0, 0.9))], Told())
    a, b = one(results, "colour.paper_a").value, one(results, "colour.paper_b").value
    assert np.hypot(a, b) == pytest.approx(abs_tint((0.8, 0.8, 0.72)), abs=0.1)
    assert b > 3  # yellowish: little blue
    assert one(results, "colour.neutrality").value < 0.15


def test_stated_uncertainties_of_tints_are_their_scatter():
    """One corner is far off, so that it is always the cell that is found."""
    found = {name: [] for name in colour.NEUTRAL_NAMES}
    for seed in range(40):
        bed = tinted_bed(
            lambda x, y: (1, 1, 0.9 - 0.25 * np.clip(x + y - 1.6, 0, 1)), noise=0.05, seed=seed
        )
        for m in colour.measure([bed], Told()).measurements:
            if m.name in found:
                found[m.name].append(m)
    for members in found.values():
        values = [m.value for m in members]
        stated = np.sqrt(np.mean([m.uncertainty**2 for m in members]))
        # 40 values know their scatter to 11 %
        assert stated == pytest.approx(np.std(values, ddof=1), rel=0.35)


def test_swapping_channels_turns_the_tint_but_not_the_map():
    blank = tinted_bed(lambda x, y: (1.0 + 0 * x, 1 + 0 * x, 1 - 0.1 * y), noise=0.0)
    swapped = tinted_bed(lambda x, y: (1.0 - 0.1 * y, 1 + 0 * x, 1 + 0 * x), noise=0.0)
    there, back = (one(colour.measure([b], Told()), "colour.neutrality") for b in (blank, swapped))
    for found in (there, back):  # travel; across no cell differs but by rounding
        assert found.at_mm[1] < 12 or found.at_mm[1] > 148
    assert there.value != pytest.approx(back.value, rel=0.1)  # a red and a blue tint differ


def test_paper_without_colour_to_measure_says_why():
    grey = tinted_bed(lambda x, y: (1.0, 1.0, 1.0), noise=0.0)
    bright = tinted_bed(lambda x, y: (1.3, 1.0, 1.0), noise=0.0)
    no_blue = tinted_bed(lambda x, y: (1.0, 1.0, 0.0), noise=0.0)
    cut_off = ("clipped", "end of the")
    for blank, (kind, words) in (
        (grey, ("no-scan", "equal")),
        (bright, cut_off),
        (no_blue, cut_off),
    ):
        found = [
            m for m in colour.measure([blank], Told()).measurements if "registration" not in m.name
        ]
        assert {m.status for m in found} == {"not-measurable"}
        assert len(found) == 3
        assert all(words in m.reason for m in found)
        assert {m.reason_kind for m in found} == {kind}


def test_the_strongest_of_many_tints_of_noise_is_none():
    """The largest of some 60 cells of plain noise: what chance made of it is in its doubt."""
    inside = 0
    for seed in range(20):
        bed = tinted_bed(lambda x, y: (1, 1, 1), noise=0.05, seed=seed)
        m = one(colour.measure([bed], Told()), "colour.neutrality")
        inside += m.value - 1.96 * m.uncertainty <= 0
    assert inside >= 18


@pytest.mark.parametrize("quality", [75, 94])
def test_colour_that_jpeg_made_coarser_is_not_measured(shifted, quality):
    """OpenCV's encoder (libjpeg) halves the dpi of colour; at 94 luma shows no trace of it."""
    _, packed = cv2.imencode(".jpg", shifted[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    through = cv2.imdecode(packed, cv2.IMREAD_COLOR)[..., ::-1]
    (missing,) = colour.measure([placed(through, 300)], Told()).measurements[:1]
    assert missing.value is None
    assert missing.reason_kind == "compression"
