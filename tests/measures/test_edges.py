"""Edge shadows in closed form; dead margins of strips placed by a known map."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.measures import edges
from scanqa.measures.edges.border_shadow import side_lightness
from scanqa.model import Piece, Tag, Told
from scanqa.numeric.border import far_zone_mm, shadow
from scanqa.numeric.lightness import lstar
from scanqa.reading.sides import depths_mm
from tests.measures.paper import MM, grid_mm, placed, value

TOLERANCE_MM = 0.3  # the acceptance figure
WIDTH, HEIGHT, DPI = 150.0, 200.0, 150
SIDES = ("left", "right", "top", "bottom")
OTHER = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}


def transmitted(depth, black, tau, amount=0.7):
    """Light at a depth (mm): none up to `black`, then an exponential rise."""
    return np.where(depth < black, 0.0, 1 - amount * np.exp(-np.maximum(depth - black, 0) / tau))


def true_depth(black, tau, amount=0.7, paper=0.8, delta_l=2.0):
    """Where L* is `delta_l` below the paper: the inverse of L* in closed form (CIE 15)."""
    wanted = ((lstar(paper) - delta_l + 16) / 116) ** 3 / paper
    return black + max(0.0, tau * math.log(amount / (1 - wanted)))


def shadowed(side, black, tau, *, amount=0.7):
    x, y = grid_mm(WIDTH, HEIGHT, DPI)
    depth = {"left": x, "right": WIDTH - x, "top": y, "bottom": HEIGHT - y}[side]
    return 0.8 * np.broadcast_to(transmitted(depth, black, tau, amount), (y.size, x.size))


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize(("black", "tau"), [(0.0, 0.6), (1.3, 1.0), (0.4, 3.0)])
def test_depth_of_a_shadow(side, black, tau):
    found = edges.measure([placed(shadowed(side, black, tau), DPI, noise=0.01)], Told())
    depth = true_depth(black, tau)
    assert value(found, f"edges.shadow_{side}") == pytest.approx(depth, abs=TOLERANCE_MM)
    assert value(found, f"edges.shadow_{OTHER[side]}") == 0.0
    width = WIDTH - (depth if side in ("left", "right") else 0)
    height = HEIGHT - (depth if side in ("top", "bottom") else 0)
    (usable,) = found.named("edges.usable_width")
    assert usable.value == pytest.approx(width, abs=2 * TOLERANCE_MM)
    assert value(found, "edges.usable_height") == pytest.approx(height, abs=2 * TOLERANCE_MM)
    corner = (depth if side == "left" else 0.0, depth if side == "top" else 0.0)
    assert usable.at_mm == pytest.approx(corner, abs=TOLERANCE_MM)


@pytest.mark.parametrize("side", SIDES)
def test_a_shadow_on_light_that_falls_toward_its_side_is_a_range(side):
    """A shadow of 0.7 exp(-d/1.2) on light that loses 10 % along a parabola of 50 mm.

    Against the level of the bed it is L* 2 darker up to where the product says; against a line
    through the falloff less. Nobody knows which counts.
    """
    x, y = grid_mm(WIDTH, HEIGHT, DPI)
    depth = {"left": x, "right": WIDTH - x, "top": y, "bottom": HEIGHT - y}[side]
    fall = 1 - 0.1 * np.clip(1 - depth / 50, 0, None) ** 2
    light = 0.8 * np.broadcast_to(fall * transmitted(depth, 0.0, 1.2), (y.size, x.size))
    (found,) = edges.measure([placed(light, DPI, noise=0.01)], Told()).named(f"edges.shadow_{side}")
    fine = np.arange(0, 60, 0.01)
    level = 0.8 * transmitted(fine, 0.0, 1.2) * (1 - 0.1 * np.clip(1 - fine / 50, 0, None) ** 2)
    whole = fine[lstar(0.8) - lstar(level) > 2.0].max()
    assert whole > 10  # the shadow alone is 4 mm deep
    assert (found.status, found.reason_kind) == ("between", "uneven")
    assert found.low == found.value == pytest.approx(true_depth(0.0, 1.2), abs=1.5)
    assert found.high > found.low + 3
    assert found.low - 2 * found.uncertainty <= whole
    assert "falls toward this side" in found.reason


def test_a_black_band_is_found_to_a_part_of_a_pixel():
    light = np.full((800, 600), 0.8)
    light[:, :10] = 0.0
    found = edges.measure([placed(light, DPI, noise=0.005)], Told())
    assert value(found, "edges.shadow_left") == pytest.approx(10 * MM / DPI, abs=0.5 * MM / DPI)


def test_falloff_is_not_shadow():
    """6 % of light lost from the centre to the side (2.3 L*), as a parabola: no shadow."""
    x, y = grid_mm(WIDTH, HEIGHT, DPI)
    light = 0.8 * (1 - 0.06 * (2 * x / WIDTH - 1) ** 2) * np.ones_like(y)
    found = edges.measure([placed(light, DPI, noise=0.01)], Told())
    assert [value(found, f"edges.shadow_{side}") for side in SIDES] == [0, 0, 0, 0]


def test_streaks_and_dust_are_not_shadow():
    light = shadowed("left", 0.5, 1.0).copy()
    light[:, 60:62] *= 0.5  # a dark streak 10 mm in
    light[:, 8:9] *= 1.6  # a bright one within the shadow
    light[300:320, 5:60] *= 0.2  # a smudge at the side
    found = edges.measure([placed(light, DPI, noise=0.01)], Told())
    assert value(found, "edges.shadow_left") == pytest.approx(true_depth(0.5, 1.0), abs=0.3)


def test_a_shadow_along_a_part_of_a_side_is_told():
    light = np.full_like(shadowed("left", 0, 1.0), 0.8)
    light[700:] = shadowed("left", 1.0, 1.0)[700:]  # from 118.5 mm down
    found = edges.measure([placed(light, DPI, noise=0.01)], Told())
    (m,) = found.named("edges.shadow_left")
    assert m.value == 0.0
    assert "uneven" in m.reason
    start = float(m.reason.split("between ")[1].split(" ")[0])
    assert start == pytest.approx(700 * MM / DPI, abs=12)  # a band is 11 mm high
    usable = WIDTH - true_depth(1.0, 1.0)
    (width,) = found.named("edges.usable_width")
    assert width.value == pytest.approx(usable, abs=0.4)
    # Whether that part is the bed's or the paper's is not known.
    assert (width.status, width.reason_kind) == ("between", "uneven")
    assert (width.low, width.high) == pytest.approx((width.value, WIDTH), abs=0.1)


@pytest.mark.parametrize("delta_l", [1.0, 5.0])
def test_depth_where_another_darkening_counts_as_shadow(delta_l):
    bands = side_lightness(placed(shadowed("left", 0, 2.0), DPI, noise=0.01), "left")
    at_mm = depths_mm(bands.shape[1], DPI)
    found = shadow(at_mm, bands, far_zone_mm(WIDTH), delta_l)
    assert found.depth == pytest.approx(true_depth(0, 2.0, delta_l=delta_l), abs=TOLERANCE_MM)


@pytest.mark.parametrize("end_mm", [25, 32, 40, 60])
def test_darkness_without_end_is_a_lower_bound(end_mm):
    x, y = grid_mm(WIDTH, HEIGHT, DPI)
    light = np.where(x < end_mm, 0.2, 0.8) * np.ones_like(y)
    found = edges.measure([placed(light, DPI, noise=0.01)], Told())
    (m,) = found.named("edges.shadow_left")
    assert m.status == "at-least"
    assert m.value == pytest.approx(20)
    assert not found.named("edges.usable_width")


def test_stated_error_of_the_depth_is_the_scatter():
    """Thirty sheets: the scatter is not larger than what is stated, a pixel's width included."""
    name = "edges.shadow_left"
    light = shadowed("left", 0.0, 2.0)[:600, :400]
    found = [
        edges.measure([placed(light, DPI, noise=0.04, seed=seed)], Told()).named(name)[0]
        for seed in range(30)
    ]
    scatter = np.std([m.value for m in found], ddof=1)
    stated = np.median([m.uncertainty for m in found])
    assert scatter < 1.5 * stated
    assert stated < 0.15  # mm


@pytest.mark.parametrize("light", [np.full((900, 700), 0.01), np.full((20, 20), 0.8)])
def test_what_cannot_be_measured_says_why(light):
    found = edges.measure([placed(light, DPI)], Told())
    assert not any(m.value for m in found.measurements)
    assert all(m.reason for m in found.measurements)


def test_without_scans_every_figure_says_what_to_do():
    found = edges.measure([], Told()).measurements
    assert len(found) == 4 + 2 + 4 + 4
    assert all("scan" in m.reason for m in found)


def bed(width_mm, height_mm):
    light = np.full((round(height_mm * 40 / MM), round(width_mm * 40 / MM)), 0.8)
    found = edges.measure([placed(light, 40)], Told())
    return {m.name: m for m in found.measurements}


@pytest.mark.parametrize(
    ("bed_mm", "lost"),  # paper sizes of ISO 216 and 8.5 × 11 in; a sleeve is about 315 mm square
    [
        ((297, 432), {"a4": 0, "a3": 0, "letter": 0, "sleeve": 18}),
        ((432, 297), {"a4": 0, "a3": 0, "letter": 0, "sleeve": 18}),
        ((216, 297), {"a4": 0, "a3": 81 + 123, "letter": 0, "sleeve": 99 + 18}),
        ((216, 290), {"a4": 7, "a3": 81 + 130, "letter": 0, "sleeve": 99 + 25}),
    ],
)
def test_what_fits_on_the_bed(bed_mm, lost):
    found = bed(*bed_mm)
    for form, millimetres in lost.items():
        assert found[f"edges.lost_{form}"].value == pytest.approx(millimetres, abs=0.7)  # one pixel


def test_it_says_whether_turning_the_sheet_round_helps():
    sleeve = bed(297, 432)["edges.lost_sleeve"].reason
    assert "turned by 180°, recovers" in sleeve
    assert "too wide and too high" in bed(216, 297)["edges.lost_a3"].reason
    assert "does not recover" in bed(100, 310)["edges.lost_a4"].reason
    assert "fits" in bed(216, 298)["edges.lost_a4"].reason


def test_a_shadow_costs_a_sheet_its_margin():
    light = np.full((round(297 * 40 / MM), round(216 * 40 / MM)), 0.8)
    light[:, :20] = 0.1  # 12.7 mm
    found = {m.name: m for m in edges.measure([placed(light, 40)], Told()).measurements}
    assert found["edges.lost_a4"].value == pytest.approx(210 - (216 - 12.7), abs=1.0)


@settings(deadline=None, max_examples=8)
@given(black=st.floats(0, 2), tau=st.floats(0.4, 2), gain=st.floats(0.6, 1.1))
def test_mirror_turn_and_gain(black, tau, gain):
    x, y = grid_mm(90, 110, 100)
    light = 0.8 * transmitted(x, black, tau) * np.ones_like(y)
    plain, mirrored, turned, brighter = (
        edges.measure([placed(each, 100, noise=0.002, bits=16)], Told())
        for each in (light, light[:, ::-1], light.T, gain * light)
    )
    depth = value(plain, "edges.shadow_left")
    assert value(mirrored, "edges.shadow_right") == pytest.approx(depth, abs=0.1)
    assert value(turned, "edges.shadow_top") == pytest.approx(depth, abs=0.1)
    # L* is not proportional to light: 2 L* is 2.3 % of light at 0.5 and 2.0 % at 0.9.
    assert value(brighter, "edges.shadow_left") == pytest.approx(depth, abs=0.1 + 0.2 * tau)


# --------------------------------------------------------------------------- dead margins


def strip(side, margin_mm, *, turn_deg=0.0, at=0.5, name="strips.tif", residual_um=20.0):
    """A strip on a bare scan of 100 × 140 mm: its fold (sheet x = 50 mm) beyond a side."""
    pixels = np.full((551, 394), 0.8)
    height, width = pixels.shape
    tags = tuple(
        Tag(i, tuple((x + dx, y + dy) for dx, dy in ((0, 0), (12, 0), (12, 12), (0, 12))))
        for i, (x, y) in enumerate([(58.0, 20.0), (84.0, 20.0), (110.0, 20.0), (130.0, 20.0)])
    )
    piece = Piece(
        "strip", ((30, 0), (150, 0), (150, 44), (30, 44)), tags, fold_mm=((50, 0), (50, 44))
    )
    quarter = {"left": 0, "top": 90, "right": 180, "bottom": 270}[side]
    angle = math.radians(quarter + turn_deg)
    scale = 100 / MM
    matrix = scale * np.array(
        [[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]]
    )
    gap = margin_mm * scale
    middle = {  # where the middle of the fold lies, pixel centres at whole numbers
        "left": (-0.5 - gap, at * height),
        "right": (width - 0.5 + gap, at * height),
        "top": (at * width, -0.5 - gap),
        "bottom": (at * width, height - 0.5 + gap),
    }[side]
    shift = np.array(middle) - matrix @ (50, 22)
    return placed(
        pixels,
        100,
        role="edge-strip",
        name=name,
        piece=piece,
        to_px=np.column_stack([matrix, shift]),
        tags=tuple(tag.id for tag in tags),
        residual_um=residual_um,
    )


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("margin", [0.0, 1.7, 6.0])
@pytest.mark.parametrize("turn_deg", [0.0, 2.5])
def test_dead_margin_is_the_gap_between_fold_and_border(side, margin, turn_deg):
    found = edges.measure([strip(side, margin, turn_deg=turn_deg)], Told())
    (m,) = found.named(f"edges.dead_margin_{side}")
    assert m.value == pytest.approx(margin, abs=1e-6)
    assert 0.1 <= m.uncertainty < 0.15  # the fold's 0.1 mm, and little from the fit
    others = [m for m in found.measurements if m.name.startswith("edges.dead_margin_")]
    assert sum(m.status == "not-measurable" for m in others) == 3


def test_several_strips_on_a_side_are_averaged():
    found = edges.measure([strip("left", 1.5, at=0.2), strip("left", 2.5, at=0.8)], Told())
    (m,) = found.named("edges.dead_margin_left")
    assert m.value == pytest.approx(2.0)
    assert m.uncertainty == pytest.approx(0.5, abs=0.01)  # they disagree: sd / √2


def test_a_worse_fit_is_less_certain():
    good, bad = (
        edges.measure([strip("top", 2.0, residual_um=r)], Told()).named("edges.dead_margin_top")[0]
        for r in (10.0, 400.0)
    )
    assert bad.uncertainty > 1.5 * good.uncertainty


@pytest.mark.parametrize(("margin", "turn_deg", "word"), [(-20, 0, "hooked"), (1, 25, "turned")])
def test_a_strip_that_does_not_lie_on_the_edge_is_refused(margin, turn_deg, word):
    found = edges.measure([strip("left", margin, turn_deg=turn_deg)], Told())
    (m,) = [m for m in found.measurements if m.name == "edges.dead_margin_left"]
    assert m.status == "not-measurable"
    assert word in m.reason


def test_a_fold_just_inside_the_image_leaves_no_margin():
    (m,) = edges.measure([strip("right", -0.4)], Told()).named("edges.dead_margin_right")
    assert m.value == 0.0
    assert "0.4 mm inside" in m.reason


def test_a_margin_read_by_eye_counts_where_no_strip_was_located():
    found = edges.measure([strip("left", 1.5)], Told(dead_margins_mm={"left": 3.0, "top": 2.0}))
    (left,), (top,) = (found.named(f"edges.dead_margin_{side}") for side in ("left", "top"))
    assert left.value == pytest.approx(1.5)
    assert (top.value, top.uncertainty) == (2.0, pytest.approx(1 / math.sqrt(12), abs=0.02))
    assert "by eye" in top.reason
    assert "by eye it was 3.0 mm" in left.reason  # what the user read is not dropped in silence


PLACE_MM = 1 / math.sqrt(12)  # of a pixel: where in it a border lies is not known


def test_without_grain_a_depth_is_known_to_its_pixel():
    light = np.full((800, 600), 0.8)
    light[:, :10] = 0.0
    found = edges.measure([placed(light, DPI)], Told())
    (depth,) = found.named("edges.shadow_left")
    assert depth.uncertainty == pytest.approx(PLACE_MM * MM / DPI, rel=1e-3)
    (width,) = found.named("edges.usable_width")
    assert width.uncertainty == pytest.approx(math.sqrt(2) * PLACE_MM * MM / DPI, rel=1e-3)


def test_what_is_lost_is_known_as_the_bed_is():
    """An A4 sheet sticks out of the height only, an A3 sheet of both."""
    found = bed(216, 290)
    side = math.sqrt(2) * PLACE_MM * MM / 40  # two shadows make a width or a height
    assert found["edges.lost_a4"].uncertainty == pytest.approx(side, rel=1e-3)
    assert found["edges.lost_a3"].uncertainty == pytest.approx(math.sqrt(2) * side, rel=1e-3)
