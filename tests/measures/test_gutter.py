"""Gutter darkening against a curve in closed form, on bare and printed pages."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import ndimage

from scanqa.measures import gutter
from scanqa.model import Told
from scanqa.numeric.lightness import lstar
from tests.measures.book import printed_page
from tests.measures.paper import MM, placed, value

SIDES = ("left", "right", "top", "bottom")
COLS, ROWS, DPI = 840, 1200, 100  # blocks of one pixel, 0.254 mm
TOLERANCE_L, TOLERANCE_MM = 0.5, 0.3  # the acceptance figures
PAPER = 0.78


def light_at(distance_mm, lift=0.55, tau=5.0):
    """A page that lifts off smoothly, and the sharper dark at the fold."""
    return 1 - lift * np.exp(-distance_mm / tau) - 0.15 * np.exp(-distance_mm / 1.5)


def distance_from(side, cols=COLS, rows=ROWS, dpi=DPI):
    x, y = (np.arange(cols)[None] + 0.5) * MM / dpi, (np.arange(rows)[:, None] + 0.5) * MM / dpi
    return {"left": x, "right": cols * MM / dpi - x, "top": y, "bottom": rows * MM / dpi - y}[side]


def open_book(side="left", *, page=1.0, noise=0.004, **curve):
    """Each pixel is a preview block: noise of 0.4 % is that of 3 % pixels at 600 dpi."""
    light = PAPER * light_at(distance_from(side), **curve) * np.ones((ROWS, COLS))
    return placed(light * page, DPI, role="open-book", noise=noise, name="book.tif")


def truth(name, **curve):
    """From the curve on a fine grid: ΔL* at a place, or the place where it is so much."""
    at_mm = np.linspace(0, 60, 60001)
    delta = lstar(PAPER) - lstar(PAPER * light_at(at_mm, **curve))
    if name.startswith("gutter.reach_"):
        return at_mm[delta > float(name.split("_")[1])].max()
    distance = int(name.split("_")[3].removesuffix("mm"))
    return np.interp(distance, at_mm, delta)


def check(found, **curve):
    for distance in (0, 2, 5, 10, 20):
        name = f"gutter.delta_L_at_{distance}mm"
        assert value(found, name) == pytest.approx(truth(name, **curve), abs=TOLERANCE_L), name
    for limit in (2, 5, 10):
        name = f"gutter.reach_{limit}"
        assert value(found, name) == pytest.approx(truth(name, **curve), abs=TOLERANCE_MM), name


def of_the_page(found):
    """What is said of an open book; there is no ramp in these sets."""
    return [m for m in found.measurements if not m.name.endswith(("_height", "depth_of_field"))]


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("curve", [{}, {"lift": 0.8, "tau": 3.0}, {"lift": 0.3, "tau": 7.0}])
def test_bare_page(side, curve):
    found = gutter.measure([open_book(side, **curve)], Told(book_edge=side))
    check(found, **curve)
    assert value(found, "gutter.plateau") == pytest.approx(lstar(PAPER), abs=TOLERANCE_L)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("lines_along", [0, 1])
def test_text_on_the_page_does_not_count(side, lines_along):
    page = printed_page((ROWS, COLS), DPI, lines_along=lines_along)
    check(gutter.measure([open_book(side, page=page)], Told(book_edge=side)))


def test_text_close_to_the_spine():
    page = printed_page((ROWS, COLS), DPI, margin_mm=3.0)
    check(gutter.measure([open_book("left", page=page)], Told(book_edge="left")))


@pytest.mark.parametrize("picture", [(0.05, 0.2, 0.45, 1.0), (0.0, 0.0, 0.4, 1.0)])
def test_a_picture_does_not_count(picture):
    """Beside the margin, and bled off at the spine over two fifths of the page."""
    page = printed_page((ROWS, COLS), DPI, picture=picture)
    check(gutter.measure([open_book("left", page=page)], Told(book_edge="left")))


def test_a_dark_line_far_in_is_not_the_reach_of_the_gutter():
    """A rule 1.5 mm wide along the whole spine, just where the profile ends (70 mm)."""
    far_in = (distance_from("left") > 68.5) & (distance_from("left") < 70.5)
    check(
        gutter.measure([open_book("left", page=np.where(far_in, 0.5, 1.0))], Told(book_edge="left"))
    )


def test_a_glint_in_the_gutter_does_not_end_it():
    """A page that shines in a line of half a millimetre, 3 mm from the spine."""
    glint = np.abs(distance_from("left") - 3.0) < 0.26
    page = np.where(glint, 1 / light_at(distance_from("left")), 1.0)
    found = gutter.measure([open_book("left", page=page)], Told(book_edge="left"))
    name = "gutter.reach_5"
    assert value(found, name) == pytest.approx(truth(name), abs=TOLERANCE_MM)


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("cut", [0, 3])
def test_a_part_block_at_the_side_is_counted(side, cut):
    """At 300 dpi the preview has blocks of 4 px; the last 3 px of 1203 are in none."""
    light = PAPER * light_at(distance_from(side, 1200 + cut, 1600 + cut, 300))
    light = light * np.ones((1600 + cut, 1200 + cut))
    found = gutter.measure([placed(light, 300, role="open-book", noise=0.01)], Told(book_edge=side))
    for name in ("gutter.delta_L_at_2mm", "gutter.delta_L_at_5mm"):
        assert value(found, name) == pytest.approx(truth(name), abs=0.15)  # 0.25 mm are 0.7 L*


def test_page_tint_cancels():
    """Cream paper: a colour that is the same everywhere changes no more than the scale of L*."""
    tint = np.array([0.80, 0.74, 0.60])
    light = light_at(distance_from("left"))[:, :, None] * tint * np.ones((ROWS, 1, 1))
    found = gutter.measure(
        [placed(light, DPI, role="open-book", noise=0.004)], Told(book_edge="left")
    )
    paper = float(tint @ (0.2126, 0.7152, 0.0722))
    for d in (2, 5, 10):
        expected = lstar(paper) - lstar(paper * light_at(np.array(float(d))))
        assert value(found, f"gutter.delta_L_at_{d}mm") == pytest.approx(expected, abs=TOLERANCE_L)


def test_a_book_shorter_than_the_glass_under_an_open_lid():
    page = np.ones((ROWS, COLS))
    page[800:] = 0.02 / PAPER
    page[:, 700:] = 0.02 / PAPER  # and beyond its fore edge, 178 mm from the spine
    check(gutter.measure([open_book("left", page=page)], Told(book_edge="left")))


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("printed", [False, True])
def test_the_spine_is_found(side, printed):
    page = printed_page((ROWS, COLS), DPI) if printed else 1.0
    check(gutter.measure([open_book(side, page=page)], Told()))


def test_the_spine_is_found_beside_an_open_lid_and_edge_shadows():
    page = np.ones((ROWS, COLS))
    page[1000:] = 0.02 / PAPER
    page *= 1 - 0.8 * np.exp(-distance_from("right") / 0.7)
    check(gutter.measure([open_book("left", page=page)], Told()))


OPPOSITE = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}


def fan(side, begins_mm, *, wide_mm=5.0, askew=0.0):
    """Edges of the pages beneath at the fore edge, thin gaps between them, then the open lid."""
    out = distance_from(OPPOSITE[side]) * np.ones((ROWS, COLS))
    along = np.arange(ROWS)[:, None] if side in ("left", "right") else np.arange(COLS)[None]
    out = begins_mm - out + askew * along * MM / DPI  # mm beyond the page's edge
    gaps = np.cumsum(np.random.default_rng(3).uniform(0.1, 0.32, round(wide_mm / 0.21)))
    level = 0.93 - 0.25 * out / wide_mm
    for gap in gaps:
        level = np.where(np.abs(out - gap) < 0.06, 0.35 * level, level)
    return np.where(out < 0, 1.0, np.where(out < wide_mm, level, 0.02 / PAPER))


def texture():
    """Cloudy paper: 1 % over a millimetre."""
    cloud = ndimage.gaussian_filter(np.random.default_rng(8).standard_normal((ROWS, COLS)), 4)
    return 1 + 0.01 * cloud / cloud.std()


@pytest.mark.parametrize("side", SIDES)
@pytest.mark.parametrize("begins_mm", [2.0, 6.0, 12.0, 40.0])
def test_a_fan_of_page_edges_is_not_the_spine(side, begins_mm):
    """On printed and cloudy paper the side is found and the figures hold."""
    page = printed_page((ROWS, COLS), DPI) * fan(side, begins_mm) * texture()
    check(gutter.measure([open_book(side, page=page)], Told()))


def test_a_fan_that_lies_askew_is_not_the_spine_of_a_book_that_opens_flat():
    """A weak gutter, and beside the fore edge a drop that is far larger."""
    curve = {"lift": 0.3, "tau": 7.0}
    page = fan("left", 12.0, askew=np.tan(np.deg2rad(1.0)))
    check(gutter.measure([open_book("left", page=page, **curve)], Told()), **curve)


@pytest.mark.parametrize("begins_mm", [3.0, 6.0])
def test_with_hardly_a_gutter_a_fan_is_not_taken_for_one(begins_mm):
    light = PAPER * light_at(distance_from("left"), lift=0.1, tau=4.0) * fan("left", begins_mm)
    found = gutter.measure([placed(light * texture(), DPI, role="open-book", noise=0.004)], Told())
    assert all("--book-edge" in m.reason for m in of_the_page(found))


@pytest.mark.parametrize("shadow", [0.0, 0.8])
def test_without_a_gutter_it_asks_for_the_side(shadow):
    light = PAPER * (1 - shadow * np.exp(-distance_from("top") / 0.7)) * np.ones((ROWS, COLS))
    found = gutter.measure([placed(light, DPI, role="open-book", noise=0.004)], Told())
    assert not any(m.value is not None for m in found.measurements)
    assert all("--book-edge" in m.reason for m in of_the_page(found))


def refused(light, told=None):
    """Kinds of the reasons for which nothing is said of a page."""
    told = told or Told(book_edge="left")
    found = gutter.measure([placed(light, DPI, role="open-book", noise=0.004)], told)
    page = of_the_page(found)
    assert page
    assert all(m.value is None for m in page)
    return {m.reason_kind for m in page}


def test_a_side_without_a_spine_is_refused():
    assert refused(np.full((ROWS, COLS), PAPER)) == {"not-found"}


@pytest.mark.parametrize("width_mm", [3.0, 6.0, 15.0])
def test_a_flat_dark_strip_at_the_side_is_no_gutter(width_mm):
    strip = np.where(distance_from("left") < width_mm, 0.25, 1.0)
    assert refused(PAPER * strip * np.ones((ROWS, COLS))) == {"not-found"}


@pytest.mark.parametrize("width_mm", [3.0, 10.0])
def test_a_page_that_ends_before_the_image_does_is_refused(width_mm):
    ends = np.where(distance_from("left") < width_mm, 0.02 / PAPER, 1.0)
    gutter_light = light_at(np.maximum(distance_from("left") - width_mm, 0), lift=0.1, tau=4.0)
    assert refused(PAPER * ends * gutter_light * np.ones((ROWS, COLS))) == {"not-found"}


@pytest.mark.parametrize("turned", [False, True])
def test_a_spine_inside_the_image_gives_both_its_pages(turned):
    """Truth: the light at each distance is written down, exp of the distance from the fold."""
    middle = distance_from("left") - COLS / DPI * 12.7
    light = PAPER * printed_page((ROWS, COLS), DPI)
    light = light * (1 - 0.75 * np.exp(-np.abs(middle) / 6.0))
    light = np.rot90(light).copy() if turned else light
    found = gutter.measure([placed(light, DPI, role="open-book", noise=0.004)], Told())
    for distance in (5, 10):
        true = lstar(PAPER) - lstar(PAPER * (1 - 0.75 * np.exp(-distance / 6.0)))
        values = [m.value for m in found.named(f"gutter.delta_L_at_{distance}mm")]
        assert len(values) == 2
        assert values == pytest.approx([true, true], abs=1.5)


def test_the_profile_is_of_the_whole_spine():
    """The page lies closer in the middle: the figure is the median, the curves show the spread."""
    rows = np.linspace(-1, 1, ROWS)[:, None]
    light = PAPER * (1 - (0.3 + 0.4 * np.abs(rows)) * np.exp(-distance_from("left") / 5.0))
    found = gutter.measure(
        [placed(light, DPI, role="open-book", noise=0.004)], Told(book_edge="left")
    )
    expected = lstar(PAPER) - lstar(PAPER * (1 - 0.5 * np.exp(-1.0)))
    assert value(found, "gutter.delta_L_at_5mm") == pytest.approx(expected, abs=TOLERANCE_L)
    (m,) = found.named("gutter.delta_L_at_5mm")
    assert 0.1 < m.uncertainty < 2
    across, along = found.evidence
    middle, low, high = (curve.y[10] for curve in across.curves)
    assert low < middle - 1
    assert high > middle + 1
    at_2_mm, at_5_mm = along.curves
    for curve, distance in ((at_2_mm, 2.0), (at_5_mm, 5.0)):
        half = ROWS * MM / DPI / 2
        deep = 0.3 + 0.4 * np.abs(curve.x / half - 1)
        truth = lstar(PAPER) - lstar(PAPER * (1 - deep * np.exp(-distance / 5.0)))
        # A block is 0.254 mm wide; the darkening at 2 mm changes by 5 L* in a millimetre.
        np.testing.assert_allclose(curve.y, truth, atol=0.9 if distance == 2.0 else 0.5)


def test_stated_errors_are_the_scatter():
    """Thirty pages with grain of their own; they know a scatter to 13 %."""
    light = PAPER * light_at(distance_from("left", 600, 800)) * np.ones((800, 600))
    pages = [
        gutter.measure(
            [placed(light, DPI, role="open-book", noise=0.03, seed=seed)], Told(book_edge="left")
        )
        for seed in range(30)
    ]
    for name in [m.name for m in of_the_page(pages[0]) if m.value is not None]:
        found = [page.named(name)[0] for page in pages]
        scatter = np.std([m.value for m in found], ddof=1)
        stated = np.sqrt(np.mean([m.random**2 for m in found]))
        assert 0.74 < stated / scatter < 1.8, name


@pytest.mark.parametrize(
    ("light", "word"),
    [(np.full((900, 700), 0.05), "white page"), (np.full((60, 60), 0.8), "only")],
)
def test_what_cannot_be_measured_says_why(light, word):
    found = gutter.measure([placed(light, DPI, role="open-book")], Told(book_edge="left"))
    assert not any(m.value is not None for m in found.measurements)
    assert all(word in m.reason for m in of_the_page(found))


def test_without_a_book_every_figure_says_what_to_do():
    found = of_the_page(gutter.measure([], Told()))
    assert len(found) == 5 + 3 + 1 + 1
    assert all("open-book" in m.reason for m in found)


@settings(deadline=None, max_examples=8)
@given(lift=st.floats(0.2, 0.7), tau=st.floats(2, 7), gain=st.floats(0.7, 1.2))
def test_mirror_turn_and_gain(lift, tau, gain):
    light = 0.75 * light_at(distance_from("left", 600, 700), lift, tau) * np.ones((700, 600))
    cases = {"left": light, "right": light[:, ::-1], "top": light.T, "bottom": light.T[::-1]}
    name, far = "gutter.delta_L_at_5mm", "gutter.reach_5"
    expected = lstar(0.75) - lstar(0.75 * light_at(np.array(5.0), lift, tau))
    for side, each in cases.items():
        placement = placed(each, DPI, role="open-book", noise=0.003, bits=16)
        found = gutter.measure([placement], Told(book_edge=side))
        assert value(found, name) == pytest.approx(expected, abs=0.2)
    brighter = placed(gain * light, DPI, role="open-book", noise=0.003 * gain, bits=16)
    found = gutter.measure([brighter], Told(book_edge="left"))
    # Above the toe L* + 16 goes with the cube root of light, so that differences do too.
    assert value(found, name) == pytest.approx(expected * np.cbrt(gain), abs=0.2)
    assert value(found, far) >= 0


# ------------------------------------------------------------------------- from the spine


def book_behind(margin_mm, **curve):
    """The page begins so far from the spine: what lies nearer is never seen."""
    light = PAPER * light_at(distance_from("left") + margin_mm, **curve) * np.ones((ROWS, COLS))
    return placed(light, DPI, role="open-book", noise=0.004, name="book.tif")


@pytest.mark.parametrize("margin_mm", [0.4, 1.7, 3.0])
def test_with_the_dead_margin_distances_are_from_the_spine(margin_mm):
    told = Told(book_edge="left", dead_margins_mm={"left": margin_mm})
    found = gutter.measure([book_behind(margin_mm)], told)
    for distance in (5, 10, 20):
        (m,) = found.named(f"gutter.delta_L_at_{distance}mm")
        assert m.status == "ok"
        assert m.value == pytest.approx(truth(m.name), abs=TOLERANCE_L)
        steep = truth("gutter.delta_L_at_5mm") - truth("gutter.delta_L_at_10mm")
        assert m.uncertainty < steep / 5  # of the place: 0.4 mm
    for limit in (2, 5, 10):
        (m,) = found.named(f"gutter.reach_{limit}")
        assert m.value == pytest.approx(truth(m.name), abs=TOLERANCE_MM)
    (hidden,) = found.named("gutter.delta_L_at_0mm")
    if margin_mm > 1:
        assert (hidden.status, hidden.reason_kind) == ("at-least", "range")
        assert hidden.value < truth("gutter.delta_L_at_0mm")


def test_without_it_the_darkening_is_at_least_that_from_the_edge_of_the_image():
    found = gutter.measure([book_behind(2.0)], Told(book_edge="left"))
    for m in of_the_page(found):
        if m.name == "gutter.plateau":
            continue
        assert m.status == ("not-measurable" if m.name == "gutter.unseen" else "at-least")
        assert m.reason.startswith("from the edge of the image; what lies before is not seen")
        if m.value is None:
            continue
        assert m.value < truth(m.name) + TOLERANCE_L


def test_what_is_not_seen_before_the_page_is_stated_and_shifts_the_figure():
    told = Told(book_edge="left", dead_margins_mm={"left": 2.0})
    found = gutter.measure([book_behind(2.0)], told)
    (unseen,) = found.named("gutter.unseen")
    assert unseen.value == 2.0
    assert unseen.uncertainty == pytest.approx(np.hypot(0.3, 0.3))  # fold laid, scale read by eye
    across = found.evidence[0]
    assert across.x_label == "Distance from the spine, mm"
    assert across.curves[0].x[0] == pytest.approx(2.0 + 0.5 * MM / DPI)
    blind = gutter.measure([book_behind(2.0)], Told(book_edge="left")).evidence[0]
    assert blind.x_label == "Distance from the edge of the image, mm; what lies before is not seen"
    assert blind.curves[0].x[0] == pytest.approx(0.5 * MM / DPI)


def test_an_error_of_the_place_is_in_the_darkening():
    """Thirty folds laid 0.3 mm to and fro of the edge of the glass: stated errors are the scatter.

    Thirty values know a scatter to 13 %.
    """
    rng = np.random.default_rng(4)
    told = Told(book_edge="left", dead_margins_mm={"left": 1.0})
    found = [gutter.measure([book_behind(1.0 + rng.normal(0, 0.3))], told) for _ in range(30)]
    deltas = [each.named("gutter.delta_L_at_5mm")[0] for each in found]
    scatter = np.std([m.value for m in deltas], ddof=1)
    stated = np.mean([m.uncertainty for m in deltas])  # with 0.3 mm of the scale read by eye
    assert scatter * 0.9 < stated < scatter * 2


# ------------------------------------------------------------------- a side without a spine


@pytest.mark.parametrize("depth", [0.0, 0.03, 0.06, 0.1])
@pytest.mark.parametrize("reach_mm", [3.0, 10.0])
def test_a_page_that_hardly_darkens_has_a_bound_at_the_side_told(tmp_path, depth, reach_mm):
    """Light written down as 1 - depth exp(-x / reach); L* of CIE 15: 116 Y^(1/3) - 16."""
    from scanqa.qualification import qualify
    from tests.traps import cases_books as books

    made = books.book(lambda page: page * books.gutter(depth, reach_mm))(tmp_path)
    record = qualify(made, scanner="bench", told=books.LEFT).record
    assert [scan.role for scan in record.scans] == ["page"]
    at_spine = 116 * np.cbrt(books.PAPER) - 116 * np.cbrt(books.PAPER * (1 - depth))
    found = {m.name: m for m in record.measures if m.name.startswith("gutter.delta_L_at_")}
    for mm in (0, 2, 5, 10, 20):
        m = found[f"gutter.delta_L_at_{mm}mm"]
        assert (m.status, m.reason_kind) == ("at-most", "not-found")
        assert at_spine <= m.value < at_spine + 1.5
    (bound,) = (use for use in record.outcome.uses if use.use == "bound pages to the spine")
    assert (bound.fitness, bound.between) == ("not judged", ())  # it may be no book at all
