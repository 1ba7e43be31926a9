"""The scanner behind edges on paper: bounds that hold, whatever the paper and the print."""

from dataclasses import replace

import numpy as np
import pytest
from scipy import ndimage

from scanqa.measures import sharpness
from scanqa.model import Edge, Piece, Told, Window
from scanqa.scans.array import ArrayScan
from scanqa.scans.overview import overview
from tests.measures import paper, paper_edges, stacked_edges
from tests.measures.paper_edges import Paper

DPI = 600


def card_scan(sheet, *, dpi=DPI, optics_mm=0.03, size_mm=(30.0, 26.0), **more):
    light = paper_edges.card(sheet, dpi=dpi, optics_mm=optics_mm, size_mm=size_mm, **more)
    return paper.placed(light, dpi, role="edge-card", bits=16, name="card.tif")


def print_scan(sheet, *, dpi=DPI, optics_mm=0.03, print_mm=0.03, count=4, seed=1):
    made = [
        paper_edges.printed(sheet, dpi=dpi, optics_mm=optics_mm, print_mm=print_mm, seed=seed + n)
        for n in range(count)
    ]
    return stacked_edges.placed(made, dpi=dpi, name="bed.tif")


def truth(level=0.5, *, dpi=DPI, optics_mm=0.03, slant_deg=5.0):
    return paper_edges.scanner_crossing(level, optics_mm=optics_mm, dpi=dpi, slant_deg=slant_deg)


def holds(m, true):
    """Whether what a measurement allows holds a value, twice its uncertainty allowed for."""
    reach = 2 * (m.uncertainty or 0.0)
    low = m.low if m.status == "between" else m.value
    high = {"between": m.high, "at-least": np.inf}.get(m.status, m.value)
    return low - reach <= true <= high + reach


@pytest.mark.parametrize("shape", paper_edges.SHAPES)
@pytest.mark.parametrize("kp_mm", [0.02, 0.06])
def test_a_card_of_photo_paper_tells_the_scanner_within_fifteen_percent(kp_mm, shape):
    scan = card_scan(Paper(kp_mm, shape))
    results = sharpness.measure([scan], Told(card_paper="photo"))
    for name, level in (("sharpness.sfr50", 0.5), ("sharpness.sfr10", 0.1)):
        found = results.named(name)
        assert {m.direction for m in found} == {"across", "travel"}
        assert {(m.edge_kind, m.status) for m in found} == {("card", "between")}
        assert all(holds(m, truth(level)) for m in found)
        widths = [(m.high - m.low) / m.value for m in found]
        assert np.median(widths) < 0.15


@pytest.mark.parametrize("shape", paper_edges.SHAPES)
@pytest.mark.parametrize("kp_mm", [0.1, 0.2])
@pytest.mark.parametrize("told", ["office", None])
def test_cut_office_paper_bounds_it_from_both_sides(kp_mm, shape, told):
    results = sharpness.measure([card_scan(Paper(kp_mm, shape))], Told(card_paper=told))
    found = results.named("sharpness.sfr50")
    assert found
    assert all(m.status == "between" and holds(m, truth()) for m in found)
    # the scan itself is far from it: that is what must not be called the scanner's
    of_scan = [m.value for m in results.named("sharpness.sheet_sfr50")]
    assert np.median(of_scan) < 0.96 * truth()


@pytest.mark.parametrize("print_mm", [0.0, 0.01, 0.03, 0.06])
@pytest.mark.parametrize("kp_mm", [0.0, 0.2])
def test_a_printers_blur_is_never_the_scanners(print_mm, kp_mm):
    scan = print_scan(Paper(kp_mm), print_mm=print_mm)
    for told in (Told(), Told(paper="office") if kp_mm else Told()):
        results = sharpness.measure([scan], told)
        for m in results.named("sharpness.sfr50"):
            assert m.status == "at-least"
            assert holds(m, truth(slant_deg=5.15))
    assert {m.status for m in results.named("sharpness.sheet_sfr50")} == {"ok"}


@pytest.mark.parametrize("print_mm", [0.01, 0.02])
def test_a_card_beside_the_sheet_tells_what_the_print_takes(print_mm):
    """Printed edges then say the scanner's sharpness elsewhere on the bed, softer here."""
    soft = print_scan(Paper(0.2), print_mm=print_mm, optics_mm=0.05, count=2, seed=20)
    near = print_scan(Paper(0.2), print_mm=print_mm)
    light = np.concatenate([_light(near), np.full((round(70 / 25.4 * DPI), _light(near).shape[1]),
                                                  0.8), _light(soft)])  # fmt: skip
    sheet = _stacked(near, soft, light)
    card = card_scan(Paper(0.05))
    results = sharpness.measure([sheet, card], Told(card_paper="photo"))
    printed = [m for m in results.named("sharpness.sfr50") if m.edge_kind == "printed"]
    assert len(printed) == 6
    for m in printed:
        optics = 0.03 if m.at_mm[1] < 60 else 0.05
        assert m.status == "between"
        assert holds(m, truth(optics_mm=optics, slant_deg=5.15)), (m, optics)
        assert (m.high - m.low) / m.value < 0.3


def _light(scan):
    codes = np.asarray(scan.scan.window(_whole(scan)))
    return scan.light.light(codes)[..., 0].astype(float)


def _whole(scan):
    return Window(0, 0, scan.scan.height_px, scan.scan.width_px)


def _stacked(near, soft, light):
    drop = (light.shape[0] - soft.scan.height_px) * 25.4 / DPI
    moved = [
        Edge(f"soft-{n}", (e.start_mm[0], e.start_mm[1] + drop), (e.end_mm[0], e.end_mm[1] + drop),
             e.reach_mm, e.kind)
        for n, e in enumerate(soft.piece.edges)
    ]  # fmt: skip
    scan = ArrayScan(
        np.rint(np.clip(light, 0, 1) * 65535).astype(np.uint16), name="bed.tif", dpi=(DPI, DPI)
    )
    piece = Piece("sheet", (), (), (*near.piece.edges, *moved))
    return replace(near, scan=scan, overview=overview(scan), piece=piece)


def test_a_torn_or_bent_border_is_no_edge_and_a_bent_one_survives():
    """Cut by scissors: bent by half a millimetre over its length, still one edge's blur."""
    dpi, optics_mm = 300, 0.05
    straight = paper_edges.card(Paper(0.0), dpi=dpi, optics_mm=optics_mm)
    rows = np.arange(straight.shape[0])
    px = 25.4 / dpi
    wave = 0.25 / px * np.sin(2 * np.pi * rows / straight.shape[0])
    y, x = np.mgrid[: straight.shape[0], : straight.shape[1]].astype(float)
    bent = ndimage.map_coordinates(straight, [y, x + wave[:, None]], order=3,
                                   mode="nearest")  # fmt: skip
    results = sharpness.measure([paper.placed(bent, dpi, role="edge-card", bits=16)], Told())
    across = [m for m in results.named("sharpness.sfr50") if m.direction == "across"]
    assert len(across) >= 4
    true = truth(dpi=dpi, optics_mm=optics_mm)
    assert all(holds(m, true) for m in across)
    found = [m.value for m in results.named("sharpness.sheet_sfr50") if m.direction == "across"]
    assert np.median(found) == pytest.approx(true, rel=0.02)


def test_a_card_beside_the_sheet_is_found_in_the_same_scan():
    """Not the sheet's own squares, turned by 5° as they are; and none where none is told."""
    card = _light(card_scan(Paper(0.02)))
    sheet = print_scan(Paper(0.2))
    printed = _light(sheet)
    high, wide = max(card.shape[0], printed.shape[0]), card.shape[1] + printed.shape[1]
    light = np.full((high, wide), 0.03)
    light[: printed.shape[0], : printed.shape[1]] = printed
    light[: card.shape[0], printed.shape[1] :] = card
    scan = ArrayScan(
        np.rint(np.clip(light, 0, 1) * 65535).astype(np.uint16), name="bed.tif", dpi=(DPI, DPI)
    )
    width, height = (n / DPI * 25.4 for n in printed.shape[::-1])
    outline = ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height))
    piece = replace(sheet.piece, outline_mm=outline)
    both = replace(sheet, scan=scan, overview=overview(scan), piece=piece)
    results = sharpness.measure([both], Told(card_paper="photo"))
    found = [m for m in results.named("sharpness.sfr50") if m.edge_kind == "card"]
    assert {m.direction for m in found} == {"across", "travel"}
    assert all(m.at_mm[0] > width and holds(m, truth()) for m in found)
    without = sharpness.measure([both], Told())
    assert {m.edge_kind for m in without.named("sharpness.sfr50")} == {"printed"}
