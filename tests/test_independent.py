"""The independent road itself: places, response and levels against closed forms."""

import numpy as np
import pytest
from reportlab.pdfgen import canvas

from tests.independent import Pose, degrade, raster, srgb_encode, true_sfr

MM = 25.4
SIDE_MM = 12.0
CENTRES_MM = np.array([(10.0, 10.0), (28.123, 27.3)])
SLANT_DEG = 5.15


@pytest.fixture(scope="module")
def squares_pdf(tmp_path_factory):
    """Two slanted squares on a 40 mm page, written by hand."""
    path = tmp_path_factory.mktemp("squares") / "squares.pdf"
    pt = 72 / MM
    page = canvas.Canvas(str(path), pagesize=(40 * pt, 40 * pt), invariant=1)
    turn = np.deg2rad(SLANT_DEG)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]]) * SIDE_MM / 2
    for centre in CENTRES_MM:
        corners = centre + np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) @ axes
        line = page.beginPath()
        line.moveTo(corners[0, 0] * pt, (40 - corners[0, 1]) * pt)
        for x, y in corners[1:]:
            line.lineTo(x * pt, (40 - y) * pt)
        line.close()
        page.drawPath(line, fill=1, stroke=0)
    page.save()
    return path


def dark_centre(reflectance, near_px, reach_px):
    """Centroid of the ink around a place, in pixels."""
    col, row = np.rint(near_px).astype(int)
    part = 1 - reflectance[row - reach_px : row + reach_px + 1, col - reach_px : col + reach_px + 1]
    ys, xs = np.mgrid[-reach_px : reach_px + 1, -reach_px : reach_px + 1]
    return np.array([(part * (col + xs)).sum(), (part * (row + ys)).sum()]) / part.sum()


@pytest.mark.parametrize(
    "pose",
    [
        Pose(),
        Pose(turn_deg=3.0, shift_mm=(0.7, -0.3), about_mm=(20, 20)),
        Pose(turn_deg=-90, about_mm=(20, 20), stretch=(1.01, 0.99)),
        Pose(printer=(1.0, 1.007), shear=0.002),
    ],
)
def test_squares_lie_where_the_pose_says(squares_pdf, pose):
    picture = raster(squares_pdf, 600, pose=pose)
    for truth in pose.px(CENTRES_MM, 600):
        found = dark_centre(picture.astype(float), truth, 190)
        assert np.abs(found - truth).max() < 0.01  # px of 600 dpi: 0.4 µm


@pytest.mark.parametrize(("turn", "offset"), [(0.0, (0.0, 0.0)), (0.0, (1.3, 0.4)), (2.0, (5, -3))])
def test_degrading_moves_things_where_it_says(squares_pdf, turn, offset):
    source = raster(squares_pdf, 1200)
    scan = degrade(
        source,
        dpi_from=1200,
        dpi_to=200,
        rotation_deg=turn,
        offset=offset,
        blur_sigma_px=0.7,
        encode=lambda light: light,
        paper=1.0,
        ink=0.0,
        bits=16,
    )
    pose = Pose(turn_deg=turn)
    for truth in pose.px(CENTRES_MM, 200) + offset:
        found = dark_centre(scan[..., 0] / 65535, truth, 66)
        assert np.abs(found - truth).max() < 0.01  # px of 200 dpi: 1.3 µm


def test_levels_follow_the_srgb_curve(squares_pdf):
    scan = degrade(raster(squares_pdf, 600), dpi_from=600, dpi_to=100, paper=0.5, ink=0.002)
    # IEC 61966-2-1: light 0.5 is code 187.5 of 255, light 0.002 is on the straight part: 6.59.
    assert scan.max() == round(255 * float(srgb_encode(0.5))) == 188
    assert scan.min() == round(255 * 12.92 * 0.002) == 7


def test_the_response_is_gauss_times_apertures(squares_pdf):
    """All rows' samples, ordered by their distance from the known edge, differentiated."""
    source = raster(squares_pdf, 2400)
    scan = (
        degrade(
            source,
            dpi_from=2400,
            dpi_to=300,
            blur_sigma_px=0.6,
            encode=lambda light: light,
            paper=1.0,
            ink=0.0,
            bits=16,
        )[..., 0]
        / 65535
    )
    rows = np.arange(78, 158)  # well inside the left upper square's left side
    left = Pose().px(CENTRES_MM[:1] - [SIDE_MM / 2 / np.cos(np.deg2rad(SLANT_DEG)), 0], 300)[0]
    crossing = left[0] - (rows - left[1]) * np.tan(np.deg2rad(SLANT_DEG))
    cols = np.arange(round(left[0]) - 30, round(left[0]) + 30)
    distance = (cols[None, :] - crossing[:, None]).ravel()
    order = np.argsort(distance)
    esf, at = scan[np.ix_(rows, cols)].ravel()[order], distance[order]
    keep = np.abs(at) < 20
    lsf, mid = -np.diff(esf[keep]), (at[keep][1:] + at[keep][:-1]) / 2
    freq = 0.25
    found = abs(np.sum(lsf * np.exp(-2j * np.pi * freq * mid))) / lsf.sum()
    truth = true_sfr(
        freq / np.cos(np.deg2rad(SLANT_DEG)),
        blur_sigma_px=0.6,
        angle_deg=SLANT_DEG,
    )
    assert found == pytest.approx(float(truth), abs=0.004)
