"""The doubt of an assumed curve, worked out anew from curves that scanners have.

Gammas of 1.8 to 2.6 (1.8 and 2.2: usual display gammas; common practice, no source) and S-curves,
read as sRGB (IEC 61966-2-1).
"""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.special import erf

from scanqa.catalogue import CATALOGUE
from scanqa.measures.processing.unknown_curve import (
    BENT,
    BENT_EDGE,
    LIKE_PRINT_L,
    SIZE,
    misfit_of_print,
    with_curve_doubt,
)
from scanqa.model import Measurement, Patch, Piece, Results
from tests.measures import paper

CODES = np.linspace(0, 1, 20001)


def srgb(code):
    return np.where(code <= 0.04045, code / 12.92, ((code + 0.055) / 1.055) ** 2.4)


def gamma(exponent):
    return CODES**exponent


def s_curve(strength):
    """Software steepens the middle of sRGB codes: light of each code that it delivers."""
    steep = CODES + strength * np.sin(2 * np.pi * (CODES - 0.5)) / (2 * np.pi)
    return srgb(np.interp(CODES, steep, CODES))


PLAIN = [gamma(g) for g in (1.8, 2.0, 2.2, 2.4, 2.6)] + [s_curve(0.1)]
ALL = [*PLAIN, s_curve(0.2), s_curve(0.4)]


def read(curve, light):
    """Light as sRGB takes it for, where the scanner has that curve."""
    return srgb(np.interp(light, curve, CODES))


def sfr_error(curve, level, dark=0.05, bright=0.85):
    """Relative error of the frequency at which a Gaussian edge falls to a level."""
    x = np.linspace(-8, 8, 8001)
    edge = 0.5 + 0.5 * erf(x / np.sqrt(2))

    def crossing(profile):
        steps = np.diff(profile) / np.ptp(profile)
        at = (x[1:] + x[:-1]) / 2
        return brentq(lambda f: abs(np.sum(steps * np.exp(-2j * np.pi * f * at))) - level, 0.005, 1)

    return crossing(read(curve, dark + (bright - dark) * edge)) / crossing(edge) - 1


def contrast_error(curve, bright=0.8):
    return (read(curve, bright * 1.001) / read(curve, bright) - 1) / 0.001 - 1


@pytest.mark.parametrize(
    ("measure", "error"),
    [
        ("sharpness.sfr50", lambda curve: sfr_error(curve, 0.5)),
        ("sharpness.effective_dpi", lambda curve: sfr_error(curve, 0.1)),
        ("streaks.column_pattern", contrast_error),
        ("shading.falloff_left_10mm", contrast_error),
    ],
)
def test_the_doubt_is_that_of_the_curves_that_scanners_have(measure, error):
    rule = CATALOGUE[measure].curve
    plain_sd = SIZE[rule](99.0) if rule == "share" else SIZE[rule](1.0)
    alone_sd = plain_sd * (BENT_EDGE if rule.startswith("sfr") else BENT)
    errors = np.array([error(curve) for curve in ALL])
    # root mean square of all curves; twice the doubt covers nearly the strongest
    assert 0.6 * alone_sd < np.sqrt(np.mean(errors**2)) < 1.2 * alone_sd
    assert np.abs(errors).max() < 2.1 * alone_sd
    plain = np.array([error(curve) for curve in PLAIN])
    assert np.abs(plain).max() < 2.1 * plain_sd
    assert np.sqrt(np.mean(plain**2)) > 0.4 * plain_sd


COVER = np.linspace(0, 1, 21)


def print_of(gain, n, paper_light=0.85, ink=0.04):
    a = COVER + 4 * gain * COVER * (1 - COVER)
    return (a * ink ** (1 / n) + (1 - a) * paper_light ** (1 / n)) ** n


@pytest.mark.parametrize(("gain", "n"), [(0.0, 1.0), (0.1, 1.7), (0.22, 2.0)])
def test_tones_of_plain_print_are_told_from_an_s_curve(gain, n):
    printed = print_of(gain, n)
    for curve in PLAIN:
        assert misfit_of_print(COVER, read(curve, printed)) < LIKE_PRINT_L
    assert misfit_of_print(COVER, read(s_curve(0.4), printed)) > LIKE_PRINT_L
    assert misfit_of_print(COVER, printed[::-1]) == np.inf


def assumed():
    """A blank whose curve nobody stated."""
    scan = paper.placed(np.full((200, 200, 1), 0.8), 100)
    return replace(scan, light=replace(scan.light, source="sRGB assumed"))


def test_values_that_rest_on_the_curve_carry_it_and_others_do_not():
    made = Results(
        (
            Measurement("shading.nonuniformity", 5.0, 0.1, scan="blank.tif"),
            Measurement("shading.falloff_left_10mm", 90.0, 0.1, scan="blank.tif"),
            Measurement("geometry.skew", 0.3, 0.01, scan="blank.tif"),
            Measurement("streaks.column_pattern", 0.0, None, scan="blank.tif"),
        )
    )
    scan = assumed()
    uneven, left, skew, none = with_curve_doubt(made, [scan]).measurements
    assert uneven.random == pytest.approx(0.1)
    assert [(part.kind, part.of) for part in uneven.shared] == [("curve", "sRGB assumed")]
    assert uneven.uncertainty == pytest.approx(np.hypot(0.1, BENT * SIZE["contrast"](5.0)))
    assert left.uncertainty == pytest.approx(np.hypot(0.1, BENT * SIZE["share"](90.0)))
    assert skew.shared == none.shared == ()
    known = replace(scan, light=replace(scan.light, source="ICC profile"))
    assert with_curve_doubt(made, [known]) == made


def test_measured_patches_that_the_scan_agrees_with_leave_nothing_open():
    scan = assumed()
    uneven = Measurement("shading.nonuniformity", 5.0, 0.1)
    for error, open_ in ((0.8, 0), (6.0, 1)):
        tone = Measurement("tone.response", error, 0.1, scan="bed.tif")
        found = with_curve_doubt(Results((uneven, tone)), [scan]).measurements[0]
        assert len(found.shared) == open_


def test_each_kind_of_quantity_has_its_doubt_in_its_own_unit():
    """Light to a power 1 ± s: contrast s, its square 2 s, 20 log(1 + s) dB, near black 3 s."""
    s = SIZE["contrast"](1.0)
    assert SIZE["square"](5.0) == pytest.approx(10 * s)
    assert SIZE["decibel"](40.0) == pytest.approx(20 * np.log10(1 + s))
    assert SIZE["dark"](2.0) == pytest.approx(6 * s)


def sheet_of(curve):
    """The four corners of a bed sheet's patches only, printed plainly, read by a curve as sRGB."""
    patches = tuple(
        Patch(f"patch-{n}", (5.0 + 12 * n, 5.0, 15.0 + 12 * n, 25.0), float(cover))
        for n, cover in enumerate(COVER[::2])
    )
    x, y = paper.grid_mm(145.0, 30.0, 150)
    light = np.full((y.size, x.size), 0.85)
    for patch, value in zip(patches, print_of(0.15, 1.8)[::2], strict=True):
        left, top, right, bottom = patch.box_mm
        rows, columns = np.ix_((y[:, 0] > top) & (y[:, 0] < bottom), (x[0] > left) & (x[0] < right))
        light[rows, columns] = value
    scan = paper.placed(read(curve, light), 150, role="bed-sheet", bits=16, name="bed.tif")
    mm = 150 / 25.4
    return replace(
        scan,
        light=replace(scan.light, source="sRGB assumed"),
        piece=Piece("sheet", (), (), (), patches),
        to_px=np.array([[mm, 0, -0.5], [0, mm, -0.5]]),
    )


def test_a_sheet_whose_tones_are_print_halves_the_doubt_and_a_bent_one_does_not():
    uneven = Measurement("shading.nonuniformity", 5.0, 0.1)
    sharp = Measurement("sharpness.sfr50", 4.0, 0.01, scan="bed.tif")
    sizes = {}
    for name, curve in (("plain", gamma(2.2)), ("bent", s_curve(0.5))):
        found = with_curve_doubt(Results((uneven, sharp)), [sheet_of(curve), assumed()])
        sizes[name] = [m.shared[-1].size for m in found.measurements]
    assert sizes["plain"] == pytest.approx([SIZE["contrast"](5.0), SIZE["sfr50"](4.0)])
    assert sizes["bent"] == pytest.approx(
        [BENT * SIZE["contrast"](5.0), BENT_EDGE * SIZE["sfr50"](4.0)]
    )
    unplaced = replace(sheet_of(gamma(2.2)), to_px=None)
    found = with_curve_doubt(Results((uneven,)), [unplaced, assumed()]).measurements[0]
    assert found.shared[-1].size == pytest.approx(BENT * SIZE["contrast"](5.0))


def test_ink_that_reads_as_black_is_a_number_too():
    """Levels stretched to nought: no cover is more than all, so no root of less than no light."""
    light = np.linspace(0.8, 0.0, len(COVER))
    with np.errstate(invalid="raise"):
        assert np.isfinite(misfit_of_print(COVER, light))
