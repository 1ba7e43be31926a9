import io
import subprocess
import sys

import cv2
import numpy as np
import pytest
from pypdf import PdfReader

from scanqa.sheets import SHEET_IDS, sheet
from scanqa.sheets.papers import PAPERS
from scanqa.sheets.pdf import draw, write_sheets
from scanqa.sheets.tags import white_modules

DPI = 1200
PX_PER_MM = DPI / 25.4


def raster(pdf: bytes, dpi: int, *, page: int = 1) -> np.ndarray:
    """Page as grey codes by poppler; pixel centres at whole numbers."""
    done = subprocess.run(
        ["pdftoppm", "-r", str(dpi), "-gray", "-f", str(page), "-l", str(page), "-"],
        input=pdf,
        capture_output=True,
        check=True,
    )
    return cv2.imdecode(np.frombuffer(done.stdout, np.uint8), cv2.IMREAD_GRAYSCALE)


@pytest.fixture(scope="module")
def a4_page():
    return raster(draw(sheet("bed-sheet-a4")), DPI)


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_page_box_is_the_paper(sheet_id):
    width, height = PAPERS[sheet(sheet_id).paper]
    for page in PdfReader(io.BytesIO(draw(sheet(sheet_id)))).pages:
        box = page.mediabox  # in points of 1/72 inch: ISO 32000-1, 8.3.2.3
        assert (box.left, box.bottom) == (0, 0)
        assert float(box.width) == pytest.approx(width / 25.4 * 72, abs=0.001)
        assert float(box.height) == pytest.approx(height / 25.4 * 72, abs=0.001)


def test_a4_is_595_by_842_points():
    box = PdfReader(io.BytesIO(draw(sheet("bed-sheet-a4")))).pages[0].mediabox
    assert (round(box.width), round(box.height)) == (595, 842)  # the usual whole-point A4


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_fonts_are_embedded_subsets(sheet_id):
    reader = PdfReader(io.BytesIO(draw(sheet(sheet_id))))
    for page in reader.pages:
        fonts = page["/Resources"]["/Font"].values()
        assert fonts
        for font in (reference.get_object() for reference in fonts):
            assert font["/Subtype"] == "/TrueType"
            assert "+DejaVuSans" in font["/BaseFont"]
            assert len(font["/FontDescriptor"]["/FontFile2"].get_object().get_data()) > 1000


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_words_can_be_read_from_the_file(sheet_id):
    reader = PdfReader(io.BytesIO(draw(sheet(sheet_id))))
    text = "".join(page.extract_text() for page in reader.pages)
    assert sheet_id in text
    assert "100 %" in text
    assert sheet_id in reader.metadata.title


def test_same_bytes_in_another_process_with_another_hash_seed():
    code = (
        "import hashlib; from scanqa.sheets import SHEET_IDS, sheet; "
        "from scanqa.sheets.pdf import draw; "
        "print([hashlib.sha256(draw(sheet(i))).hexdigest() for i in reversed(SHEET_IDS)])"
    )
    runs = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={"PYTHONHASHSEED": seed, "TZ": zone, "PATH": "/usr/bin:/bin"},
            capture_output=True,
            check=True,
            text=True,
        ).stdout
        for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo"))
    }
    assert len(runs) == 1


def test_squares_lie_where_the_geometry_says(a4_page):
    """Centre, size and tilt of each black square on a page drawn by someone else's renderer."""
    (piece,) = sheet("bed-sheet-a4").pieces
    for tag in piece.tags:
        x, y = (round(value * PX_PER_MM) for value in tag.centre_mm)
        half = round(11 * PX_PER_MM)  # the square and its white surroundings, nothing else
        left, top = x - half, y - half
        crop = a4_page[top : y + half, left : x + half]
        inked = (crop < 128).astype(np.uint8)
        cv2.floodFill(inked, None, (0, 0), 2)  # what is left at 0 are the white modules
        rows, columns = np.nonzero(inked != 2)
        found = np.array([columns.mean() + left + 0.5, rows.mean() + top + 0.5]) / PX_PER_MM
        assert np.hypot(*(found - tag.centre_mm)) < 0.005  # mm; a pixel is 0.021
        assert len(rows) / PX_PER_MM**2 == pytest.approx(16.0**2, rel=0.001)
        corners = np.array(tag.corners_mm)
        true = np.degrees(np.arctan2(*(corners[1] - corners[0])[::-1]))
        outline = np.stack([columns, rows], axis=1).astype(np.int32)
        angle = cv2.minAreaRect(cv2.convexHull(outline))[2]
        assert (angle - true + 45) % 90 - 45 == pytest.approx(0, abs=0.1)  # degrees


def test_patches_have_their_cover_and_place(a4_page):
    (piece,) = sheet("bed-sheet-a4").pieces
    for patch in piece.patches:
        left, top, right, bottom = (round(value * PX_PER_MM) for value in patch.box_mm)
        inner = a4_page[top + 2 : bottom - 2, left + 2 : right - 2]
        assert np.all(np.abs(inner / 255 - (1 - patch.cover)) < 0.005)
        if patch.cover:
            ring = a4_page[top - 40 : bottom + 40, left - 40 : right + 40].copy()
            ring[38:-38, 38:-38] = 255
            assert ring.min() == 255


def test_bars_have_the_length_written_on_them(a4_page):
    page = sheet("bed-sheet-a4")
    across, down = (
        float(text.words.removesuffix(" mm")) for text in page.words if text.words.endswith(" mm")
    )
    # The middle of the gaps left of, and below, all that is measured: only the bars cross these.
    row = a4_page[round((255.58 - 2.5) * PX_PER_MM)] < 128
    column = a4_page[:, round((41.25 + 2.5) * PX_PER_MM)] < 128
    ends = np.flatnonzero(row) / PX_PER_MM
    assert ends[-1] - ends[0] - 0.15 == pytest.approx(across, abs=0.05)  # ticks are 0.15 mm wide
    within = np.flatnonzero(column) / PX_PER_MM
    within = within[(within > 55) & (within < 245)]
    assert within[-1] - within[0] - 0.15 == pytest.approx(down, abs=0.05)


@pytest.mark.parametrize("sheet_id", SHEET_IDS)
def test_opencv_reads_all_tags_where_they_should_be(sheet_id):
    page = sheet(sheet_id)
    dpi = 150
    image = raster(draw(page), dpi)
    detector = cv2.aruco.ArucoDetector(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    )
    corners, ids, _ = detector.detectMarkers(image)
    tags = {tag.id: tag for piece in page.pieces for tag in piece.tags}
    assert sorted(ids.ravel()) == sorted(tags)
    for tag_id, found in zip(ids.ravel(), corners, strict=True):
        found_mm = (found[0] + 0.5) * 25.4 / dpi
        assert np.abs(found_mm - tags[tag_id].corners_mm).max() < 0.3  # mm, under two pixels


@pytest.mark.parametrize("dpi", [137, 301])
def test_no_seams_between_modules(dpi):
    """Between two modules of one colour a renderer leaves no line, at any resolution."""
    page = sheet("bed-sheet-a4")
    image = raster(draw(page), dpi)
    checked = 0
    for tag in page.pieces[0].tags:
        corner, right, _, down = np.array(tag.corners_mm)
        modules = white_modules(tag.id)
        for row in range(8):
            for column in range(7):
                if modules[row][column] == modules[row][column + 1]:
                    at = (
                        corner
                        + (column + 1) / 8 * (right - corner)
                        + (row + 0.5) / 8 * (down - corner)
                    )
                    x, y = np.round(at * dpi / 25.4 - 0.5).astype(int)
                    assert set(image[y, x - 1 : x + 2]) == {255 if modules[row][column] else 0}
                    checked += 1
    assert checked > 500


def test_files_are_written_whole_and_nothing_else(tmp_path):
    out = tmp_path / "new" / "folder"
    paths = write_sheets(["a4", "letter"], out)
    ids = [sheet_id for sheet_id in SHEET_IDS if not sheet_id.endswith("-a3")]
    assert sorted(path.name for path in paths) == sorted(f"{sheet_id}.pdf" for sheet_id in ids)
    assert sorted(out.iterdir()) == sorted(paths)
    assert all(path.read_bytes() == draw(sheet(path.stem)) for path in paths)
    assert write_sheets(["a4", "letter"], out) == paths  # replaces what is there


def test_ramp_ticks_stand_at_their_heights():
    """Height is proportional to the way up the slope: 12 mm at 60 mm, so 5 mm for each."""
    page = sheet("gutter-ramp-a4")
    _, slope = page.pieces
    (left, foot), _ = slope.rise.foot_mm
    image = raster(draw(page), 600)
    column = image[:, round((left + 61.5) * 600 / 25.4)] < 128  # through all the ticks
    rows = np.flatnonzero(column)
    runs = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
    centres = np.array([run.mean() + 0.5 for run in runs]) * 25.4 / 600
    ticks = centres[(centres > foot + 1) & (centres < foot + 59)]
    expected = foot + np.arange(1, 24) * 0.5 * 60 / 12
    assert ticks == pytest.approx(expected, abs=0.06)  # poppler snaps such lines to whole pixels


def test_only_the_back_print_has_a_second_page():
    for sheet_id in SHEET_IDS:
        pages = PdfReader(io.BytesIO(draw(sheet(sheet_id)))).pages
        assert len(pages) == (2 if sheet_id.startswith("back-print") else 1)


def test_back_is_the_mirror_image_of_what_shows_through():
    page = sheet("back-print-a4")
    dpi = 150
    seen_through = raster(draw(page), dpi, page=2)[:, ::-1]
    (piece,) = page.pieces
    for patch in piece.back_patches:
        left, top, right, bottom = (round(value * dpi / 25.4) for value in patch.box_mm)
        inner = seen_through[top:bottom, left:right]
        assert set(np.unique(inner)) == {0 if patch.cover else 255}, patch.name
