import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from scanqa.model import Curve
from scanqa.report.build import page
from scanqa.report.draw.curves import envelope
from scanqa.report.draw.figures import draw
from scanqa.report.sections.pictures import CROP_PX, CROP_ROWS
from scanqa.report.view import Crop, Lines, Map, Pointer
from tests.report import synthetic

MAIN = Path(__file__).parents[2]


@settings(deadline=None, max_examples=60)
@given(seed=st.integers(0, 99), n=st.integers(1, 3000), columns=st.integers(2, 100))
def test_an_envelope_keeps_the_extremes_and_invents_nothing(seed, n, columns):
    rng = np.random.default_rng(seed)
    x, y = np.arange(n, dtype=float), rng.normal(size=n)
    ex, ey = envelope(x, y, columns)
    assert len(ex) <= max(2 * columns, 1)
    assert ey.min() == y.min()
    assert ey.max() == y.max()
    assert np.all(np.diff(ex) > 0)
    assert {*zip(ex, ey, strict=True)} <= {*zip(x, y, strict=True)}


def test_a_line_one_pixel_wide_is_not_lost_among_seven_thousand():
    y = np.zeros(7016)
    y[4321] = -0.5
    ex, ey = envelope(np.arange(7016.0), y, 600)
    assert ex[np.argmin(ey)] == 4321


def test_another_process_draws_the_same_bytes(reports):
    code = (
        "import sys\n"
        "from tests.report.synthetic import heron\n"
        "from scanqa.report.pages import write_report\n"
        "write_report(heron(), sys.argv[1])"
    )
    other = reports["heron"].with_name("again.html")
    subprocess.run(
        [sys.executable, "-c", code, str(other)],
        cwd=MAIN,
        env={"PYTHONHASHSEED": "7", "PATH": ""},
        check=True,
    )
    assert other.read_bytes() == reports["heron"].read_bytes()


def lines(**changes):
    x = np.linspace(0, 1, 9)
    given = {
        "title": "t",
        "caption": "c",
        "alt": "a",
        "x_label": "x",
        "y_label": "y",
        "curves": (Curve("one", x, x), Curve("two", x, 1 - x)),
    }
    return Lines(**{**given, **changes})


def test_ids_are_unique_among_all_drawings_of_two_pictures():
    drawn = [draw(lines(wide=True), name) for name in ("a", "b")]
    ids = [
        i for d in drawn for svg in (d.wide, d.narrow) for i in re.findall(r' id="([^"]+)"', svg)
    ]
    assert len(ids) > 20
    assert len(ids) == len(set(ids))
    for d in drawn:
        for svg in (d.wide, d.narrow):
            used = re.findall(r'(?:href="#|url\(#)([^")]+)', svg)
            assert used
            assert set(used) <= set(re.findall(r' id="([^"]+)"', svg))


def test_words_stay_words_and_are_escaped():
    svg = draw(lines(x_label="a < b & $\\frac{$", y_label="ΔL*"), "n").wide
    assert "a &lt; b &amp; $\\frac{$" in svg
    assert "ΔL*" in svg


def test_everything_marked_is_in_the_picture():
    marks = tuple(Pointer(0.5 + 0.001 * at, f"m{at}", "") for at in range(9))
    svg = draw(lines(pointers=marks, wide=True), "n").narrow
    assert re.findall(r">(m\d)<", svg) == [f"m{at}" for at in range(9)]


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("shape", [(8, 8), (8, 8, 1), (8, 8, 3)])
def test_crops_of_every_kind_of_pixel_can_be_drawn(dtype, shape):
    image = (np.arange(np.prod(shape)).reshape(shape) % 256).astype(dtype)
    svg = draw(Crop("t", "c", "a", image, (0, 0, 1, 1)), "n").wide
    assert "data:image/png;base64," in svg


def test_a_curve_that_needs_no_room_is_drawn_once():
    assert draw(lines(), "n").narrow == ""


def test_axes_never_hide_a_sum_in_a_corner():
    x = np.arange(9.0)
    svg = draw(lines(curves=(Curve("", x, 100 + 1e-3 * x),)), "n").wide
    assert "1e2" not in svg
    assert ">100.008<" in svg


def test_a_map_with_holes_can_be_drawn():
    image = np.ones((300, 200))
    image[:, :20] = np.nan
    assert "data:image/png" in draw(Map("t", "c", "a", image, (0, 0, 200, 300), "%"), "n").wide


def test_pictures_say_in_numbers_what_they_show():
    whole = page(synthetic.heron())
    pictures = {
        p.title: p
        for section in whole.sections
        for p in (*section.pictures, *section.details, whole.card.glass)
    }
    assert "Marked: line 1 at 88.14" in pictures["Mean of all rows, column by column"].alt
    glass = pictures["The glass from above"].alt
    assert "1, Dark line at 88.1 mm: a line at x 88 mm, from y 0 to 420 mm" in glass
    for picture in pictures.values():
        assert re.search(r"\d", picture.alt), picture.title


def test_a_crop_too_large_is_cut_to_its_middle_with_true_places():
    from scanqa.model import Evidence
    from scanqa.report.sections.pictures import of_evidence

    image = np.zeros((1000, 600, 3), np.uint8)
    e = Evidence("streaks", "crop", "t", image=image, extent_mm=(10.0, 0.0, 70.0, 100.0))
    ((crop,), left_out) = of_evidence([e], [])
    assert left_out == 0
    assert crop.image.shape[:2] == (CROP_ROWS, CROP_PX)
    # 0.1 mm a pixel: the middle 32 mm of 60 and 12 mm of 100
    assert np.allclose(crop.extent_mm, (24.0, 44.0, 56.0, 56.0))
