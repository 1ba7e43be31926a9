"""Paper without a sheet is known by its looks: pages, blank beds and photographs.

The photographs and the two scanned pages are those that scikit-image carries in its wheel; pages
of print are set by reportlab and drawn by poppler.
"""

import re

import numpy as np
import pytest
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen import canvas
from skimage import data, transform

from scanqa.locate import locate
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear
from scanqa.scans.overview import overview
from tests.independent import MM, degrade, raster, srgb_encode

DPI = 100
SPREAD_MM = (297.0, 210.0)
WORDS = (
    "The Tarn Pippin bears early and keeps until March; grafts on dwarf stock crop in the third "
    "year and want a warm wall. Sent out from the nursery at Low Beck, carriage paid. "
) * 3


def placed(codes, *, file_dpi=DPI, **options):
    codes = codes if codes.dtype != float else np.rint(codes * 255).astype(np.uint8)
    scan = ArrayScan(codes, name="holiday.tif", dpi=file_dpi and (file_dpi, file_dpi))
    (placement,) = locate(scan, overview(scan), linear(scan), **options)
    return placement


def role_of(codes, **options):
    return placed(codes, **options).role


# ------------------------------------------------------------------------------------- pages


def _column(page, left, width, top, bottom, size, leading):
    pt = 72 / MM
    page.setFont("Times-Roman", size)
    letters = int(width * pt / (0.42 * size))
    rows = np.arange(top, bottom, leading)
    for number, y in enumerate(rows):
        start = (7 * number) % 40
        page.drawString(left * pt, (SPREAD_MM[1] - y) * pt, WORDS[start : start + letters])


def _picture(page, pixels, left, top, side):
    pt = 72 / MM
    from PIL import Image

    image = ImageReader(Image.fromarray(pixels))
    page.drawImage(image, left * pt, (SPREAD_MM[1] - top - side) * pt, side * pt, side * pt)


@pytest.fixture(scope="module")
def spread(tmp_path_factory):
    """Reflectance of an open spread: two pages of print."""
    folder = tmp_path_factory.mktemp("pages")

    def drawn(kind):
        path = folder / f"{kind}.pdf"
        page = canvas.Canvas(str(path), pagesize=tuple(v * 72 / MM for v in SPREAD_MM))
        if kind == "text":
            _column(page, 15, 118, 18, 195, 10, 4.2)
            _column(page, 160, 120, 18, 195, 10, 4.2)
        elif kind == "dense":
            for left in (8, 55, 102, 155, 202, 249):
                _column(page, left, 42, 10, 203, 7, 2.6)
        elif kind == "pictures":
            _column(page, 15, 118, 18, 90, 9, 3.8)
            _picture(page, data.camera(), 20, 100, 85)
            _picture(page, data.astronaut(), 165, 15, 85)
            _column(page, 160, 120, 110, 195, 9, 3.8)
        elif kind == "title":
            page.setFont("Times-Roman", 24)
            page.drawString(500, 300, "Catalogue 1931")
        page.showPage()
        page.save()
        return raster(path, 200)

    return drawn


def gutter(depth, reach_mm, at_mm):
    x = np.abs(np.arange(int(SPREAD_MM[0] / MM * DPI)) / DPI * MM - at_mm)
    return 1 - depth * np.exp(-x / reach_mm)


@pytest.mark.parametrize("kind", ["text", "dense", "pictures"])
@pytest.mark.parametrize(("depth", "at_mm"), [(0.85, 0.0), (0.85, 148.5), (0.5, 297.0)])
def test_printed_pages_with_a_gutter_are_an_open_book(spread, kind, depth, at_mm):
    light = gutter(depth, 7.0, at_mm)
    page = spread(kind)
    codes = degrade(page, dpi_from=200, dpi_to=DPI, noise=0.01, illumination=light)
    assert role_of(codes) == "open-book"
    assert role_of(np.rot90(codes).copy()) == "open-book"


@pytest.mark.parametrize("kind", ["text", "dense", "pictures"])
def test_printed_pages_without_a_gutter_are_a_page(spread, kind):
    codes = degrade(spread(kind), dpi_from=200, dpi_to=DPI, noise=0.01)
    assert role_of(codes) == "page"
    assert role_of(np.rot90(codes).copy()) == "page"


@pytest.mark.parametrize("kind", ["title", "white"])
def test_white_pages_are_an_open_book_if_the_user_says_where_the_spine_lies(spread, kind):
    light = gutter(0.8, 8.0, 297.0)
    codes = degrade(spread(kind), dpi_from=200, dpi_to=DPI, noise=0.01, illumination=light)
    assert role_of(codes, book_edge="right") == "open-book"
    for told in (None, "left", "top"):  # a lid in the shadow of its frame looks the same
        assert role_of(codes, book_edge=told) == "page"


def test_a_book_that_leaves_part_of_the_bed_bare(spread):
    codes = degrade(spread("text"), dpi_from=200, dpi_to=DPI, noise=0.005)
    codes[-160:] = 12
    codes[:, :90] = 12
    assert role_of(codes) == "page"  # no spine is to be seen
    light = gutter(0.8, 7.0, 297.0)
    codes = degrade(spread("text"), dpi_from=200, dpi_to=DPI, noise=0.005, illumination=light)
    codes[-160:] = 12
    codes[:, :90] = 12
    assert role_of(codes) == "open-book"


def test_a_photographed_text_is_a_page():
    assert role_of(enlarged(data.text())) == "page"


def test_a_photographed_page_that_darkens_to_one_side_is_not_refused():
    assert role_of(enlarged(data.page())) in ("page", "open-book")  # whether bound is not known


# ------------------------------------------------------------------------------ blank and dark


def bed(level=0.85, *, noise=0.01, shape=(1100, 800), seed=3):
    return level + noise * np.random.default_rng(seed).standard_normal(shape)


def codes_of(light):
    return np.rint(255 * srgb_encode(light)).astype(np.uint8)


def test_plain_paper_is_blank():
    assert role_of(codes_of(bed())) == "blank"
    assert role_of(codes_of(bed(0.35))) == "blank"  # underexposed
    assert role_of(codes_of(bed(0.85, noise=0.02))) == "blank"


def test_dust_streaks_and_shadows_leave_it_blank():
    light = bed()
    rng = np.random.default_rng(5)
    for row, col in rng.integers(0, (1090, 790), (300, 2)):
        light[row : row + 4, col : col + 3] *= 0.5
    light[:, rng.integers(0, 800, 12)] *= 0.9
    light *= 1 - 0.5 * np.exp(-np.arange(800) / 8)  # 2 mm edge shadow
    light[-10:] = 0.02  # a dead margin
    assert role_of(codes_of(light)) == "blank"


@pytest.mark.parametrize("axis", [0, 1])
@pytest.mark.parametrize("flip", [False, True])
def test_a_blank_bed_may_be_shaded_by_forty_percent(axis, flip):
    shape = (1100, 800)
    fall = 1 - 0.4 * np.exp(-np.arange(shape[axis]) / 80)  # over 20 mm
    fall = fall[::-1] if flip else fall
    light = bed() * (fall[:, None] if axis == 0 else fall)
    assert role_of(codes_of(light)) == "blank"


def test_the_lamp_may_fall_off_toward_both_ends():
    x = np.linspace(-1, 1, 800)
    assert role_of(codes_of(bed() * (1 - 0.25 * x**2))) == "blank"


def test_yellowed_paper_is_blank():
    light = bed()[:, :, None] * np.array([0.95, 0.85, 0.6])
    assert role_of(codes_of(light)) == "blank"


def test_a_stroke_of_a_pen_and_a_hair_leave_it_blank_but_words_and_a_drawing_do_not():
    light = bed()
    light[300:560, 400:402] *= 0.3  # 66 mm, half a millimetre wide
    rows = np.arange(600, 700)
    light[rows, 200 + (rows - 600) // 2] *= 0.5
    assert role_of(codes_of(light)) == "blank"
    drawing = light.copy()
    for column in (100, 250, 550, 700):
        drawing[300:700, column : column + 2] *= 0.3
    assert role_of(codes_of(drawing)) == "page"
    words = bed()
    for row in range(300, 420, 17):
        for column in range(200, 600, 9):
            words[row : row + 7, column : column + 2] *= 0.2
            words[row + 3, column : column + 6] *= 0.2
    assert role_of(codes_of(words)) == "page"


def test_black_card_is_dark():
    light = bed(0.03, noise=0.004)
    light[:, :15] += 0.02  # stray light at one side
    assert role_of(codes_of(light)) == "dark"


# ------------------------------------------------------------------------------- photographs


def enlarged(pixels):
    """As a scan of a print: 900 px along its longer side."""
    scale = 900 / max(pixels.shape)
    shape = tuple(int(scale * n) for n in pixels.shape[:2])
    grown = transform.resize(pixels[..., :3] if pixels.ndim == 3 else pixels, shape, order=1)
    return np.rint(255 * grown).astype(np.uint8)


PHOTOGRAPHS = [
    "astronaut",
    "brick",
    "camera",
    "cat",
    "cell",
    "clock",
    "coffee",
    "coins",
    "grass",
    "gravel",
    "hubble_deep_field",
    "immunohistochemistry",
    "microaneurysms",
    "moon",
    "retina",
    "rocket",
    "colorwheel",
]


@pytest.mark.parametrize("name", PHOTOGRAPHS)
@pytest.mark.parametrize("dpi", [100, 600])
def test_a_photograph_is_a_picture(name, dpi):
    assert role_of(enlarged(getattr(data, name)()), file_dpi=dpi) == "picture"


def test_a_photograph_may_be_named_a_book():
    assert role_of(enlarged(data.coffee()), role="open-book") == "open-book"


def test_a_small_print_on_white_is_not_a_book():
    codes = codes_of(bed(noise=0.005))
    photo = enlarged(data.camera())[::2, ::2]
    codes[300 : 300 + len(photo), 200 : 200 + photo.shape[1]] = photo
    assert role_of(codes) in ("page", "picture")


def test_paper_without_dpi_is_known_but_not_its_size():
    assert placed(codes_of(bed()), file_dpi=None).dpi_source == "assumed"
    assert role_of(codes_of(bed()), file_dpi=None) == "blank"
    assert placed(codes_of(bed()), file_dpi=None, dpi=100).dpi_source == "option"


# ------------------------------------------------------------------------------- told blank


def test_told_blank_only_the_plain_part_counts_and_the_rest_is_told():
    """Two fifths of the bed hold dark bars; truth is where they were drawn."""
    light = bed()
    light[:440:6] *= 0.3
    named = placed(codes_of(light), role="blank")
    assert named.role == "blank"
    (note,) = named.notes
    share = float(re.search(r"(\d+)% of it is not plain paper", note)[1])
    assert share == pytest.approx(40, abs=100 * 12.7 / 280)  # to a tile
    left, top, right, bottom = named.paper_mm
    tile = 12.7
    assert top == pytest.approx(440 * MM / DPI, abs=tile)
    assert (left, right, bottom) == pytest.approx((0, 800 * MM / DPI, 1100 * MM / DPI), abs=tile)
    corners = [(left, top), (right, top), (right, bottom), (left, bottom)]
    assert np.abs(np.subtract(named.border_mm, corners)).max() <= 0.005


@pytest.mark.parametrize("told", [None, "blank"])
def test_noise_makes_no_paper_unplain(told):
    """A small image at 300 dpi, whose preview averages nothing: 6.5 % of noise on each pixel."""
    light = bed(0.8, noise=0.052, shape=(1400, 1000))
    named = placed(codes_of(np.clip(light, 0, 1)), file_dpi=300, role=told)
    assert (named.role, named.paper_mm) == ("blank", None)


def test_told_blank_a_shaded_bed_counts_whole():
    light = bed() * (1 - 0.5 * np.exp(-np.arange(800) / 40))
    named = placed(codes_of(light), role="blank")
    assert (named.role, named.paper_mm, named.notes) == ("blank", None, ())
    assert named.border_mm == ()
