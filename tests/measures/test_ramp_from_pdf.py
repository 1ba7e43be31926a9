"""Light and focus over height from the committed ramp, folded by a few lines of numpy."""

import numpy as np
import pytest
from scipy.optimize import brentq

from scanqa.measures import gutter
from scanqa.model import Told
from tests.measures.folded import folded_ramp, scanned

FINE_DPI, DPI = 600, 200
HEIGHTS = (1, 2, 5, 10)


def wrapped(height):
    """A lamp that wraps round the lens: its light falls slowly."""
    return np.exp2(-height / 11.0)


def bar(height):
    """A flat bar of LEDs 6 mm below the glass: the light of a point falls with the square."""
    return (1 + height / 6.0) ** -2


def lens(height):
    return np.hypot(0.035, 0.014 * height)


def contact(height):
    return np.hypot(0.035, 0.13 * height)


def sfr50(sigma_mm, dpi=DPI):
    """cy/mm where a Gaussian times a pixel's aperture (Goodman) leaves a half."""
    pixel = 25.4 / dpi
    return brentq(
        lambda f: np.exp(-2 * (np.pi * sigma_mm * f) ** 2) * np.sinc(pixel * f) - 0.5,
        0.01,
        0.99 / pixel,
    )


def depth_of_field(sigma_at, dpi=DPI):
    half = sfr50(sigma_at(0.0), dpi) / 2
    return brentq(lambda h: sfr50(sigma_at(h), dpi) - half, 0.0, 12.0)


CASES = {"lens": (wrapped, lens, 0.3), "contact": (bar, contact, 0.06)}  # mm: bound on the depth


@pytest.fixture(scope="module", params=CASES)
def case(request):
    light_at, sigma_at, bound = CASES[request.param]
    picture = folded_ramp(light_at, sigma_at, fine_dpi=FINE_DPI)
    return picture, light_at, sigma_at, bound


@pytest.mark.parametrize("turn_deg", [0.0, 91.5, 180.0, 270.0])
def test_light_and_depth_of_field_however_it_lies(case, turn_deg):
    picture, light_at, sigma_at, bound = case
    pieces = scanned(picture, fine_dpi=FINE_DPI, dpi=DPI, turn_deg=turn_deg)
    assert {piece.piece.name for piece in pieces} == {"flat", "slope"}
    found = gutter.measure(pieces, Told())
    for height in HEIGHTS:
        (m,) = found.named(f"gutter.light_at_{height}mm_height")
        assert m.value == pytest.approx(100 * light_at(height), abs=1.0)  # %
    (m,) = found.named("gutter.depth_of_field")
    assert m.status == "ok"
    assert m.value == pytest.approx(depth_of_field(sigma_at), abs=bound)
    assert abs(m.value - depth_of_field(sigma_at)) < 3 * m.uncertainty


def test_focus_at_every_height(case):
    """SFR50 of the edges against the closed form, where they could be measured: median and 9/10."""
    picture, _, sigma_at, _ = case
    found = gutter.measure(scanned(picture, fine_dpi=FINE_DPI, dpi=DPI), Told())
    (curve,) = next(e for e in found.evidence if "Sharpness" in e.title).curves
    truth = np.array([sfr50(sigma_at(height)) for height in curve.x])
    off = np.abs(curve.y / truth - 1)
    assert np.median(off) < 0.02
    assert np.percentile(off, 90) < 0.03


def test_a_wedge_lower_than_designed_with_its_height_by_a_rule():
    picture = folded_ramp(wrapped, lens, fine_dpi=FINE_DPI, height_mm=10.8)
    pieces = scanned(picture, fine_dpi=FINE_DPI, dpi=DPI)
    found = gutter.measure(pieces, Told(ramp_height_mm=10.8))
    for height in HEIGHTS:
        (m,) = found.named(f"gutter.light_at_{height}mm_height")
        assert m.value == pytest.approx(100 * wrapped(height), abs=1.0)
    (m,) = found.named("gutter.depth_of_field")
    assert m.value == pytest.approx(depth_of_field(lens), abs=0.3)
