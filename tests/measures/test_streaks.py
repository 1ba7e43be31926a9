"""Streaks of known place, width and contrast in synthetic blank scans; seeds in each test.

The visibility of a 0.5 % line is common practice (no source); L* from CIE 15.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.measures import streaks
from scanqa.model import LineSigns, Told
from tests.measures.blank_paper import MM, light_of_paper, placed, scanned

DPI = 300
STRONGEST = "streaks.strongest_visible"
SHAPE = (3508, 1240)  # half the width of A4 at 300 dpi


def hann(columns, at, width_px):
    """A soft line of unit height: raised cosine, full width at half height `width_px`."""
    x = np.arange(columns) - at
    return np.where(np.abs(x) < width_px, np.cos(np.pi * x / (2 * width_px)) ** 2, 0)


def blank(
    seed=1,
    *,
    change=None,
    shape=SHAPE,
    channels=1,
    name="blank.tif",
    gains=None,
    noise=0.006,
    **paper,
):
    light, rng = light_of_paper(seed, shape, dpi=DPI, **paper)
    if change is not None:
        change(light)
    return scanned(light, rng, dpi=DPI, channels=channels, name=name, gains=gains, noise=noise)


@pytest.mark.parametrize("place_mm", [2.0, 3.0])
def test_a_line_in_the_shadow_of_the_side_is_found(place_mm):
    """Light falls by 15 % exp(-x / 2.5 mm) there: more from sample to sample than a step may."""
    place = round(place_mm * DPI / MM)

    def change(light):
        light[:, place] *= 0.99

    (found,) = streaks.measure([blank(21, change=change)], Told()).streaks
    assert abs(found.at_px - place) < 1
    assert found.contrast_percent == pytest.approx(1.0, abs=0.15)
    assert found.polarity == "dark"


def test_clean_paper_has_no_streaks_and_states_its_pattern():
    for seed in range(4):
        results = streaks.measure([blank(seed, pattern=0.003)], Told())
        assert results.streaks == ()
        (pattern,) = results.named("streaks.column_pattern")
        assert abs(pattern.value - 0.3) < 4 * pattern.uncertainty
        assert pattern.uncertainty < 0.02


@pytest.mark.parametrize("pattern", [0.0, 0.003])
def test_where_no_line_shows_it_is_at_most_what_would_have(pattern):
    """Lines of any width, just over the bound, planted where no line was: all are found."""
    for seed in range(6):
        rng = np.random.default_rng([20, seed])
        (none,) = streaks.measure([blank(seed, pattern=pattern)], Told()).named(STRONGEST)
        assert (none.status, none.reason_kind) == ("at-most", "noise")
        width, at = rng.uniform(1, 30), rng.integers(120, 1100)

        def change(light, width=width, at=at, most=none.value / 100):
            light *= 1 - 1.02 * most * hann(light.shape[1], at, width)

        found = streaks.measure([blank(seed, pattern=pattern, change=change)], Told()).streaks
        assert any(abs(line.at_px - at) < width for line in found), (seed, width, at)
        assert 0.05 < none.value < 4.0


@pytest.mark.parametrize(("factor", "polarity"), [(0.995, "dark"), (1.005, "bright")])
def test_half_percent_line_of_one_pixel(factor, polarity):
    def change(light):
        light[:, 417] *= factor

    (found,) = streaks.measure([blank(2, change=change)], Told()).streaks
    assert abs(found.at_px - 417) < 1
    assert abs(found.at_mm - 417.5 * MM / DPI) < MM / DPI
    assert found.polarity == polarity
    assert abs(found.contrast_percent - 0.5) < 4 * 0.5 / found.significance
    assert 0.7 < found.width_um / 84.67 < 1.5  # one pixel at 300 dpi is 84.67 µm
    assert found.extent_mm == (0.0, pytest.approx(297.01, abs=0.01))
    assert found.axis == "travel"
    # CIE 15: dL* = (116/3) Y^(1/3) dY/Y for small differences; Y about 0.8 there
    assert found.delta_L == pytest.approx(
        116 / 3 * 0.8 ** (1 / 3) * found.contrast_percent / 100, rel=0.03
    )
    # One scan: nothing to compare with. One pixel of all the grey there is, all the way.
    assert found.signs == LineSigns(full=True, one_sample=True)


def test_contrast_survives_texture_of_coarser_grain_and_16_bits():
    light, rng = light_of_paper(5, SHAPE, dpi=DPI)
    light[:, 800] *= 0.996
    placement = scanned(light, rng, dpi=DPI, bits=16, channels=3)
    (found,) = streaks.measure([placement], Told()).streaks
    assert abs(found.contrast_percent - 0.4) < 4 * 0.4 / found.significance
    assert found.channels == ("red", "green", "blue")


@pytest.mark.parametrize("width_mm", [0.3, 1.0, 3.0])
def test_soft_bands_are_found_once_with_their_width(width_mm):
    width_px = width_mm * DPI / MM
    line = hann(SHAPE[1], 640.0, width_px).astype(np.float32)

    def change(light):
        light *= 1 - 0.01 * line

    (found,) = streaks.measure([blank(3, change=change)], Told()).streaks
    assert abs(found.at_px - 640) < 1 + 0.1 * width_px
    assert found.width_um / 1000 == pytest.approx(width_mm, rel=0.15)
    assert found.contrast_percent == pytest.approx(1.0, rel=0.15)


def test_part_of_the_length_is_said():
    def change(light):
        light[1100:2600, 500] *= 0.99

    (found,) = streaks.measure([blank(4, change=change)], Told()).streaks
    start, end = found.extent_mm
    assert abs(start - 1100 * MM / DPI) < 6  # bands of 64 rows are 5.4 mm
    assert abs(end - 2600 * MM / DPI) < 6
    assert not found.signs.full
    assert found.contrast_percent == pytest.approx(1.0, rel=0.15)


def test_line_across_is_on_its_own_axis():
    def change(light):
        light[1900] *= 0.99

    (found,) = streaks.measure([blank(6, change=change)], Told()).streaks
    assert found.axis == "across"
    assert abs(found.at_px - 1900) < 1
    assert found.signs.full


def test_one_channel_one_pixel_is_an_element():
    gains = np.ones((1, SHAPE[1], 3), np.float32)
    gains[0, 300, 0] = 0.98
    (found,) = streaks.measure([blank(7, channels=3, gains=gains)], Told()).streaks
    assert found.channels == ("red",)
    assert found.signs == LineSigns(full=True, one_colour=True, one_sample=True)
    assert found.contrast_percent == pytest.approx(2.0, rel=0.1)


def test_what_moves_with_the_paper_is_the_papers():
    def first(light):
        light[:, 400] *= 0.99
        light[:, 900] *= 0.99

    def second(light):
        light[:, 400] *= 0.99
        light[:, 933] *= 0.99

    scans = [blank(8, change=first, name="a.tif"), blank(9, change=second, name="b.tif")]
    results = streaks.measure(scans, Told())
    by_place = {round(s.at_px): s for s in results.streaks}
    assert sorted(by_place) == [400, 900, 933]
    assert all(s.signs.compared for s in results.streaks)
    assert by_place[400].signs.stays > 1000
    assert by_place[900].signs.stays < 0.001
    assert by_place[933].signs.stays < 0.001
    assert [by_place[at].of_the_paper for at in (400, 900, 933)] == [False, True, True]
    assert by_place[900].scan == "a.tif"
    assert by_place[933].scan == "b.tif"


def test_joins_of_segments_stand_in_a_regular_row():
    places = [120, 338, 556, 774, 992]  # 18.46 mm apart

    def change(light):
        for place in places:
            light[:, place] *= 0.992

    found = streaks.measure([blank(14, change=change)], Told()).streaks
    assert [round(s.at_px) for s in found] == places
    assert all(s.signs.regular for s in found)


def test_joins_are_regular_to_within_a_sample_of_a_coarse_scan():
    """At 150 dpi a sample is 0.17 mm: joins every 9.1 mm may lie a sample beside their row."""
    places = [60, 114, 168, 223, 276, 329, 384]  # every 54 samples, to within one
    light, rng = light_of_paper(16, (1000, 440), dpi=150)
    light[:, places] *= 0.985
    found = streaks.measure([scanned(light, rng, dpi=150)], Told()).streaks
    assert [round(s.at_px) for s in found] == places
    assert all(s.signs.regular for s in found)


def test_irregular_lines_are_no_joins():
    def change(light):
        for place in (120, 290, 610, 774, 1055):
            light[:, place] *= 0.992

    found = streaks.measure([blank(15, change=change)], Told()).streaks
    assert len(found) == 5
    assert not any(s.signs.regular for s in found)


def test_a_second_scan_tells_the_scanners_line_from_the_papers():
    def change(light):
        light[:, 600] *= 0.99
        light[:, 601] *= 0.985
        light[:, 602] *= 0.99

    (alone,) = streaks.measure([blank(16, change=change)], Told()).streaks
    pair = [blank(16, change=change), blank(17, change=change, name="b.tif")]
    (sure,) = streaks.measure(pair, Told()).streaks
    assert (alone.signs.compared, alone.signs.stays) == (False, 1.0)  # nothing is known
    assert sure.signs.compared
    assert sure.signs.stays > 1000
    for streak in (alone, sure):
        assert not streak.of_the_paper
        assert not streak.signs.one_sample
        assert (streak.causes, streak.likely_cause) == ((), "")  # no matter of the measure


def test_the_strongest_visible_line_is_the_scanners():
    """2 % in each paper, 1 % in the scanner: that of the scanner counts; alone, the stronger."""

    def change(at):
        def faint_and_strong(light):
            light[:, 400] *= 0.99
            light[:, at] *= 0.98

        return faint_and_strong

    pair = [blank(8, change=change(900), name="a"), blank(9, change=change(950), name="b")]
    (both,) = streaks.measure(pair, Told()).named("streaks.strongest_visible")
    (line,) = [s for s in streaks.measure(pair, Told()).streaks if round(s.at_px) == 400]
    assert both.value == pytest.approx(1.0, abs=4 / line.significance)
    assert both.random == pytest.approx(both.value / line.significance)  # the rest is its shape
    (alone,) = streaks.measure(pair[:1], Told()).named("streaks.strongest_visible")
    assert alone.value == pytest.approx(2.0, abs=0.2)


def test_faint_line_is_found_in_two_scans_together():
    """0.12 % is below one scan's threshold; two scans of it are not (√2 in noise)."""

    def change(light):
        light[:, 700] *= 0.9988

    pair = [
        blank(seed, change=change, name=f"{seed}.tif", texture=0.008, noise=0.004)
        for seed in (18, 19)
    ]
    (found,) = streaks.measure(pair, Told()).streaks
    assert abs(found.at_px - 700) < 1
    assert not found.visible


def test_steps_and_edge_shadows_are_no_streaks():
    def change(light):
        light[:, 700:] *= 0.99
        light[1500:] *= 1.01

    assert streaks.measure([blank(10, change=change)], Told()).streaks == ()


def test_a_speck_is_no_streak():
    def change(light):
        light[1000:1012, 600:612] *= 0.5

    assert streaks.measure([blank(11, change=change)], Told()).streaks == ()


def test_dark_margin_of_the_glass_is_left_out():
    def change(light):
        light[:, :60] = 0.004
        light[:20] = 0.004
        light[:, 500] *= 0.99

    (found,) = streaks.measure([blank(12, change=change)], Told()).streaks
    assert abs(found.at_px - 500) < 1


def test_clipped_paper_is_not_judged():
    pixels = np.full((1000, 1000, 3), 255, np.uint8)
    (pattern,) = streaks.measure([placed(pixels, dpi=DPI)], Told()).measurements
    assert pattern.status == "not-measurable"
    assert pattern.reason_kind == "clipped"
    assert "top of the scale" in pattern.reason


def test_staircase_of_codes_without_grain_gives_no_streaks():
    light = np.repeat(np.linspace(0.7, 0.8, 1200, dtype=np.float32)[None], 1200, axis=0)
    placement = scanned(light, np.random.default_rng(0), dpi=DPI, noise=0.0)
    assert streaks.measure([placement], Told()).streaks == ()


def test_evidence_is_small_and_shows_real_pixels():
    def change(light):
        light[:, 417] *= 0.98

    results = streaks.measure([blank(13, change=change)], Told())
    curves = [e for e in results.evidence if e.kind == "curves"]
    crops = [e for e in results.evidence if e.kind == "crop"]
    for crop in crops:  # a page finds the line again by its axis and its very place
        assert any((s.axis, s.at_mm) == (crop.shows, crop.lines_mm[0][0]) for s in results.streaks)
    assert {e.shows for e in curves} == {"travel", "across"}
    assert [len(c.x) <= 600 for e in curves for c in e.curves] == [True] * 4
    assert curves[0].lines_mm[0][0] == pytest.approx(results.streaks[0].at_mm)
    assert crops[0].image.dtype == np.uint8
    assert crops[0].image.shape[2] == 3
    columns = crops[0].image[..., 0].mean(axis=0)
    left, _, right, _ = crops[0].extent_mm
    at = left + (np.argmin(columns) + 0.5) / columns.size * (right - left)
    assert abs(at - results.streaks[0].at_mm) < 1.01 * MM / DPI


@settings(max_examples=8, deadline=None)
@given(at=st.integers(120, 480), dark=st.booleans(), seed=st.integers(0, 1000))
def test_mirrored_and_turned_scans_give_mirrored_and_turned_streaks(at, dark, seed):
    light, rng = light_of_paper(seed, (1024, 600), dpi=DPI, curl=False)
    light[:, at] *= 0.96 if dark else 1.04
    pixels = scanned(light, rng, dpi=DPI).scan.pixels

    def strongest(pixels):
        found = streaks.measure([placed(np.ascontiguousarray(pixels), dpi=DPI)], Told()).streaks
        return max(found, key=lambda s: s.contrast_percent)

    plain = strongest(pixels)
    mirrored = strongest(pixels[:, ::-1])
    turned = strongest(pixels.transpose(1, 0, 2))
    assert abs(plain.at_px - at) < 1
    assert plain.polarity == ("dark" if dark else "bright")
    assert mirrored.at_px == pytest.approx(599 - plain.at_px, abs=0.2)
    assert mirrored.contrast_percent == pytest.approx(plain.contrast_percent, rel=0.02)
    assert (plain.axis, turned.axis) == ("travel", "across")
    assert turned.at_px == pytest.approx(plain.at_px, abs=0.3)


@pytest.mark.parametrize("width_mm", [0.0, 0.3, 1.0, 3.0])
def test_contrast_and_width_on_smooth_paper(width_mm):
    """5 % of light, one pixel or a raised cosine, in 16 bits with hardly any grain."""
    width_px = max(width_mm * DPI / MM, 1.0)
    light, rng = light_of_paper(3, SHAPE, dpi=DPI, texture=0.002)
    light *= 1 - 0.05 * hann(SHAPE[1], 640.0, width_px).astype(np.float32)
    scan = scanned(light, rng, dpi=DPI, bits=16, noise=0.002)
    (found,) = streaks.measure([scan], Told()).streaks
    assert found.contrast_percent == pytest.approx(5.0, rel=0.03)
    assert found.width_um == pytest.approx(1000 * width_px * MM / DPI, rel=0.03)


def test_stated_error_of_the_column_pattern_is_the_scatter():
    """Twelve papers under one sensor each; chance makes its own rms differ by 1/√2n, 2 %."""
    found = [
        m
        for seed in range(12)
        for m in streaks.measure([blank(seed, pattern=0.003)], Told()).named(
            "streaks.column_pattern"
        )
    ]
    scatter = np.std([m.value for m in found], ddof=1)
    stated = np.sqrt(np.mean([m.uncertainty**2 + (0.3 / np.sqrt(2 * 1240)) ** 2 for m in found]))
    assert 0.7 < stated / scatter < 1.5
    assert np.mean([m.value for m in found]) == pytest.approx(0.3, rel=0.03)


def test_contrast_over_significance_is_about_the_scatter():
    """Significance is the search's own, whose kernel suits the grain better than the measure's."""

    def change(light):
        light[:, 417] *= 0.995

    found = [
        streak
        for seed in range(16)
        for streak in streaks.measure([blank(seed, change=change)], Told()).streaks
        if abs(streak.at_px - 417) < 2
    ]
    assert len(found) == 16
    scatter = np.std([s.contrast_percent for s in found], ddof=1)
    stated = np.mean([s.contrast_percent / s.significance for s in found])
    assert 0.5 < stated / scatter < 1.1


@pytest.mark.parametrize("width_mm", [0.09, 0.4, 1.2])
def test_what_shape_a_line_has_is_in_the_doubt(width_mm):
    """Flat-topped lines, averaged over each sample: their height is not that of a raised cosine."""
    borders = (np.arange(SHAPE[1] + 1) * MM / DPI) - 50.0
    covered = np.diff(np.clip(borders, -width_mm / 2, width_mm / 2)) / (MM / DPI)

    def change(light):
        light *= (1 - 0.03 * covered).astype(np.float32)

    (found,) = streaks.measure([blank(40, change=change)], Told()).named(STRONGEST)
    assert found.value == pytest.approx(3.0 * covered.max(), abs=1.96 * found.uncertainty)
    (shape,) = found.shared
    assert (shape.kind, shape.size > 0.05 * found.value) == ("rule", True)


@pytest.mark.parametrize("reach_mm", [3.0, 6.0, 9.0])
def test_the_bend_of_a_deep_shadow_is_no_line(reach_mm):
    """Light that falls by 58 % in a parabola to the top: a bright line of 11 % was seen in it."""

    def change(light):
        y = (np.arange(light.shape[0]) + 0.5) * MM / DPI
        fall = np.where(y < reach_mm, 0.58 * (1 - y / reach_mm) ** 2, 0.0)
        light *= (1 - fall)[:, None].astype(np.float32)

    results = streaks.measure([blank(41, change=change)], Told())
    assert [s for s in results.streaks if s.axis == "across"] == []


@pytest.mark.parametrize("line", [0.0, 0.02])
@pytest.mark.parametrize("reach_mm", [3.5, 4.8, 5.2])
def test_where_a_shadow_ends_is_no_line_and_hides_none(reach_mm, line):
    """Fine paper at 100 dpi, light lost in a parabola: where it ends, a dark line of 2 % was seen.

    A line of 2 % at 8 mm, one column wide, is all that there is.
    """
    dpi, columns = 100, 850
    light, rng = light_of_paper(42, (1180, columns), dpi=dpi, texture=0.002, curl=False)
    x = (np.arange(columns) + 0.5) * MM / dpi
    fall = np.where(x < reach_mm, 0.41 * (1 - x / reach_mm) ** 2, 0.0)
    light *= ((1 - fall) * (1 - line * hann(columns, 31, 1))).astype(np.float32)
    scan = scanned(light, rng, dpi=dpi, channels=1, name="blank.tif", gains=None, noise=0.003)
    found = streaks.measure([scan], Told()).streaks
    assert [round(streak.at_px) for streak in found] == ([31] if line else [])
    assert all(s.contrast_percent == pytest.approx(100 * line, abs=0.2) for s in found)
