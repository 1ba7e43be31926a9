"""Doubt by an unknown curve, against light taken to another power, by CIE 15 written out here."""

import math
from dataclasses import replace

import numpy as np
import pytest

from scanqa.measures.processing import with_curve_doubt
from scanqa.measures.processing.unknown_curve import BENT
from scanqa.model import Linear, Measurement, Results
from scanqa.numeric.curve_doubt import (
    EXPONENT_SD,
    HALF_RANGE,
    doubted,
    of_contrast,
    of_darkening,
    of_lightness,
    of_share,
)
from tests.measures.paper import placed

STEP = 1e-4  # of the exponent


def lightness(light):
    """CIE 15, above the toe."""
    return 116 * light ** (1 / 3) - 16


def light(star):
    return ((star + 16) / 116) ** 3


def changed(function, *light_levels):
    """|d function / d exponent| at exponent 1, by a central difference."""
    up, down = (function(*(y**k for y in light_levels)) for k in (1 + STEP, 1 - STEP))
    return abs(up - down) / (2 * STEP)


def test_the_exponent_is_evenly_spread():
    """The sRGB curve is light to some 1/2.3 in the light tones; 1.8 to 2.8 are 2.3 ± 22 %."""
    assert pytest.approx(0.5 / 2.3, abs=0.005) == HALF_RANGE
    assert pytest.approx(HALF_RANGE / math.sqrt(3)) == EXPONENT_SD
    assert pytest.approx(1 - HALF_RANGE, abs=0.005) == 1.8 / 2.3


@pytest.mark.parametrize("percent", [1.0, 20.0, 36.8, 90.0, 100.0])
def test_a_share_of_light(percent):
    expected = EXPONENT_SD * changed(lambda y: 100 * y, percent / 100)
    assert of_share(percent) == pytest.approx(expected, rel=1e-4, abs=1e-9)


def test_no_light_has_no_share():
    assert of_share(0.0) == 0.0
    assert of_share(-1.0) == 0.0


@pytest.mark.parametrize("star", [20.0, 60.0, 93.0])
def test_a_lightness(star):
    expected = EXPONENT_SD * changed(lightness, light(star))
    assert of_lightness(star) == pytest.approx(expected, rel=1e-4)


def test_white_and_black_keep_theirs():
    assert of_lightness(100.0) == pytest.approx(0.0, abs=1e-9)
    assert of_lightness(0.0) == 0.0


@pytest.mark.parametrize(("star", "delta"), [(92.0, 5.0), (80.0, 20.0), (95.0, 0.0)])
def test_a_darkening(star, delta):
    expected = EXPONENT_SD * changed(
        lambda y, dark: lightness(y) - lightness(dark), light(star), light(star - delta)
    )
    assert of_darkening(star, delta) == pytest.approx(expected, rel=1e-4, abs=1e-9)


def test_a_small_contrast_grows_with_the_exponent():
    for contrast in (0.5, -0.5):
        expected = EXPONENT_SD * changed(lambda y: 100 * math.log(y), math.exp(contrast / 100))
        assert of_contrast(contrast) == pytest.approx(expected, rel=1e-4)


def test_the_part_is_shared_and_named_by_its_source():
    m = doubted(Measurement("tone.white", 93.0, 0.3), "sRGB assumed", 0.4)
    assert m.uncertainty == pytest.approx(0.5)
    assert m.random == pytest.approx(0.3)
    assert [(part.kind, part.of, part.size) for part in m.shared] == [
        ("curve", "sRGB assumed", 0.4)
    ]
    assert doubted(Measurement("tone.white", 93.0), "sRGB assumed", 0.4).uncertainty == 0.4
    sure = Measurement("tone.white", 93.0, 0.3)
    assert doubted(sure, "sRGB assumed", 0.0) is sure


def scan(source, name="blank.tif"):
    made = placed(np.full((40, 40), 0.8), 100, name=name)
    return replace(made, light=Linear(made.light.curves, source))


WITH_RULES = {
    "streaks.column_pattern": (2.0, 2.0 * EXPONENT_SD),
    "noise.light_index": (30.0, 60.0 * EXPONENT_SD),
    "noise.snr": (40.0, 20 * math.log10(1 + EXPONENT_SD)),
    "shading.falloff_left_5mm": (90.0, 100 * EXPONENT_SD * 0.9 * abs(math.log(0.9))),
    "tone.white": (60.0, EXPONENT_SD * 76 / 3 * abs(math.log(light(60.0)))),
}


@pytest.mark.parametrize("name", WITH_RULES)
@pytest.mark.parametrize("in_scan", ["blank.tif", ""])
def test_values_get_the_doubt_that_their_row_names(name, in_scan):
    """No print was scanned, so that an S-curve is not ruled out: `BENT` times as much."""
    value, size = WITH_RULES[name]
    size *= BENT
    given = Results((Measurement(name, value, 0.1, scan=in_scan),))
    (m,) = with_curve_doubt(given, [scan("sRGB assumed (the profile is of tables)")]).measurements
    assert m.uncertainty == pytest.approx(math.hypot(0.1, size), rel=1e-6)
    assert m.shared[0].of == "sRGB assumed (the profile is of tables)"


@pytest.mark.parametrize("source", ["stated curve", "ICC profile"])
def test_a_known_curve_leaves_no_doubt(source):
    given = Results((Measurement("tone.white", 60.0, 0.1, scan="blank.tif"),))
    assert with_curve_doubt(given, [scan(source)]) == given


def test_what_does_not_rest_on_light_gets_none():
    given = Results((Measurement("edges.dead_margin_left", 1.0, 0.1, scan="blank.tif"),))
    assert with_curve_doubt(given, [scan("sRGB assumed")]) == given
