"""Colour registration on sheets drawn by poppler, channels shifted by plain numpy."""

from dataclasses import replace

import numpy as np
import pytest

from scanqa.measures import colour
from tests import independent as ind
from tests.measures.printed_sheet import RASTER_DPI, SHEET_BOX_MM, placed, sheet_picture

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
    results = colour.measure([placed(shifted, 300)])
    for channel, truth in (("red", SHIFTS[0]), ("blue", SHIFTS[2])):
        for direction, shift in zip(("across", "travel"), truth, strict=True):
            found = sites(results, channel, direction)
            assert len(found) == 4
            for m in found:
                assert m.value == pytest.approx(shift, abs=0.02)  # px
                assert m.uncertainty < 0.01
                assert abs(m.value - shift) < 4 * m.uncertainty + 0.002


def test_different_blur_and_level_of_the_channels_shift_nothing(picture):
    dpi = 300
    planes = [
        ind.degrade(
            picture, dpi_from=RASTER_DPI, dpi_to=dpi, blur_sigma_px=blur, gain=gain, noise=0.003
        )
        for blur, gain in ((1.3, 0.8), (0.6, 1.0), (0.9, 0.6))
    ]
    results = colour.measure([placed(np.concatenate(planes, axis=2), dpi)])
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
        one = [m.value for m in sites(colour.measure([place]), "red", direction)]
        two = [m.value for m in sites(colour.measure([mirrored]), "red", direction)]
        assert two == pytest.approx(sign * np.array(one), abs=0.003)


def test_swapping_red_and_blue_swaps_the_results(shifted):
    one = colour.measure([placed(shifted, 300)])
    two = colour.measure([placed(shifted[..., ::-1], 300)])
    assert [m.value for m in sites(one, "red", "across")] == pytest.approx(
        [m.value for m in sites(two, "blue", "across")], abs=1e-6
    )


def test_grey_scans_are_refused_in_words(picture):
    grey = ind.degrade(picture, dpi_from=RASTER_DPI, dpi_to=300, blur_sigma_px=0.7)
    (alone,) = colour.measure([placed(grey, 300)]).measurements
    assert alone.status == "not-measurable"
    assert "grey" in alone.reason
    results = colour.measure([placed(np.repeat(grey, 3, axis=2), 300)])
    assert results.named("colour.registration") == ()
    assert all("grey" in m.reason or "three" in m.reason for m in results.measurements)
    (nothing,) = colour.measure([]).measurements
    assert nothing.status == "not-measurable"


def test_one_clipped_channel_leaves_the_other(shifted):
    pixels = shifted.copy()
    pixels[..., 0] = np.where(pixels[..., 0] > 220, 255, pixels[..., 0])
    results = colour.measure([placed(pixels, 300)])
    assert sites(results, "red", "across") == []
    assert len(sites(results, "blue", "across")) == 4
    assert any(m.channel == "red" and "clipped" in m.reason for m in results.measurements)


def test_curves_run_over_the_bed(shifted):
    results = colour.measure([placed(shifted, 300)])
    across, travel = results.evidence
    assert [c.label for c in across.curves] == ["red", "blue"]
    assert travel.x_label == "place travel (mm)"
    high = SHEET_BOX_MM[3] - SHEET_BOX_MM[1]
    assert 0 < travel.curves[0].x.min() < travel.curves[0].x.max() < high
