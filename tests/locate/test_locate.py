"""Sheets are found where they lie: poppler draws them, closed forms say where.

Tolerances are on the paper. "Site" is either end of a slanted edge.
"""

import cv2
import numpy as np
import pytest

from scanqa.errors import MirroredScan, UnreadableScan
from scanqa.locate import locate
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear
from scanqa.scans.overview import overview
from scanqa.sheets import sheet
from scanqa.sheets.pdf import draw
from tests.independent import MM, Pose, degrade, raster

SITE_UM = 20.0  # aim: a fifth of the 0.1 mm that every measure can bear
CORNER_RMS_PX = 0.05
MIDDLE_MM = (105.0, 148.5)


@pytest.fixture(scope="module")
def pdf(tmp_path_factory):
    folder = tmp_path_factory.mktemp("sheets")

    def path(sheet_id):
        file = folder / f"{sheet_id}.pdf"
        if not file.exists():
            file.write_bytes(draw(sheet(sheet_id)))
        return file

    return path


def scanned(pdf_path, pose, dpi, *, from_dpi=600, **how):
    how = {"blur_sigma_px": 0.5, "noise": 0.005} | how
    return degrade(raster(pdf_path, from_dpi, pose=pose), dpi_from=from_dpi, dpi_to=dpi, **how)


SLIGHT = Pose(turn_deg=1.3, shift_mm=(0.4, -0.7), about_mm=MIDDLE_MM)


@pytest.fixture(scope="module")
def bed(pdf):
    """A bed sheet at 300 dpi, turned by 1.3°."""
    return scanned(pdf("bed-sheet-a4"), SLIGHT, 300)


def found(pixels, *, dpi=300, **options):
    scan = ArrayScan(pixels, name="bed.tif", dpi=None if dpi is None else (dpi, dpi))
    return locate(scan, overview(scan), linear(scan), **options)


def sites_mm(piece):
    return np.array([end for edge in piece.edges for end in (edge.start_mm, edge.end_mm)])


def site_error_um(placement, pose, dpi, *, origin_px=(0.0, 0.0)):
    """Largest distance of a site from its true place."""
    points = sites_mm(placement.piece)
    off = placement.sheet_px(points) - (pose.px(points, dpi) - origin_px)
    return 1e3 * MM / dpi * np.hypot(*off.T).max()


def corner_errors_px(placement, pose, dpi):
    tags = {tag.id: tag for tag in placement.piece.tags}
    truth = [pose.px(tags[number].corners_mm, dpi) for number in placement.tags]
    return placement.corners_px - np.array(truth)


def quarter_turned(pose_px, quarters, shape):
    """Where pixels go when `np.rot90(…, -1)` turns an image clockwise by quarters."""
    rows, columns = shape[:2]
    for _ in range(quarters):
        pose_px = np.stack([rows - 1 - pose_px[:, 1], pose_px[:, 0]], axis=1)
        rows, columns = columns, rows
    return pose_px


@pytest.mark.parametrize(
    ("dpi", "from_dpi", "turn", "noise"),
    [
        (100, 600, -1.3, 0.01),
        (150, 600, 0.0, 0.02),
        (300, 1200, 2.0, 0.005),
        (300, 1200, 5.0, 0.02),
        (300, 1200, -5.15, 0.005),
        (600, 1200, -0.6, 0.01),
    ],
)
def test_every_site_lies_where_it_was_printed(pdf, dpi, from_dpi, turn, noise):
    pose = Pose(turn_deg=turn, shift_mm=(-0.8, 0.3), about_mm=MIDDLE_MM)
    height = 297 if from_dpi < 1200 else 120  # the upper part is enough to wait for
    picture = raster(pdf("bed-sheet-a4"), from_dpi, pose=pose, size_mm=(210, height))
    pixels = degrade(picture, dpi_from=from_dpi, dpi_to=dpi, blur_sigma_px=0.5, noise=noise)
    (placement,) = found(pixels, dpi=dpi)
    assert placement.sheet.id == "bed-sheet-a4"
    assert placement.role == "bed-sheet"
    if height == 297:
        assert len(placement.tags) >= 33  # a turn by 5° pushes two off the glass
    assert site_error_um(placement, pose, dpi) < SITE_UM
    # poppler's own edges lie 0.9 µm outside at 1200 dpi, 1.8 µm at 600 dpi
    assert np.sqrt((corner_errors_px(placement, pose, dpi) ** 2).mean()) < CORNER_RMS_PX
    assert placement.residual_um < 0.05 * 1e3 * MM / dpi


def test_the_border_of_the_paper_lies_where_the_page_was_laid(bed):
    (placement,) = found(bed)
    page = np.array([(0, 0), (210, 0), (210, 297), (0, 297)])
    truth = (SLIGHT.px(page, 300) + 0.5) * MM / 300
    assert np.abs(np.array(placement.border_mm) - truth).max() < 0.1  # mm, outside all tags


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_turning_the_image_turns_the_placement(bed, quarters):
    (placement,) = found(np.rot90(bed, -quarters).copy())
    assert placement.rotation_deg == 90 * quarters
    points = sites_mm(placement.piece)
    truth = quarter_turned(SLIGHT.px(points, 300), quarters, bed.shape)
    assert np.abs(placement.sheet_px(points) - truth).max() * MM / 300 * 1e3 < SITE_UM


def test_three_tags_are_enough(bed):
    tags = sheet("bed-sheet-a4").pieces[0].tags
    last = SLIGHT.px(np.concatenate([tags[n].corners_mm for n in (0, 1, 5)]), 300).max(axis=0)
    crop = bed[: int(last[1]) + 30, : int(last[0]) + 30].copy()
    # A fourth tag is in the crop too: cover it with paper.
    col, row = SLIGHT.px([tags[6].centre_mm], 300)[0].astype(int)
    crop[row - 140 :, col - 140 :] = 240
    (placement,) = found(crop)
    assert set(placement.tags) == {tags[0].id, tags[1].id, tags[5].id}
    points = sites_mm(placement.piece)
    truth = SLIGHT.px(points, 300)
    shown = np.all(truth < np.array(crop.shape[1::-1]), axis=1)
    off = (placement.sheet_px(points) - truth)[shown]
    assert np.abs(off).max() * MM / 300 * 1e3 < SITE_UM


def test_a_tag_cut_by_the_border_is_left_out(bed):
    tag = sheet("bed-sheet-a4").pieces[0].tags[0]
    right = SLIGHT.px(tag.corners_mm, 300)[:, 0].max()
    crop = bed[:, int(right) - 12 :]
    (placement,) = found(crop)
    assert tag.id not in placement.tags
    origin = (int(right) - 12, 0)
    assert site_error_um(placement, SLIGHT, 300, origin_px=origin) < SITE_UM


@pytest.mark.parametrize("quality", [90, 50])
def test_jpeg(bed, quality):
    done, data = cv2.imencode(".jpg", bed, [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert done
    (placement,) = found(cv2.imdecode(data, cv2.IMREAD_UNCHANGED))
    assert site_error_um(placement, SLIGHT, 300) < SITE_UM


@pytest.mark.parametrize(("gain", "slope"), [(0.15, 0.0), (1.6, 0.0), (0.9, 0.55)])
def test_exposure_and_uneven_light(pdf, gain, slope):
    light = 1 - slope * np.linspace(0, 1, 1653) ** 2
    pixels = scanned(pdf("bed-sheet-a4"), SLIGHT, 200, gain=gain, illumination=light)
    (placement,) = found(pixels, dpi=200)
    assert len(placement.tags) == 35
    assert site_error_um(placement, SLIGHT, 200) < SITE_UM


def test_sixteen_bit_colour(pdf):
    shifts = ((0.0, 0.0), (0.0, 0.0), (0.0, 0.0))
    pixels = scanned(
        pdf("bed-sheet-a4"), SLIGHT, 200, from_dpi=400, bits=16, channel_shifts_px=shifts
    )
    assert pixels.dtype == np.uint16
    assert pixels.shape[2] == 3
    (placement,) = found(pixels, dpi=200)
    assert site_error_um(placement, SLIGHT, 200) < SITE_UM


def test_without_a_dpi_the_sheet_says_it(bed):
    (placement,) = found(bed, dpi=None)
    assert placement.dpi_source == "sheet"
    assert placement.dpi == pytest.approx((300, 300), rel=1e-4)
    assert site_error_um(placement, SLIGHT, 300) < SITE_UM


@pytest.mark.parametrize("wrong", [72, 150, 600, 1200])
def test_a_wrong_dpi_is_put_right_by_the_sheet(bed, wrong):
    (placement,) = found(bed, dpi=wrong)
    assert placement.dpi_source == "sheet"
    assert placement.dpi == pytest.approx((300, 300), rel=1e-4)
    assert any(f"says {wrong}" in note and "300.0 dpi" in note for note in placement.notes)


def test_a_stated_dpi_goes_before_the_file(bed):
    scan = ArrayScan(bed, dpi=(72, 72))
    (placement,) = locate(scan, overview(scan), linear(scan), dpi=300)
    assert (placement.dpi, placement.dpi_source, placement.notes) == ((300, 300), "option", ())


def test_a_mirrored_scan_is_refused(bed):
    with pytest.raises(MirroredScan, match=r"bed\.tif: is mirrored"):
        found(bed[:, ::-1].copy())


def test_a_sheet_that_lies_face_up_is_refused(bed):
    """Its tags shine through the paper, mirrored and pale."""
    pale = (230 - 0.12 * (255 - bed[:, ::-1].astype(float))).round().astype(np.uint8)
    with pytest.raises(UnreadableScan, match=r"from behind.*lay its printed side on the glass"):
        found(pale)


def test_the_user_names_the_role(bed):
    assert [p.role for p in found(bed, role="claim")] == ["claim"]
    (named,) = found(bed, role="blank")  # hardly any of it is plain paper
    assert (named.role, named.sheet) == ("picture", None)
    assert any("no part is large enough" in note for note in named.notes)


def test_a_named_sheet_that_is_not_there():
    with pytest.raises(UnreadableScan, match="shows no tags of a bed-sheet sheet"):
        found(np.full((500, 400), 230, np.uint8), role="bed-sheet")


def test_the_slope_of_a_wedge_does_not_say_the_dpi(pdf):
    """Seen from below, the slope is shorter by its cosine; the flat part keeps its length."""
    page = sheet("gutter-ramp-a4")
    flat = next(piece for piece in page.pieces if piece.rise is None)
    slope = next(piece for piece in page.pieces if piece.rise is not None)
    cosine = np.sqrt(1 - (slope.rise.height_mm / slope.rise.length_mm) ** 2)
    whole = scanned(pdf(page.id), None, 200, from_dpi=600)
    short = scanned(pdf(page.id), Pose(stretch=(1.0, cosine)), 200, from_dpi=600)
    fold = Pose().px(slope.rise.foot_mm, 200)[0][1]
    low = Pose().px(slope.outline_mm, 200)[:, 1].max()
    if low <= fold + 2:  # the slope lies above the fold on the page
        glass = np.concatenate([short[: round(fold * cosine)], whole[round(fold) :]])
    else:
        glass = np.concatenate([whole[: round(fold)], short[round(fold * cosine) :]])
    placements = {p.piece.name: p for p in found(glass, dpi=None)}
    assert set(placements) == {flat.name, slope.name}
    for placement in placements.values():
        assert placement.role == "gutter-ramp"
        assert placement.dpi == pytest.approx((200, 200), rel=5e-4)
    scale = np.hypot(*placements[slope.name].to_px[:, :2])
    assert scale[1] / scale[0] == pytest.approx(cosine, abs=1e-3)


# --------------------------------------------------------------------- strips, strays, pairs


@pytest.fixture(scope="module")
def strips(pdf):
    """The page of edge strips at 200 dpi, uncut, and the pixel box of each strip."""
    pixels = scanned(pdf("edge-strip-a4"), None, 200)
    boxes = {}
    for piece in sheet("edge-strip-a4").pieces:
        outline = Pose().px(piece.outline_mm, 200)
        left, top = np.ceil(outline.min(0)).astype(int).clip(0)
        right, bottom = np.floor(outline.max(0)).astype(int)
        boxes[piece.name] = (left, top, right, bottom)
    return pixels, boxes


def laid(glass, strips, name, at, *, quarters=0):
    """Lay a cut strip on the glass; returns where its sheet points go."""
    pixels, boxes = strips
    left, top, right, bottom = boxes[name]
    strip = pixels[top:bottom, left:right]
    turned = np.rot90(strip, -quarters)
    col, row = at
    glass[row : row + turned.shape[0], col : col + turned.shape[1]] = turned

    def px(points_mm):
        own = Pose().px(points_mm, 200) - (left, top)
        return quarter_turned(own, quarters, strip.shape) + at

    return px


def test_each_strip_is_placed_on_its_own(strips):
    glass = np.full((2338, 1653, 1), 60, np.uint8)
    truth = {
        "strip-left": laid(glass, strips, "strip-left", (0, 0)),
        "strip-top": laid(glass, strips, "strip-top", (560, 1100), quarters=1),
        "strip-right": laid(glass, strips, "strip-right", (500, 1800), quarters=2),
    }
    placements = found(glass, dpi=200)
    assert {p.piece.name for p in placements} == set(truth)
    for placement in placements:
        points = sites_mm(placement.piece)
        off = placement.sheet_px(points) - truth[placement.piece.name](points)
        assert np.abs(off).max() * MM / 200 * 1e3 < SITE_UM
        assert placement.role == "edge-strip"


def test_two_copies_of_a_strip_are_two_placements(strips):
    glass = np.full((2338, 1653, 1), 235, np.uint8)
    laid(glass, strips, "strip-left", (20, 100))
    laid(glass, strips, "strip-left", (20, 1200))
    first, second = found(glass, dpi=200)
    assert first.piece.name == second.piece.name == "strip-left"
    assert abs(first.to_px[1, 2] - second.to_px[1, 2]) == pytest.approx(1100, abs=0.2)


def test_two_sheets_on_the_glass(bed, strips):
    glass = np.full((2400, 2600, 1), 235, np.uint8)
    laid(glass, strips, "strip-bottom", (1800, 60))
    small = cv2.resize(bed, None, fx=2 / 3, fy=2 / 3, interpolation=cv2.INTER_AREA)
    glass[: small.shape[0], : small.shape[1], 0] = small[: glass.shape[0]]
    placements = found(glass, dpi=200)
    assert [p.role for p in placements] == ["bed-sheet", "edge-strip"]
    assert {p.dpi for p in placements} == {(200, 200)}


def lone_tag(number, side_px, *, at=(300, 200), glass=(900, 700), paper=235):
    picture = cv2.aruco.generateImageMarker(
        cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11), number, side_px
    )
    pixels = np.full(glass, paper, np.uint8)
    pixels[at[1] : at[1] + side_px, at[0] : at[0] + side_px] = np.maximum(picture, 20)
    return cv2.GaussianBlur(pixels, (0, 0), 0.7)


def test_a_lone_tag_must_have_its_size():
    tag = sheet("bed-sheet-a4").pieces[0].tags[7]
    side_mm = np.hypot(*np.subtract(tag.corners_mm[1], tag.corners_mm[0]))
    side_px = round(side_mm / MM * 200)
    (placement,) = found(lone_tag(tag.id, side_px), dpi=200)
    assert placement.tags == (tag.id,)
    assert any("only 1 of" in note for note in placement.notes)
    for dpi in (150, 300, None):
        (placement,) = found(lone_tag(tag.id, side_px), dpi=dpi)
        assert placement.sheet is None
        assert placement.role in ("page", "picture")


def test_a_stray_tag_does_not_move_the_sheet(bed):
    tag = sheet("bed-sheet-a4").pieces[0].tags[0]  # shown twice: at home and astray
    pixels = bed.copy()
    side = round(16 / MM * 300)
    stray = lone_tag(tag.id, side, at=(30, 30), glass=(side + 60, side + 60))
    pixels[2700 : 2700 + side + 60, 1300 : 1300 + side + 60, 0] = stray
    (placement,) = found(pixels)
    assert site_error_um(placement, SLIGHT, 300) < SITE_UM
    assert any("set aside" in note for note in placement.notes)


def test_ink_spread_moves_no_site(bed):
    spread = cv2.erode(bed, np.ones((3, 3), np.uint8))  # every black square grows by 1 px
    (placement,) = found(spread)
    assert site_error_um(placement, SLIGHT, 300) < SITE_UM
    assert placement.residual_um < 5
