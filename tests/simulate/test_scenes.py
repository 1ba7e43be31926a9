"""Printed sheets, strips and books lie where truth says, seen by OpenCV's own tag detector."""

from dataclasses import replace

import cv2
import numpy as np
import pytest

from scanqa.sheets import sheet
from scanqa.simulate.exposure import scan
from scanqa.simulate.lettering import lettering
from scanqa.simulate.printing import printed_shapes, windows
from scanqa.simulate.scanner import Lamp, Optics, Output, Scanner
from scanqa.simulate.scenes import (
    BLACK_CARD,
    BookScene,
    Printer,
    RampScene,
    SheetScene,
    StripsScene,
)
from tests.simulate.bench import SILENT, WHITE

CLEAN = Scanner(
    name="clean",
    glass_mm=(220.0, 305.0),
    optics=Optics(40.0, 40.0),
    lamp=Lamp(vignetting=0.0),
    sensor=SILENT,
    output=Output(tone="linear", bits=8),
    white_reflectance=1.0,
    black_light=0.0,
)
DPI = 150


def scanned(scene, scanner=CLEAN, dpi=DPI):
    simulated = scan(scene, scanner, dpi=dpi, rng=np.random.default_rng(1))
    return simulated.pixels[:, :, 1], simulated.truth


def detected(picture):
    """Corners (tags, 4, 2) by id: cv2 counts from pixel centres, like `scanqa.model`."""
    options = cv2.aruco.DetectorParameters()
    options.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    corners, ids, _ = cv2.aruco.ArucoDetector(family, options).detectMarkers(picture)
    return {int(i): c[0] for i, c in zip(ids.ravel(), corners, strict=True)}


def distances(found, piece, to_px):
    tags = {tag.id: np.asarray(tag.corners_mm) for tag in piece.tags}
    offsets = [
        found[i] - (tags[i] @ to_px[:, :2].T + to_px[:, 2]) for i in sorted(found) if i in tags
    ]
    return np.concatenate(offsets)


@pytest.mark.parametrize("turn_deg", [0.0, 90.4, 178.9, 270.0])
def test_a_sheet_lies_where_truth_says(turn_deg):
    page = sheet("bed-sheet-a4")
    scanner = replace(CLEAN, glass_mm=(310.0, 310.0), scale_error=(0.002, -0.001))
    printer = Printer(scale_x=1.003, scale_y=0.996)
    scene = SheetScene(page, (3.0, 4.0), turn_deg, paper=WHITE, printer=printer)
    picture, truth = scanned(scene, scanner)
    found = detected(picture)
    piece = page.pieces[0]
    assert {tag.id for tag in piece.tags} <= set(found)
    off = distances(found, piece, truth.to_px[piece.name])
    # The detector's corners scatter by some 0.2 px; their mean over 140 does not.
    assert np.abs(off.mean(axis=0)).max() < 0.05
    assert np.hypot(*off.T).max() < 0.8
    # Distances grow with a wrong scale or turn: 0.1 % of 1000 px would be one pixel.
    tilt = (turn_deg + 45) % 90 - 45
    assert np.isclose(truth.skew_deg, tilt)


def test_a_sheet_at_the_corner_begins_at_the_corner_whatever_its_turn():
    page = sheet("bed-sheet-a4")
    for turn_deg in (0.0, 90.0, 180.0, 270.0):
        scene = SheetScene(page, (0.0, 0.0), turn_deg, paper=WHITE)
        onto = scene.lay((310.0, 310.0)).maps[page.pieces[0].name]
        box = np.array([[0, 0], [page.width_mm, page.height_mm]]) @ onto[:, :2].T + onto[:, 2]
        np.testing.assert_allclose(box.min(axis=0), 0, atol=1e-9)


def test_strips_hang_with_their_folds_on_the_sides_of_the_plate():
    page = sheet("edge-strip-a4")
    sides = {piece.name: piece.name.removeprefix("strip-") for piece in page.pieces}
    scanner = replace(CLEAN, dead_margin_mm={"left": 2.4, "bottom": 1.0})
    picture, truth = scanned(StripsScene(page, sides, paper=WHITE), scanner)
    found = detected(picture)
    for piece in page.pieces:
        to_px = truth.to_px[piece.name]
        assert {tag.id for tag in piece.tags} <= set(found)
        assert np.abs(distances(found, piece, to_px).mean(axis=0)).max() < 0.15
        fold = np.asarray(piece.fold_mm) @ to_px[:, :2].T + to_px[:, 2]
        per_mm = DPI / 25.4
        # Of the plate's sides, seen from the image that begins 2.4 mm to the right of its left.
        at = {
            "left": (0, -2.4 * per_mm - 0.5),
            "right": (0, (220.0 - 2.4) * per_mm - 0.5),
            "top": (1, -0.5),
            "bottom": (1, 305.0 * per_mm - 0.5),
        }[sides[piece.name]]
        np.testing.assert_allclose(fold[:, at[0]], at[1], atol=1e-6)


def test_cut_windows_show_black_card():
    page = sheet("bed-sheet-a4")
    rings = windows(page)
    assert rings
    scene = SheetScene(page, paper=WHITE, windows_cut=True)
    picture, truth = scanned(scene)
    whole, _ = scanned(replace(scene, windows_cut=False))
    to_px = truth.to_px[page.pieces[0].name]
    for ring in rings:
        x, y = np.rint(ring.mean(axis=0) @ to_px[:, :2].T + to_px[:, 2]).astype(int)
        assert abs(picture[y - 20, x] / 255 - BLACK_CARD) < 0.01
        assert abs(whole[y - 20, x] / 255 - 0.8) < 0.01


def test_ink_has_its_density_and_covers_mix_by_area():
    page = sheet("bed-sheet-a4")
    values = {
        round(shape.reflectance, 4)
        for shape in printed_shapes(page, None, WHITE, Printer(ink_density=1.0))
    }
    # Murray and Davies: paper · (1 - a) + ink · a; density 1 is a tenth of the paper.
    assert {round(0.8 * (1 - 0.9 * p.cover), 4) for p in page.pieces[0].patches if p.cover} <= (
        values
    )
    assert 0.08 in values


def test_rough_edges_wander_by_their_sigma():
    page = sheet("bed-sheet-a4")
    printer = Printer(edge_roughness_um=15.0)
    smooth = printed_shapes(page, None, WHITE, Printer())
    rough = printed_shapes(page, None, WHITE, printer)
    square = max(smooth, key=lambda s: s.box()[2] - s.box()[0] if len(s.rings[0]) == 4 else 0)
    ring, wandering = square.rings[0], rough[smooth.index(square)].rings[0]
    start, end = ring[0], ring[1]
    along = (end - start) / np.hypot(*(end - start))
    count = round(np.hypot(*(end - start)) / 0.04)
    off = (wandering[:count] - start) @ np.array([along[1], -along[0]])
    # Neighbours within 0.1 mm go together: some hundred independent places, 7 % scatter.
    assert np.isclose(off.std(), 0.015, rtol=0.3)


def test_letters_stand_on_their_baseline_with_open_counters():
    rings = lettering("Ho", 5.0, False, "start")
    points = np.vstack(rings)
    assert abs(points[:, 0].min()) < 0.1  # mm
    assert abs(points[:, 1].max()) < 0.25
    assert 3.0 < -points[:, 1].min() < 4.2  # a capital is about 0.72 of the size
    assert len(rings) == 3  # H, o and the hole in it
    assert lettering(" ", 5.0, False, "start") == ()


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
def test_a_book_has_its_spine_at_its_side(side):
    scanner = replace(CLEAN, glass_mm=(190.0, 190.0))
    picture, truth = scanned(BookScene(side, page_mm=(150.0, 160.0), paper=WHITE), scanner)
    across = {"left": 0, "top": 1, "right": 2, "bottom": 3}[side]
    upright = np.rot90(picture, across)
    page = np.median(upright[150:-150], axis=0) / 255
    assert page[len(page) // 2] > 0.75
    assert page[0] < page[len(page) // 2] - 0.02
    assert np.median(upright[:, -100:]) < 10  # beyond the page the lid is open
    assert truth.lift is not None
    assert truth.lift.side == side


@pytest.mark.parametrize("side", ["left", "right", "top", "bottom"])
def test_a_ramp_rises_to_its_side_and_is_seen_shortened(side):
    page = sheet("gutter-ramp-a4")
    scene = RampScene(page, side, height_mm=11.0, paper=WHITE)
    picture, truth = scanned(scene, replace(CLEAN, lamp=Lamp(vignetting=0, half_height_mm=30.0)))
    found = detected(picture)
    for piece in page.pieces:
        assert np.abs(distances(found, piece, truth.to_px[piece.name]).mean(axis=0)).max() < 0.15
    slope = next(piece for piece in page.pieces if piece.rise is not None)
    lip = np.asarray(slope.fold_mm) @ truth.to_px["slope"][:, :2].T + truth.to_px["slope"][:, 2]
    size = {"left": 0.0, "right": 220.0, "top": 0.0, "bottom": 305.0}[side]
    axis = 0 if side in ("left", "right") else 1
    np.testing.assert_allclose(lip[:, axis], size * DPI / 25.4 - 0.5, atol=1e-6)
    # Pythagoras: 60 mm of slope that rises by 11 mm covers 58.98 mm of glass.
    shortened = np.linalg.norm(truth.to_px["slope"][:, :2], axis=0) * 25.4 / DPI
    np.testing.assert_allclose(sorted(shortened), [np.sqrt(60**2 - 11**2) / 60, 1.0], atol=1e-9)
    assert truth.lift is not None
    half_way = np.sqrt(60**2 - 11**2) / 2
    assert np.isclose(truth.lift.height_mm(np.array(half_way)), 5.5)


def test_a_ramp_cannot_rise_by_more_than_its_slope():
    with pytest.raises(ValueError, match="cannot rise"):
        RampScene(sheet("gutter-ramp-a4"), height_mm=61.0).lay((220.0, 305.0))
