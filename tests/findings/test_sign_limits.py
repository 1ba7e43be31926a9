"""Where signs begin, and where they grow: each limit from both sides, and what a sign weighs.

The limits are common practice, as written beside each in `scanqa.findings.signs`; values here lie a
hundredth under and over them.
"""

from dataclasses import replace

import pytest

from scanqa.findings.signs import asking
from scanqa.findings.signs.detail import _regions
from scanqa.findings.signs.spots import lines, marks
from scanqa.model import Mark, Results
from scanqa.summary import summarise
from tests.findings.test_diagnosis import SCAN, streak
from tests.findings.test_signs import bound, left_over, seen, signs, value

OTHER = replace(SCAN, file="other.tif")


def severity(name, *measurements, **more):
    found = seen(name, *measurements, **more)
    return found.severity if found else None


@pytest.mark.parametrize(
    ("name", "measure", "limits", "words"),
    [
        ("veil", "veil.stray_light", (3.0, 10.0), (None, "warning", "fault")),
        ("shadow", "edges.shadow_left", (0.5, 2.0, 10.0), (None, "note", "warning", "fault")),
        ("dead-margin", "edges.dead_margin_top", (0.5, 3.0), (None, "note", "warning")),
        ("drifts", "drift.level", (1.0, 3.0), (None, "note", "warning")),
        ("settles-slowly", "drift.settle_time", (60.0,), (None, "note")),
        ("dark-gutter", "gutter.delta_L_at_5mm", (5.0,), (None, "warning")),
        ("bands", "banding.amplitude", (0.05, 0.25, 1.0), (None, "note", "warning", "fault")),
        ("unsteady", "banding.unsteadiness", (0.06, 0.15), (None, "note", "warning")),
        ("jitter", "geometry.travel_jitter", (25.0, 60.0), (None, "note", "warning")),
        ("grainy", "noise.temporal", (0.6, 1.2), (None, "note", "warning")),
        ("sharpened", "processing.halo", (2.0, 5.0), (None, "note", "warning")),
        ("cropped", "processing.crop", (1.0,), (None, "warning")),
        ("clipped", "tone.clipped", (1.0,), (None, "warning")),
        ("not-square", "geometry.orthogonality", (0.15, 0.4), (None, "note", "warning")),
    ],
)
def test_a_sign_begins_and_grows_at_its_limits(name, measure, limits, words):
    for step, limit in enumerate(limits):
        for factor, word in ((0.99, words[step]), (1.01, words[step + 1])):
            assert severity(name, value(measure, limit * factor, 0.0)) == word, (limit, factor)


@pytest.mark.parametrize(
    ("measure", "at", "none"),
    [("drift.settle_time", 60.0, "settles-slowly"), ("gutter.delta_L_at_5mm", 5.0, "dark-gutter"),
     ("processing.crop", 1.0, "cropped"), ("tone.clipped", 1.0, "clipped")],
)  # fmt: skip
def test_the_limit_itself_is_still_kept(measure, at, none):
    assert severity(none, value(measure, at, 0.0)) is None


@pytest.mark.parametrize(
    ("name", "measure", "sigmas", "size"),
    [("veil", "veil.stray_light", 3, 6.0), ("not-square", "geometry.orthogonality", 3, 0.3)],
)
def test_what_is_within_three_uncertainties_of_nothing_is_no_sign(name, measure, sigmas, size):
    assert severity(name, value(measure, size, size / sigmas * 1.01)) is None
    assert severity(name, value(measure, size, size / sigmas)) is None
    assert severity(name, value(measure, size, size / sigmas * 0.99)) is not None


@pytest.mark.parametrize(
    ("lost", "word"), [(1.49, None), (1.51, "note"), (5.9, "note"), (6.1, "warning")]
)
def test_light_that_falls_toward_one_side_grows_at_its_limits(lost, word):
    assert severity("falls-one-side", *left_over(left=100.0, right=100 - lost, top=100.0)) == word


def test_another_side_may_lose_a_third_and_no_more():
    assert severity("falls-one-side", *left_over(left=98.7, right=96.0)) == "note"
    assert severity("falls-one-side", *left_over(left=98.6, right=96.0)) is None


def test_a_single_side_needs_no_other():
    assert severity("falls-one-side", *left_over(left=97.0)) == "note"


@pytest.mark.parametrize(
    ("ends", "word"),
    [((1.0, -0.4), None), ((1.0, -0.6), "note"), ((2.1, -2.1), "warning"), ((3.0, 0.5), None)],
)
def test_a_slope_is_light_lost_at_one_end_and_won_at_the_other(ends, word):
    given = [
        value(f"shading.falloff_{side}_20mm", 100 - lost)
        for side, lost in zip(("top", "bottom"), ends, strict=True)
    ]
    assert severity("slope", *given) == word
    assert "slope" not in signs(given[0])


def test_light_falls_toward_all_sides_only_if_it_does_toward_each():
    def given(**sides):
        return [value(f"shading.falloff_{side}_5mm", 100 - lost) for side, lost in sides.items()]

    assert signs(*given(left=0.5, right=1, top=1, bottom=1))["falls-all-sides"] is True
    assert signs(*given(left=0.4, right=1, top=1, bottom=1))["falls-all-sides"] is False
    assert "falls-all-sides" not in signs(*given(left=1, right=1, top=1))


@pytest.mark.parametrize(
    ("index", "word"), [(20.2, None), (19.8, "note"), (6.1, "note"), (5.9, "warning")]
)
def test_little_light_grows_downwards(index, word):
    assert severity("little-light", value("noise.light_index", index, 0.1)) == word


def test_the_index_is_the_median_of_the_channels():
    found = seen("little-light", *(
        value("noise.light_index", number, 0.1, channel=channel)
        for channel, number in (("red", 2.0), ("green", 10.0), ("blue", 12.0))
    ))  # fmt: skip
    assert found.numbers["index"] == 10.0
    assert found.numbers["uncertainty"] == pytest.approx(0.1 / 3**0.5)


@pytest.mark.parametrize(
    ("ratio", "word"), [(0.91, None), (0.89, "note"), (0.69, "warning"), (0.39, "fault")]
)
def test_a_lamp_that_fades_grows_downwards(ratio, word):
    before = summarise([value("noise.light_index", 100.0, 0.5)], (SCAN,))
    assert severity("fainter", value("noise.light_index", 100 * ratio, 0.5), earlier=before) == word


def test_a_ratio_has_the_relative_errors_of_both_in_quadrature():
    before = summarise([value("noise.light_index", 100.0, 3.0)], (SCAN,))
    found = seen("fainter", value("noise.light_index", 60.0, 2.4), earlier=before)
    assert found.numbers["uncertainty"] == pytest.approx(0.6 * 0.05)  # 3 and 4 %: 5 %
    # 0.85 ± 0.08: two uncertainties reach 1
    unsure = value("noise.light_index", 85.0, 7.5)
    assert severity("fainter", unsure, earlier=before) is None


def test_noise_that_does_not_come_with_light_is_more_than_half_of_it():
    """0.7 % of reading is 49 ppm of variance; 49 ppm come with the light."""
    for gain, sign in ((48.0, True), (50.0, False)):
        given = value("noise.read", 0.7), value("noise.gain", gain)
        assert signs(*given)["noise-without-light"] is sign


@pytest.mark.parametrize(("period", "fine"), [(0.69, True), (0.71, False)])
def test_bands_as_fine_as_motor_steps(period, fine):
    given = value("banding.amplitude", 0.5), value("banding.period", period)
    assert signs(*given)["as-fine-as-steps"] is fine


@pytest.mark.parametrize(
    ("hertz", "mains"), [(100.0, True), (120.0, True), (102.9, True), (96.9, False), (110.0, False)]
)
def test_bands_of_twice_the_mains(hertz, mains):
    given = value("banding.amplitude", 0.5), value("banding.frequency", hertz)
    assert signs(*given)["mains"] is mains


@pytest.mark.parametrize(("period", "moves"), [(0.79, None), (0.8, True), (2.0, True)])
def test_crests_that_move_by_more_than_a_step(period, moves):
    """Half a turn of phase is half a period: 0.4 mm and more; a carriage comes home to 0.08."""
    given = [value("banding.amplitude", 0.5), value("banding.period", period),
             value("banding.phase_spread", 3.14)]  # fmt: skip
    assert signs(*given).get("crests-move") is moves
    given[-1] = value("banding.phase_spread", 0.1)
    assert signs(*given).get("crests-move") is (None if moves is None else False)


def test_of_several_scans_the_finest_period_bounds_and_the_middle_one_counts():
    periods = [value("banding.period", mm, scan=f"{mm}") for mm in (0.3, 0.31, 4.0)]
    found = signs(value("banding.amplitude", 0.5), *periods, value("banding.phase_spread", 3.0))
    assert "crests-move" not in found
    assert found["as-fine-as-steps"] is True


@pytest.mark.parametrize(("place", "soft"), [((5, 95), {"left"}), ((295, 5), {"right"})])
def test_outer_thirds_are_along_their_own_axis(place, soft):
    regions = _regions([(0.0, 0.0), (300.0, 0.0), (0.0, 100.0), (300.0, 100.0)])
    sides = {s for s in ("left", "right") if regions[(s,)](place)}
    assert sides == soft
    assert regions[("bottom",)](place) is (place[1] > 67)
    assert regions[("top",)](place) is (place[1] < 33)


def test_the_wave_of_bands_is_not_unsteadiness():
    """A sine of amplitude a is a / √2 rms; what is left must exceed half of a."""
    steady = value("banding.amplitude", 0.4), value("banding.unsteadiness", 0.29, 0.0)
    assert severity("unsteady", *steady) is None
    restless = value("banding.amplitude", 0.4), value("banding.unsteadiness", 0.5, 0.0)
    found = seen("unsteady", *restless)
    assert found.numbers["percent"] == pytest.approx((0.5**2 - 0.4**2 / 2) ** 0.5)


def test_none_found_is_no_band():
    assert severity("bands", bound("banding.amplitude", 0.9, "at-most", "noise")) is None


def test_lines_come_the_strongest_first_and_only_what_is_seen_weighs():
    found = [streak(delta_L=0.3), streak(delta_L=0.9), streak(delta_L=0.1, visible=False)]
    looked = dict(lines(Results(streaks=tuple(found)), ()))
    assert [each.streak for each in looked["line-along"]] == [1, 0, 2]
    assert [each.severity for each in looked["line-along"]] == ["fault", "warning", "note"]


@pytest.mark.parametrize(("contrast", "word"), [(4.9, "note"), (5.0, "warning"), (30.0, "warning")])
def test_marks_that_are_seen_weigh(contrast, word):
    mark = Mark((50.0, 60.0), (0.3, 0.3), contrast, "dark", "spot", SCAN.file)
    faint = replace(mark, contrast_percent=1.0)
    looked = dict(marks(Results(marks=(faint, mark)), ()))
    (one,) = looked["specks"]
    assert (one.severity, one.mark, one.numbers["count"]) == (word, 1, 2)
    assert looked["long-marks"] == ()


@pytest.mark.parametrize(
    ("peak", "halo", "strong"), [(1.0, 5.9, False), (1.0, 6.1, True), (1.2, 0.0, True)]
)
def test_a_halo_is_strong_beyond_what_interpolation_makes(peak, halo, strong):
    given = value("processing.halo", halo), value("sharpness.peak", peak, direction="across")
    assert signs(*given)["strong-halo"] is strong
    found = seen("sharpened", *given)
    assert ("halo_percent" in found.numbers, "peak" in found.numbers) == (halo > 2, peak > 1.1)


@pytest.mark.parametrize(
    ("stretch", "u", "word"),
    [(1.04, 0.0, None), (1.06, 0.0, "warning"), (0.94, 0.0, "warning"), (1.1, 0.04, None)],
)
def test_levels_are_stretched_by_more_than_their_doubt(stretch, u, word):
    assert severity("stretched", value("processing.level_stretch", stretch, u)) == word


@pytest.mark.parametrize(("fraction", "word"), [(0.96, None), (0.94, "warning"), (0.79, "fault")])
def test_made_up_dpi_grows_downwards(fraction, word):
    assert (
        severity("invented", value("claim.native_fraction", fraction, direction="across")) == word
    )


def test_of_two_made_up_scans_the_worse_is_named():
    given = (
        value("claim.native_fraction", 0.9, direction="across"),
        value("claim.native_fraction", 0.5, direction="across", scan=OTHER.file),
    )
    found = seen("invented", *given, scans=(SCAN, OTHER))
    assert (found.scan, found.numbers["fraction"], found.severity) == (OTHER.file, 0.5, "fault")


@pytest.mark.parametrize(
    ("kept", "word"), [(0.59, "warning"), (0.61, None), (1.39, None), (1.41, "warning")]
)
def test_grain_is_smoothed_or_lifted_beyond_its_limits(kept, word):
    found = asking(signs(value("processing.grain_kept", kept, 0.0)))
    asked = [each.severity for name in ("smoothed", "sharpened") for each in found.get(name, ())]
    assert asked == ([word] if word else [])


def test_the_softer_direction_says_how_soft():
    def dpi(across, travel):
        return tuple(
            value("sharpness.effective_dpi", each, direction=way, edge_kind="printed")
            for way, each in (("across", across), ("travel", travel))
        )

    assert severity("soft", *dpi(290.0, 290.0)) is None
    assert severity("soft", *dpi(290.0, 150.0)) == "warning"
    assert severity("soft", *dpi(150.0, 290.0)) == "warning"
    assert severity("soft", *dpi(290.0, 90.0)) == "fault"


@pytest.mark.parametrize(
    ("px", "word"), [(0.24, None), (0.26, "note"), (0.34, "warning"), (1.01, "fault")]
)
def test_fringes_grow_at_their_limits(px, word):
    shift = value("colour.registration", px, 0.0, channel="red", direction="across")
    assert severity("fringes", shift) == word


@pytest.mark.parametrize(("quality", "word"), [(93.0, None), (91.0, "warning")])
def test_jpeg_begins_under_its_limit(quality, word):
    assert severity("compressed", value("processing.jpeg_quality", quality, 0.0)) == word


def shifted(at_left, at_right, direction="across", middle=0.0):
    """Red along a bed of 210 mm: five places in each third."""
    return tuple(
        value(
            "colour.registration", px, 0.0, channel="red", direction=direction,
            at_mm=(start + 14.0 * n, 100.0), edge_kind="printed",
        )
        for start, px in ((0.0, at_left), (77.0, middle), (154.0, at_right))
        for n in range(5)
    )  # fmt: skip


def test_fringes_change_from_third_to_third_along_the_sensor_line_only():
    assert severity("fringes-change", *shifted(-0.1, 0.1)) == "note"
    assert severity("fringes-change", *shifted(0.1, -0.1)) == "note"
    assert severity("fringes-change", *shifted(0.1, 0.1, middle=0.4)) is None
    assert severity("fringes-change", *shifted(-0.07, 0.07)) is None
    assert severity("fringes-change", *shifted(-0.1, 0.1, direction="travel")) is None
    few = shifted(-0.1, 0.1)[::2]
    assert severity("fringes-change", *few) is None  # eight places
