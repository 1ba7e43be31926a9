"""From the committed PDFs and plain numpy paper to the JSON document: nobody's simulator between.

The sheets are drawn by poppler and degraded by `tests.independent`; the truth of every number is
known in closed form. Tolerances are those that the project promises.
"""

from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from scipy.optimize import brentq

from scanqa.codec import to_builtins
from scanqa.model import Record, Told
from scanqa.qualification import qualify
from tests import independent as ind

TARGETS = Path(__file__).parents[1] / "targets"
SEED = 31
MM = 25.4


def save(path, pixels, dpi):
    Image.fromarray(np.squeeze(pixels)).save(path, dpi=(dpi, dpi))
    return path


# ------------------------------------------------------------------ the bed sheet


def sheet_scan(tmp_path, *, dpi, sigma_px, turn_deg, noise=0.005, stretch=(1.0, 1.0)):
    pose = ind.Pose(turn_deg, (0.0, 0.0), (105.0, 148.5), stretch)
    raster_dpi = 1200
    raster = ind.raster(TARGETS / "bed-sheet-a4.pdf", raster_dpi, pose=pose)
    pixels = ind.degrade(
        raster, dpi_from=raster_dpi, dpi_to=dpi, blur_sigma_px=sigma_px, noise=noise, seed=SEED
    )
    return save(tmp_path / "sheet.tif", pixels, dpi)


def true_sfr50_cy_mm(dpi, sigma_px, angle_deg=5.15):
    def excess(f):
        response = ind.true_sfr(f, blur_sigma_px=sigma_px, angle_deg=angle_deg)
        return float(response) - 0.5

    return brentq(excess, 0.01, 1.0) * dpi / MM


@pytest.mark.parametrize(("dpi", "turn_deg"), [(300, 0.4), (600, 180.7), (300, 91.0)])
def test_sharpness_dpi_and_skew_of_the_printed_sheet(tmp_path, dpi, turn_deg):
    sigma_px = 0.67
    path = sheet_scan(tmp_path, dpi=dpi, sigma_px=sigma_px, turn_deg=turn_deg)
    record = qualify([path], scanner="heron").record
    assert record.rejected == ()
    (scan,) = record.scans
    assert scan.sheet == "bed-sheet-a4"
    assert scan.rotation_deg == round(turn_deg / 90) * 90 % 360
    named = record.named
    (skew,) = named("geometry.skew")
    assert abs(skew.value - (turn_deg + 45) % 90 + 45) < 0.02  # degrees
    for axis in ("across", "travel"):
        (measured,) = named(f"geometry.dpi_{axis}")
        assert measured.value == pytest.approx(dpi, rel=0.001)
    truth = true_sfr50_cy_mm(dpi, sigma_px)
    for direction in ("across", "travel"):
        sites = [m for m in named("sharpness.sheet_sfr50") if m.direction == direction]
        assert len(sites) >= 50, "most of the sheet's 70 edges per direction"
        printed = [m.value for m in sites if m.edge_kind == "printed"]
        assert np.median(printed) == pytest.approx(truth, rel=0.01)
        assert max(abs(np.array(printed) / truth - 1)) < 0.03, "no site is far off"


# ------------------------------------------------------------------ blank paper


def blank(seed, *, dpi=300, size_mm=(210, 297), light=0.80, factor=None):
    """White paper: soft texture 0.4 %, photon-like noise 0.6 %, and a factor on the light."""
    rng = np.random.default_rng(seed)
    width, height = (round(v * dpi / MM) for v in size_mm)
    coarse = rng.normal(0, 0.004, (height // 4 + 2, width // 4 + 2)).astype(np.float32)
    texture = np.kron(coarse, np.ones((4, 4), np.float32))[:height, :width]
    out = np.empty((height, width, 3), np.uint8)
    for channel in range(3):
        plane = light * (1 + texture) * (1 if factor is None else factor)
        plane = plane + rng.normal(0, 0.006 * light, plane.shape).astype(np.float32)
        out[..., channel] = np.rint(255 * ind.srgb_encode(np.clip(plane, 0, 1)))
    return out


def qualify_blanks(tmp_path, pixels, dpi=300) -> Record:
    paths = [save(tmp_path / f"blank-{i}.tif", p, dpi) for i, p in enumerate(pixels)]
    record = qualify(paths, scanner="heron").record
    assert record.rejected == ()
    assert {scan.role for scan in record.scans} == {"blank"}
    return record


@pytest.mark.parametrize("sign", [-1, 1])
def test_a_faint_one_pixel_streak_is_found(tmp_path, sign):
    column, contrast = 1234, 0.005
    factor = np.ones((1, 2480), np.float32)
    factor[0, column] += sign * contrast
    record = qualify_blanks(tmp_path, [blank(1, factor=factor), blank(2, factor=factor)])
    (streak,) = [s for s in record.streaks if s.axis == "travel"]
    assert abs(streak.at_px - column) < 1  # px
    assert streak.polarity == ("bright" if sign > 0 else "dark")


def test_a_clean_scan_has_no_streak(tmp_path):
    assert qualify_blanks(tmp_path, [blank(3), blank(4)]).streaks == ()


def test_shading_and_edge_shadow_are_what_was_put_there(tmp_path):
    dpi, width = 300, 2480
    x_mm = (np.arange(width) + 0.5) * MM / dpi
    slope = 1 + 0.04 * (x_mm / x_mm[-1] - 0.5)  # 4 % from left to right
    depth_mm, deepest = 4.0, 0.30  # shadow on the right: light falls linearly to 70 %
    from_right = x_mm[-1] - x_mm + MM / dpi
    shadow = 1 - deepest * np.clip(1 - from_right / depth_mm, 0, 1)
    factor = (slope * shadow)[np.newaxis].astype(np.float32)
    record = qualify_blanks(tmp_path, [blank(5, factor=factor), blank(6, factor=factor)])
    named = record.named
    values = [m.value for m in named("shading.nonuniformity")]
    assert values
    assert all(abs(value - 4.0) < 0.5 for value in values)  # %
    # Distance at which L* is 2 under the plateau, in closed form: CIE L* of light 0.8 × slope.
    plateau = 0.80 * slope[-1]
    lstar = 116 * np.cbrt(plateau) - 16
    dark = ((lstar - 2 + 16) / 116) ** 3 / plateau
    truth = depth_mm * (1 - (1 - dark) / deepest)
    shadows = [m.value for m in named("edges.shadow_right")]
    assert shadows
    assert all(abs(value - truth) < 0.3 for value in shadows)  # mm
    for side in ("left", "top", "bottom"):
        assert all(m.value < 0.3 for m in named(f"edges.shadow_{side}"))


# ------------------------------------------------------------------ edge strips, open book


def test_dead_margin_from_a_strip_hooked_over_the_left_edge(tmp_path):
    from scanqa.sheets import sheet

    dpi, margin_mm = 300, 2.4
    strip = sheet("edge-strip-a4").pieces[0]
    (x0, y0), (x1, y1) = strip.fold_mm
    # Lay the fold along x = -margin: turn so that the strip's tags lie to the right of it.
    tags = np.mean([tag.centre_mm for tag in strip.tags], axis=0)
    middle = np.array([(x0 + x1) / 2, (y0 + y1) / 2])
    inward = tags - middle
    turn_deg = -np.degrees(np.arctan2(inward[1], inward[0])) + 0.3
    pose = ind.Pose(turn_deg, (-margin_mm - middle[0], 100 - middle[1]), tuple(middle))
    raster = ind.raster(TARGETS / "edge-strip-a4.pdf", 1200, pose=pose, size_mm=(210, 200))
    pixels = ind.degrade(raster, dpi_from=1200, dpi_to=dpi, blur_sigma_px=0.7, noise=0.005)
    record = qualify([save(tmp_path / "strip.tif", pixels, dpi)], scanner="heron").record
    assert record.rejected == ()
    (measured,) = record.named("edges.dead_margin_left")
    assert abs(measured.value - margin_mm) < 0.3  # mm
    assert record.named("edges.dead_margin_top") == ()


def test_gutter_of_an_open_book(tmp_path):
    dpi, width, height = 300, 1748, 2480  # an A5 page on each side of nothing: one page, spine left
    rng = np.random.default_rng(SEED)
    from_spine = (np.arange(width) + 0.5) * MM / dpi
    fall = 1 - 0.5 * np.exp(-from_spine / 6.0)
    page = np.full((height, width), 0.8, np.float32) * fall[np.newaxis].astype(np.float32)
    for top in range(200, height - 200, 60):  # lines of words
        for left in range(160, width - 200, 24):
            if rng.random() < 0.8:
                page[top : top + 22, left : left + 4] *= 0.1
    page += rng.normal(0, 0.004, page.shape).astype(np.float32)
    pixels = np.rint(255 * ind.srgb_encode(np.clip(page, 0, 1))).astype(np.uint8)
    path = save(tmp_path / "book.tif", np.repeat(pixels[..., None], 3, axis=2), dpi)
    record = qualify([path], scanner="heron", told=Told(book_edge="left")).record
    assert [scan.role for scan in record.scans] == ["open-book"]

    def lstar(light):
        return 116 * np.cbrt(light) - 16

    for distance in (2, 5, 10):
        (measured,) = record.named(f"gutter.delta_L_at_{distance}mm")
        truth = lstar(0.8) - lstar(0.8 * (1 - 0.5 * np.exp(-distance / 6.0)))
        assert abs(measured.value - truth) < 0.5  # L*
    (reach,) = record.named("gutter.reach_5")
    light = ((lstar(0.8) - 5 + 16) / 116) ** 3 / 0.8
    assert abs(reach.value - -6.0 * np.log((1 - light) / 0.5)) < 0.3  # mm


# ------------------------------------------------------------------ the document


def test_the_document_has_no_number_that_is_none_without_a_reason(tmp_path):
    record = qualify_blanks(tmp_path, [blank(7), blank(8)])
    out = to_builtins(record)
    assert out["measures"]
    for measure in out["measures"]:
        assert measure["value"] is not None or measure["reason"]
    assert len({scan["sha256"] for scan in out["scans"]}) == 2
