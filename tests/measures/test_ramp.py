"""Light and focus against height, and lift of a page, on wedges in closed form."""

import numpy as np
import pytest
from scipy.optimize import brentq

from scanqa.measures import gutter
from scanqa.measures.gutter.lift import lift
from scanqa.measures.gutter.page_profile import Profile
from scanqa.measures.gutter.ramp import Ramp, over_height
from scanqa.measures.gutter.slope_focus import FocusCurve
from scanqa.measures.gutter.slope_light import HeightCurve, light_over_height
from scanqa.measures.gutter.spine import Page
from scanqa.measures.gutter.unseen import Unseen
from scanqa.model import Told
from scanqa.numeric.lightness import lstar
from tests.measures.paper import MM, placed, value
from tests.measures.wedge import wedge

DPI = 200
HEIGHTS = (1, 2, 5, 10)
FROM_SPINE = Told(book_edge="left", dead_margins_mm={"left": 0.0})


def light_at(height, half=6.0):
    """Halves every `half` mm, as an evenly spreading source seen from above."""
    return np.exp2(-height / half)


def sigma_at(height):
    return 0.05 + 0.015 * height  # mm


def sfr50(height):
    return sfr50_of(sigma_at(height))


def sfr50_of(sigma):
    """Gaussian × pixel aperture (Goodman): where the product is a half, cy/mm."""
    pixel = MM / DPI
    return brentq(
        lambda f: np.exp(-2 * (np.pi * sigma * f) ** 2) * np.sinc(pixel * f) - 0.5,
        0.01,
        0.99 * DPI / MM,
    )


def edge_shadow(x):
    return 1 - 0.4 * np.exp(-x / 1.5)


def blank_like(scan, shadow):
    rows, cols = scan.scan.height_px, scan.scan.width_px
    x = (np.arange(cols) + 0.5) * MM / DPI
    return placed(0.85 * shadow(x) * np.ones((rows, 1)), DPI, noise=0.004)


def of_the_ramp(m):
    """Not of an open book."""
    return m.name.endswith(("mm_height", "depth_of_field"))


@pytest.fixture(scope="module")
def plain():
    return gutter.measure(wedge(light_at, sigma_at), Told())


@pytest.fixture(scope="module")
def shadowed():
    """A ramp at a side with an edge shadow."""
    return wedge(light_at, sigma_at, shadow=edge_shadow)


@pytest.mark.parametrize("height", HEIGHTS)
def test_light_against_height(plain, height):
    (m,) = plain.named(f"gutter.light_at_{height}mm_height")
    assert m.value == pytest.approx(100 * light_at(height), abs=1.0)  # %
    # How true a folded slope stands: 0.4 mm of the lip's 12, in light that falls up to 12 % a mm.
    assert m.uncertainty < 1.5


def defocused(height):
    """Blur of the lens and of defocus, added in quadrature."""
    return np.hypot(0.05, 0.03 * height)


@pytest.fixture(scope="module")
def lens():
    return gutter.measure(wedge(light_at, defocused), Told())


@pytest.mark.parametrize("height", HEIGHTS)
def test_focus_against_height(lens, height):
    (m,) = lens.named(f"gutter.focus_at_{height}mm_height")
    truth = 100 * sfr50_of(defocused(height)) / sfr50_of(defocused(0.0))
    assert m.value == pytest.approx(truth, abs=1.5)  # %


@pytest.mark.parametrize("height", HEIGHTS)
def test_focus_that_falls_by_another_law_is_within_what_is_stated(plain, height):
    """Below the first edge, 1.5 mm up, the law matters: blur that grows straight from the glass."""
    (m,) = plain.named(f"gutter.focus_at_{height}mm_height")
    truth = 100 * sfr50(float(height)) / sfr50(0.0)
    assert abs(m.value - truth) < 3 * m.uncertainty


def test_focus_higher_than_any_edge_that_could_be_measured_says_so():
    found = gutter.measure(wedge(light_at, lambda h: np.hypot(0.022, 0.13 * h)), Told())
    (m,) = (m for m in found.measurements if m.name == "gutter.focus_at_10mm_height")
    assert m.status == "not-measurable"
    assert "too blurred" in m.reason


def test_depth_of_field_is_where_sfr50_has_halved(plain):
    truth = brentq(lambda h: sfr50(h) / sfr50(0.0) - 0.5, 0.0, 12.0)
    (m,) = plain.named("gutter.depth_of_field")
    assert m.value == pytest.approx(truth, abs=0.3)  # mm
    assert m.status == "ok"
    assert m.uncertainty < 0.5


def test_depth_of_field_of_a_contact_sensor():
    """It halves far below the first edge: blur of defocus adds in quadrature (0.13 mm per mm)."""

    def sigma(height):
        return np.hypot(0.022, 0.13 * height)

    truth = brentq(lambda h: sfr50_of(sigma(h)) / sfr50_of(sigma(0.0)) - 0.5, 0.0, 5.0)
    (m,) = gutter.measure(wedge(light_at, sigma), Told()).named("gutter.depth_of_field")
    assert m.value == pytest.approx(truth, abs=0.1)  # mm; the first edge is at 1.5 mm
    assert abs(m.value - truth) < 3 * m.uncertainty


def test_curves_of_light_and_focus_are_the_made_up_ones(plain):
    light, focus = plain.evidence
    np.testing.assert_allclose(light.curves[0].y, 100 * light_at(light.curves[0].x), atol=1.5)
    heights, values = focus.curves[0].x, focus.curves[0].y
    expected = [sfr50(h) for h in heights]
    assert np.median(np.abs(values / expected - 1)) < 0.03


def test_height_as_measured_scales_the_heights():
    pieces = wedge(light_at, sigma_at, height_mm=9.0)
    found = gutter.measure(pieces, Told(ramp_height_mm=9.0))
    assert value(found, "gutter.light_at_5mm_height") == pytest.approx(100 * light_at(5), abs=1)
    too_high = next(m for m in found.measurements if m.name == "gutter.light_at_10mm_height")
    assert "not that high" in too_high.reason


def test_focus_that_holds_is_a_lower_bound():
    found = gutter.measure(wedge(light_at, lambda h: 0.05 + 0.001 * h), Told())
    (m,) = found.named("gutter.depth_of_field")
    assert m.status == "at-least"
    assert m.value > 10


def test_a_blank_takes_the_edge_shadow_out(shadowed):
    with_blank = gutter.measure([*shadowed, blank_like(shadowed[0], edge_shadow)], Told())
    assert value(with_blank, "gutter.light_at_10mm_height") == pytest.approx(
        100 * light_at(10), abs=1.0
    )


@pytest.mark.parametrize(("lift_mm", "length_mm"), [(2.0, 8.0), (4.0, 5.0), (7.0, 6.0)])
def test_lift_of_a_page(shadowed, lift_mm, length_mm):
    """Three stiffnesses; a lamp that spreads, an edge shadow on top."""
    x = (np.arange(1100) + 0.5) * MM / DPI
    lift = lift_mm * np.exp(-x / length_mm)
    page = 0.7 * light_at(lift) * edge_shadow(x) * np.ones((1400, 1))
    book = placed(page, DPI, role="open-book", noise=0.004, name="book.tif")
    blanks = [blank_like(shadowed[0], edge_shadow), blank_like(book, edge_shadow)]
    found = gutter.measure([book, *shadowed, *blanks], FROM_SPINE)
    for distance in (0, 2, 5, 10):
        expected = lift_mm * np.exp(-distance / length_mm)
        m = next(m for m in found.measurements if m.name == f"gutter.lift_at_{distance}mm")
        assert m.value == pytest.approx(expected, abs=0.3)  # mm
        assert m.reason == ""
        (focus,) = found.named(f"gutter.focus_at_{distance}mm")
        truth = 100 * sfr50(expected) / sfr50(0.0)
        assert abs(focus.value - truth) < max(3 * focus.uncertainty, 3.0)


def test_from_the_edge_of_the_image_lift_is_a_bound_and_so_is_focus(shadowed):
    """The dead margin is 2 mm: what lies 5 mm from the edge of the image lies 7 mm from the spine.

    Told of it, the lift at 5 mm from the spine is that 3 mm from the edge of the image.
    """
    lift_mm, length_mm, margin = 4.0, 6.0, 2.0
    x = (np.arange(1100) + 0.5) * MM / DPI
    page = 0.7 * light_at(lift_mm * np.exp(-(x + margin) / length_mm)) * np.ones((1400, 1))
    book = placed(page, DPI, role="open-book", noise=0.004, name="book.tif")
    blanks = [blank_like(shadowed[0], edge_shadow), blank_like(book, lambda x: 1 + 0 * x)]
    scans = [book, *shadowed, *blanks]
    truth = lift_mm * np.exp(-5 / length_mm)
    (known,) = gutter.measure(
        scans, Told(book_edge="left", dead_margins_mm={"left": margin})
    ).named("gutter.lift_at_5mm")
    assert known.status == "ok"
    assert abs(known.value - truth) < 2 * known.uncertainty
    open_ = gutter.measure(scans, Told(book_edge="left"))
    (lift,), (focus,) = (open_.named(f"gutter.{what}_at_5mm") for what in ("lift", "focus"))
    assert (lift.status, focus.status) == ("at-least", "at-most")
    assert lift.value < truth
    assert focus.value > 100 * sfr50(truth) / sfr50(0.0)
    assert "edge of the image" in lift.reason


def test_lift_beyond_the_ramp_is_a_lower_bound_and_shadow_is_named():
    pieces = wedge(light_at, sigma_at)
    x = (np.arange(1100) + 0.5) * MM / DPI
    page = 0.7 * light_at(20 * np.exp(-x / 5)) * np.ones((1400, 1))
    book = placed(page, DPI, role="open-book", noise=0.004, name="book.tif")
    found = gutter.measure([book, *pieces], FROM_SPINE)
    lifts = {m.name: m for m in found.measurements if "lift" in m.name}
    assert lifts["gutter.lift_at_0mm"].status == "at-least"
    assert lifts["gutter.lift_at_0mm"].value == pytest.approx(12, abs=0.5)
    assert "edge shadow" in lifts["gutter.lift_at_10mm"].reason
    focus = {m.name: m for m in found.measurements if "focus" in m.name and not of_the_ramp(m)}
    assert "higher there" in focus["gutter.focus_at_0mm"].reason
    assert focus["gutter.focus_at_10mm"].value > 50


def test_what_cannot_be_measured_says_why():
    flat, slope = wedge(light_at, sigma_at)
    for pieces, word in (
        ([], "no gutter ramp"),
        ([flat], "no gutter ramp"),
        ([slope], "flat part"),
    ):
        found = [m for m in gutter.measure(pieces, Told()).measurements if of_the_ramp(m)]
        assert len(found) == 2 * len(HEIGHTS) + 1
        assert all(m.status == "not-measurable" and word in m.reason for m in found)
    from_spine = np.arange(1100) * 25.4 / DPI
    light = np.tile(0.7 * (1 - 0.6 * np.exp(-from_spine / 4)), (1400, 1))
    book = placed(light, DPI, role="open-book", noise=0.004)
    found = gutter.measure([book, flat], FROM_SPINE)
    for what in ("lift", "focus"):
        missing = [m for m in found.measurements if what in m.name and not of_the_ramp(m)]
        assert len(missing) == 4
        assert all("slope" in m.reason for m in missing)


def test_stated_error_of_the_light_is_the_scatter():
    """Thirty ramps with grain of their own; they know a scatter to 13 %, three heights to 8 %."""
    curves = []
    for seed in range(30):
        flat, slope = wedge(light_at, sigma_at, noise=0.02, seed=seed)
        curves.append(light_over_height(slope, flat, blank=None))
    scatter = [np.std([curve.at(height) for curve in curves], ddof=1) for height in (2, 5, 10)]
    stated = np.mean([curve.error for curve in curves])
    assert 0.7 < stated / np.mean(scatter) < 1.4


H0 = 4.0  # mm, where SFR50 has halved on the focus curve below


def law(height):
    """1/SFR50² straight in height²: lens and defocus in quadrature."""
    return 1 / np.sqrt(1 + 3 * (np.asarray(height) / H0) ** 2)


def slope_of_law(height):
    return float(3 * height / H0**2 * law(height) ** 3)


@pytest.fixture(scope="module")
def known_ramp():
    """Light that falls by a tenth a millimetre; focus by the law, at steps of 0.1 mm."""
    heights = np.linspace(0, 12, 121)
    return Ramp(
        "ramp.tif",
        HeightCurve(heights[1:100], 1 - heights[1:100] / 10, 0.01),
        FocusCurve((), heights, law(heights), above_error=0.02, glass_error=0.01),
    )


def test_values_and_errors_are_those_of_the_ramps_curves(known_ramp):
    found = over_height(known_ramp)
    for height in (1, 2, 5):
        (light,) = found.named(f"gutter.light_at_{height}mm_height")
        assert light.value == pytest.approx(100 - 10 * height)
        assert light.uncertainty == pytest.approx(1.0)
        (focus,) = found.named(f"gutter.focus_at_{height}mm_height")
        assert focus.value == pytest.approx(100 * law(height))
        assert focus.uncertainty == pytest.approx(100 * np.hypot(0.02, 0.01 * law(height)))
    (depth,) = found.named("gutter.depth_of_field")
    assert depth.value == pytest.approx(H0, abs=1e-6)
    of_share = np.hypot(0.02, 0.01 * 0.5)
    assert depth.uncertainty == pytest.approx(of_share / slope_of_law(H0), rel=0.01)


def test_lift_and_focus_of_a_page_take_on_the_ramps_errors(known_ramp):
    """All bands alike, so that no scatter of the page's own comes in."""
    at_mm = np.arange(0.25, 40, 0.5)
    height = np.maximum(3 - at_mm / 4, 0)
    lack = lstar(0.7) - lstar(0.7 * (1 - height / 10))
    page = Profile(at_mm, np.arange(5.0), np.tile(lack, (5, 1)), float(lstar(0.7)), 0.0)
    spread = Page("left", page, spine_in_sight=False)
    found = lift(spread, Unseen(known=True), known_ramp, None, "book.tif")
    for distance, expected in ((2, 2.5), (5, 1.75)):
        (m,) = found.named(f"gutter.lift_at_{distance}mm")
        assert m.value == pytest.approx(expected, abs=1e-3)
        assert m.uncertainty == pytest.approx(0.01 / 0.1, rel=1e-3)  # of light over its fall a mm
        (focus,) = found.named(f"gutter.focus_at_{distance}mm")
        assert focus.value == pytest.approx(100 * law(expected), abs=0.05)
        parts = (0.02, 0.01 * law(expected), 0.1 * slope_of_law(expected))
        assert focus.uncertainty == pytest.approx(100 * np.linalg.norm(parts), rel=0.05)
