"""What is seen in measured values: each sign there, and not there, beside its limit.

Limits are those of the rooms of `scanqa.findings.signs`, written out here in physical units a
second time; a value on either side must fall on its side.
"""

from dataclasses import replace

import pytest

from scanqa.findings.signs import asking, observe
from scanqa.findings.signs.spots import of_line
from scanqa.model import LineSigns, Measurement, Reason, Results, not_measurable
from scanqa.summary import summarise
from tests.findings.test_diagnosis import SCAN, lamp_index, streak


def signs(*measurements, scans=(SCAN,), earlier=()):
    return observe(Results(measurements), summarise(measurements, scans), scans, earlier)


def value(name, number, uncertainty=0.01, **more):
    return Measurement(name, number, uncertainty, **{"scan": SCAN.file} | more)


def bound(name, number, status, kind, **more):
    return value(name, number, status=status, reason="so it is", reason_kind=kind, **more)


def seen(name, *measurements, **more):
    """What was seen of a sign that asks for an explanation, or None."""
    found = asking(signs(*measurements, **more)).get(name, ())
    return found[0] if found else None


@pytest.mark.parametrize(
    ("name", "measure", "severities"),
    [
        ("uneven", "shading.nonuniformity", {3.9: None, 4.1: "note", 8.1: "warning"}),
        ("clipped", "tone.clipped", {0.9: None, 1.1: "warning"}),
        ("cropped", "processing.crop", {0.9: None, 1.1: "warning"}),
        ("dark-gutter", "gutter.delta_L_at_5mm", {4.9: None, 5.1: "warning"}),
        ("grainy", "noise.temporal", {0.59: None, 0.61: "note", 1.21: "warning"}),
        ("jitter", "geometry.travel_jitter", {24.0: None, 26.0: "note", 61.0: "warning"}),
        ("unsteady", "banding.unsteadiness", {0.07: None, 0.09: "note", 0.18: "warning"}),
        ("bands", "banding.amplitude", {0.04: None, 0.1: "note", 0.3: "warning", 1.1: "fault"}),
        ("veil", "veil.stray_light", {2.9: None, 3.1: "warning", 10.1: "fault"}),
        ("shadow", "edges.shadow_top", {0.4: None, 0.6: "note", 2.1: "warning", 11.0: "fault"}),
        ("dead-margin", "edges.dead_margin_left", {0.4: None, 0.6: "note", 3.1: "warning"}),
        ("settles-slowly", "drift.settle_time", {59.0: None, 61.0: "note"}),
        ("stretched", "processing.level_stretch", {1.04: None, 1.06: "warning", 0.9: "warning"}),
        ("smoothed", "processing.grain_kept", {0.59: "warning", 1.0: None, 1.41: "warning"}),
        ("sharpened", "processing.halo", {1.9: None, 2.1: "note", 5.1: "warning"}),
        ("print-size", "geometry.printer_down", {0.3: None, -0.5: "note"}),
        ("print-not-square", "geometry.printer_squareness", {0.1: None, -0.2: "note"}),
        ("not-square", "geometry.orthogonality", {0.1: None, -0.2: "note", 0.5: "warning"}),
    ],
)
def test_a_value_beyond_its_limit_is_a_sign_and_one_within_is_none(name, measure, severities):
    for number, severity in severities.items():
        found = signs(value(measure, number))
        assert name in found  # it was looked for
        asked = asking(found).get(name, ())
        assert [each.severity for each in asked] == [severity] * (severity is not None), number


@pytest.mark.parametrize(
    ("depth", "severity"),
    [
        ((0.5, 0.04), "warning"),
        ((1.4, 0.04), "warning"),
        ((1.5, 0.04), "note"),
        ((2.4, 0.1), "note"),
        ((2.9, 0.2), None),
    ],
)
def test_a_sensor_that_is_sharp_only_near_the_glass_is_a_sign(depth, severity):
    found = seen("shallow-depth", value("gutter.depth_of_field", *depth))
    assert (found.severity if found else None) == severity


def test_what_may_be_sharp_deeper_is_no_sign_of_a_shallow_focus():
    assert seen("shallow-depth", bound("gutter.depth_of_field", 1.0, "at-least", "range")) is None


def test_what_is_not_sure_to_be_there_is_no_sign():
    assert seen("veil", value("veil.stray_light", 4.0, 2.0)) is None
    assert seen("not-square", value("geometry.orthogonality", 0.3, 0.2)) is None
    # Of these clouds of a paper may be a part: two uncertainties are taken off.
    assert seen("unsteady", value("banding.unsteadiness", 0.2, 0.08)) is None
    assert seen("unsteady", value("banding.unsteadiness", 0.405, 0.085)).severity == "warning"
    assert seen("shadow", value("edges.shadow_top", 3.6, 1.8)) is None
    assert seen("uneven", value("shading.nonuniformity", 9.0, 3.0)) is None
    assert seen("uneven", value("shading.nonuniformity", 9.0, 0.3)).severity == "warning"


def test_what_is_unsteady_in_one_scan_only_is_its_paper():
    other = replace(SCAN, file="other.tif")
    two = (
        value("banding.unsteadiness", 0.3),
        value("banding.unsteadiness", 0.02, scan=other.file),
    )
    assert seen("unsteady", *two, scans=(SCAN, other)) is None


def test_whether_the_level_rises_is_said_of_a_drift():
    assert signs(value("drift.level", 2.0))["rises"] is True
    assert signs(value("drift.level", -2.0))["rises"] is False
    assert "rises" not in signs(value("drift.level", 0.5))


def test_light_that_has_not_settled_yet_settles_slowly():
    unsettled = bound("drift.settle_time", 30.0, "at-least", "range")
    assert seen("settles-slowly", unsettled).terms == {"bound": "at-least"}
    assert seen("settles-slowly", value("drift.settle_time", 30.0)) is None


def left_over(**sides):
    """Light left 10 mm from the sides, in %."""
    return [value(f"shading.falloff_{side}_10mm", left) for side, left in sides.items()]


def test_light_falls_toward_one_side_only_if_it_does_not_toward_another():
    one = seen("falls-one-side", *left_over(left=99.8, right=96.0, top=99.5))
    assert (one.terms["side"], one.numbers["percent"]) == ("right", pytest.approx(4.0))
    assert seen("falls-one-side", *left_over(left=97.0, right=96.0)) is None


@pytest.mark.parametrize(
    ("dpi", "severity"), [(301.2, None), (303.0, "note"), (290.0, "warning"), (298.9, None)]
)
def test_lengths_are_held_against_the_dpi_that_the_file_states(dpi, severity):
    found = seen("wrong-size", value("geometry.dpi_travel", dpi))
    assert (found.severity if found else None) == severity
    if found:
        assert found.numbers["percent"] == pytest.approx((dpi - 300) / 3)
        assert found.direction == "travel"


def test_a_dpi_that_was_read_from_the_sheet_says_nothing_of_sizes():
    untold = replace(SCAN, dpi_source="sheet")
    assert "wrong-size" not in signs(value("geometry.dpi_travel", 290.0), scans=(untold,))


def printed(status_kinds):
    return [
        bound("sharpness.sfr50", 4.0, "at-least", kind, edge_kind="printed", direction="across")
        if kind
        else value("sharpness.sfr50", 4.0, edge_kind="printed", direction="across")
        for kind in status_kinds
    ]


def test_the_print_is_rough_where_it_limits_more_than_half_of_its_edges():
    found = seen("rough-print", *printed(["print", "print", ""]))
    assert found.numbers == {"rough": 2, "sites": 3}
    assert found.quoted == ("so it is",)
    assert seen("rough-print", *printed(["print", ""])) is None
    assert seen("rough-print", *printed(["sampling", "sampling", "print"])) is None


def test_no_grain_at_all_is_told_from_grain_that_could_not_be_looked_at():
    name = "processing.grain_kept"
    gone = not_measurable(name, Reason("rounding", "under the steps of the codes"))
    assert signs(gone, gone)["no-grain"] is True
    assert signs(gone, not_measurable(name, Reason("too-few", "no paper")))["no-grain"] is False
    assert "no-grain" not in signs(gone, value(name, 1.0))  # measured grain is no second evidence


@pytest.mark.parametrize("direction", ["across", "travel"])
def test_the_way_that_colours_lie_apart_is_the_one_measured(direction):
    name = "colour.registration"
    given = [value(name, -0.5, direction=direction, channel="blue")]
    given.append(value(name, 0.1, direction=direction, channel="red"))
    found = signs(*given)
    (fringe,) = found["fringes"]
    assert (fringe.direction, fringe.channel, fringe.severity) == (direction, "blue", "warning")
    assert found["fringes-along-travel"] is (direction == "travel")


def test_compression_of_the_file_itself_is_a_note_and_hidden_one_a_warning():
    quality = value("processing.jpeg_quality", 80.0)
    assert seen("compressed", quality).severity == "warning"
    said = seen("compressed", quality, scans=(replace(SCAN, lossy=True),))
    assert (said.severity, said.terms) == ("note", {"file": "lossy"})
    poor = value("processing.jpeg_quality", 70.0)
    assert seen("compressed", poor, scans=(replace(SCAN, lossy=True),)).severity == "warning"


@pytest.mark.parametrize(("ratio", "probability"), [(1.0, 0.5), (3.0, 0.75), (0.25, 0.2)])
def test_odds_that_a_line_stays_are_a_probability(ratio, probability):
    """Even priors: odds r to 1 are a probability of r / (r + 1)."""
    line = streak(signs=LineSigns(True, ratio))
    assert of_line(line)["line-stays"] == pytest.approx(probability)


COARSE = replace(SCAN, file="coarse.tif", dpi=(150.0, 150.0))


def indexed(number, scan):
    return [replace(m, scan=scan.file) for m in lamp_index(number)]


def test_light_is_compared_at_the_finest_dpi_that_both_checks_know():
    both = (COARSE, SCAN)
    before = summarise([*indexed(50.0, SCAN), *indexed(200.0, COARSE)], both)
    now = [*indexed(30.0, SCAN), *indexed(200.0, COARSE)]
    assert seen("fainter", *now, scans=both, earlier=before).numbers["ratio"] == 0.6
    assert "fainter" in signs(*indexed(190.0, COARSE), scans=(COARSE,), earlier=before)
    finer = summarise(indexed(50.0, SCAN), (SCAN,))
    assert "fainter" not in signs(*indexed(30.0, COARSE), scans=(COARSE,), earlier=finer)
