"""The sharpness front on sheets drawn by poppler and scanned by plain numpy (tests.independent)."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from scipy.optimize import brentq

from scanqa.measures import sharpness
from scanqa.model import MM_PER_INCH, Edge, Linear, Piece, Placement
from scanqa.numeric.edge import EdgeSfr
from scanqa.scans.array import ArrayScan
from scanqa.scans.overview import overview
from tests import independent as ind
from tests.measures.printed_sheet import (
    RASTER_DPI,
    SHEET_BOX_MM,
    SLANT_DEG,
    placed,
    sheet_picture,
)
from tests.numeric.laser_edge import reflectance, straight
from tests.numeric.laser_edge import scanned as scanned_edge


@pytest.fixture(scope="module")
def picture(tmp_path_factory):
    return sheet_picture(tmp_path_factory.mktemp("sheet"))


def scanned(picture, dpi, **options):
    """Grey scan, 8 bits."""
    return ind.degrade(picture, dpi_from=RASTER_DPI, dpi_to=dpi, **options)


def true_crossing(level, sigma_px, dpi):
    """Of Gaussian × pixel, cy/mm. An area mean of area means is the pixel's and nothing more."""

    def excess(f):
        cos, sin = np.cos(np.radians(SLANT_DEG)), np.sin(np.radians(SLANT_DEG))
        gauss = np.exp(-2 * (np.pi * sigma_px * f) ** 2)
        return gauss * np.sinc(f * cos) * np.sinc(f * sin) - level

    return brentq(excess, 0.01, 0.999) * dpi / MM_PER_INCH


def values(results, name, direction):
    return np.array([m.value for m in results.named(name) if m.direction == direction])


@pytest.mark.parametrize(
    ("dpi", "sigma_px"), [(300, (0.67, 0.67)), (300, (0.6, 1.1)), (600, (0.8, 0.8))]
)
def test_sfr50_of_every_site_is_within_two_percent(picture, dpi, sigma_px):
    pixels = scanned(picture, dpi, blur_sigma_px=sigma_px, noise=0.005 * 0.83)
    results = sharpness.measure([placed(pixels, dpi)])
    for direction, sigma in zip(("across", "travel"), sigma_px, strict=True):
        sfr50 = values(results, "sharpness.sfr50", direction)
        assert len(sfr50) == 4  # two tags, two edges each
        truth = true_crossing(0.5, sigma, dpi)
        if sigma_px[0] == sigma_px[1]:
            assert np.abs(sfr50 / truth - 1).max() < 0.02
            assert sfr50.mean() == pytest.approx(truth, rel=0.005)
        else:  # the slant mixes a little of the other axis' blur in
            assert np.abs(sfr50 / truth - 1).max() < 0.03
        sfr10 = values(results, "sharpness.sfr10", direction)
        assert sfr10.mean() == pytest.approx(true_crossing(0.1, sigma, dpi), rel=0.015)


def test_units_and_places(picture):
    dpi, sigma = 300, 0.9
    results = sharpness.measure([placed(scanned(picture, dpi, blur_sigma_px=sigma), dpi)])
    half_sampling = dpi / MM_PER_INCH / 2
    sfr10 = values(results, "sharpness.sfr10", "across")
    efficiency = values(results, "sharpness.sampling_efficiency", "across")
    effective = values(results, "sharpness.effective_dpi", "across")
    assert efficiency == pytest.approx(100 * sfr10 / half_sampling, rel=1e-9)
    assert effective == pytest.approx(efficiency / 100 * dpi, rel=1e-9)
    assert efficiency.max() < 100
    # the first tag's centre lies 20 mm from the paper's corner, its sides 8 mm from there
    near = [m for m in results.named("sharpness.sfr50") if np.hypot(*m.at_mm) < 30]
    where = np.array(sorted(m.at_mm for m in near if m.direction == "across"))
    along, aside = 8 * np.cos(np.radians(SLANT_DEG)), 8 * np.sin(np.radians(SLANT_DEG))
    truth = np.array([(20 - along, 20 - aside), (20 + along, 20 + aside)]) - SHEET_BOX_MM[:2]
    assert where == pytest.approx(truth, abs=0.2)  # mm; turned by 0.3° about the corner
    assert {m.edge_kind for m in near} == {"printed"}
    assert {m.status for m in near} == {"ok"}


def test_optics_finer_than_the_samples_are_a_lower_bound(picture):
    results = sharpness.measure([placed(scanned(picture, 300, blur_sigma_px=0.3), 300)])
    for name, cap in (("sharpness.sampling_efficiency", 100), ("sharpness.effective_dpi", 300)):
        found = results.named(name)
        assert {m.value for m in found} == {cap}
        assert {m.status for m in found} == {"lower-bound"}
        assert all("higher dpi" in m.reason for m in found)


def test_uncut_windows_are_said_once(picture):
    place = placed(scanned(picture, 300, blur_sigma_px=0.7), 300)
    uncut = (  # on bare paper, between the tag and the title
        Edge("window-1-top", (13.0, 31.5), (26.0, 32.7), 1.2, "cut"),
        Edge("window-1-bottom", (13.0, 51.5), (26.0, 52.7), 1.2, "cut"),
    )
    piece = replace(place.piece, edges=place.piece.edges + uncut)
    results = sharpness.measure([replace(place, piece=piece)])
    cut = [m for m in results.measurements if m.edge_kind == "cut"]
    assert [m.status for m in cut] == ["not-measurable"]
    assert "cut" in cut[0].reason


def test_clipped_paper_is_refused_with_the_reason(picture):
    pixels = scanned(picture, 300, blur_sigma_px=0.7, gain=1.3)
    results = sharpness.measure([placed(pixels, 300)])
    assert results.named("sharpness.sfr50") == ()
    assert any("white side is at the top" in m.reason for m in results.measurements)
    assert {m.name for m in results.measurements} == set(sharpness.NAMES)


def test_one_clipped_channel_is_enough(picture):
    pixels = np.repeat(scanned(picture, 300, blur_sigma_px=0.7), 3, axis=2)
    pixels[..., 2] = np.where(pixels[..., 2] > 200, 255, pixels[..., 2])
    results = sharpness.measure([placed(pixels, 300)])
    assert results.named("sharpness.sfr50") == ()


def test_no_sheet_is_an_answer(picture):
    bare = replace(placed(scanned(picture, 300), 300), piece=None, to_px=None)
    for placements in ([], [bare]):
        results = sharpness.measure(placements)
        assert {m.status for m in results.measurements} == {"not-measurable"}
        assert {m.name for m in results.measurements} == set(sharpness.NAMES)


def test_curves_explain_the_best_and_the_worst(picture):
    results = sharpness.measure([placed(scanned(picture, 300, blur_sigma_px=0.7), 300)])
    response, profile = results.evidence[:2]
    assert response.title == "Spatial frequency response, across"
    for curve in response.curves:
        assert curve.y[0] == pytest.approx(1)
        assert np.interp(true_crossing(0.5, 0.7, 300), curve.x, curve.y) == pytest.approx(
            0.5, abs=0.02
        )
    for curve in profile.curves:
        assert curve.y[0] == pytest.approx(0, abs=0.01)
        assert curve.y[-1] == pytest.approx(1, abs=0.01)
        # the profile's middle lies on the edge, to 2 µm
        assert np.interp(0.5, curve.y, curve.x) == pytest.approx(0, abs=0.002)


def test_a_known_response_of_the_edges_divides_out(picture):
    dpi, toner_mm = 300, 0.03
    sigma = float(np.hypot(0.6, toner_mm * dpi / MM_PER_INCH))
    place = placed(scanned(picture, dpi, blur_sigma_px=sigma), dpi)
    alone = sharpness.measure(
        [place], edge_response=lambda f: np.exp(-2 * (np.pi * toner_mm * f) ** 2)
    )
    sfr50 = values(alone, "sharpness.sfr50", "across")
    assert sfr50.mean() == pytest.approx(true_crossing(0.5, 0.6, dpi), rel=0.01)


def test_unequal_dpi_are_measured_along_each_axis(picture):
    # every second row of a 600 dpi scan: 300 dpi along travel, blur there unchanged in mm
    pixels = scanned(picture, 600, blur_sigma_px=1.6)[::2]
    place = placed(pixels, 600)
    to_px = place.to_px.copy()
    to_px[1] = (to_px[1] + 0.0) / 2  # rows 0, 2, 4 … become 0, 1, 2 …
    place = replace(place, dpi=(600, 300), to_px=to_px)
    found = [s for s in sharpness.sites(place) if isinstance(s.found, EdgeSfr)]
    for direction in ("across", "travel"):
        sfr50 = [
            s.found.sfr50.frequency / s.place.mm_per_px
            for s in found
            if s.place.direction == direction
        ]
        assert np.mean(sfr50) == pytest.approx(true_crossing(0.5, 1.6, 600), rel=0.01)


# ------------------------------------------------------------------------- printer or scanner


def made_sheet(kinds, *, dpi, sigma_um, toner=0.25):
    """A scan of near-vertical edges one below the other, each printed by a laser or cut."""
    strips, edges, row = [], [], 0
    for n, kind in enumerate(kinds):
        maker = straight if kind == "cut" else partial(reflectance, toner=toner)
        made = scanned_edge(maker, dpi=dpi, sigma_mm=sigma_um / 1000, slant_deg=5.15, seed=50 + n)
        (x0, y0), (x1, y1) = made.line
        mm = MM_PER_INCH / dpi
        ends = [((x + 0.5) * mm, (y + row + 0.5) * mm) for x, y in ((x0, y0), (x1, y1))]
        edges.append(Edge(f"edge-{n}", ends[0], ends[1], 1.7, kind))
        strips.append(made.pixels)
        row += made.pixels.shape[0]
    light = np.concatenate(strips)
    pixels = np.rint(light * 65535).astype(np.uint16)
    scan = ArrayScan(pixels, name="wren.tif", dpi=(dpi, dpi))
    straight_line = np.linspace(0, 1, 65536, dtype=np.float32)[np.newaxis]
    per_mm = dpi / MM_PER_INCH
    return Placement(
        scan=scan,
        overview=overview(scan),
        light=Linear(straight_line, "stated curve"),
        role="bed-sheet",
        dpi=(dpi, dpi),
        dpi_source="file",
        piece=Piece("sheet", (), (), tuple(edges)),
        to_px=np.array([[per_mm, 0, -0.5], [0, per_mm, -0.5]]),
    )


def status_of(results, kind):
    (status,) = {m.status for m in results.named("sharpness.sfr50") if m.edge_kind == kind}
    reason = next(m.reason for m in results.named("sharpness.sfr50") if m.edge_kind == kind)
    return status, reason


def test_a_sharp_scanner_is_not_blamed_for_the_printer():
    kinds = ["printed", "cut", "printed", "cut", "printed", "cut", "printed"]
    dpi, sigma_um = 600, 25.0
    results = sharpness.measure([made_sheet(kinds, dpi=dpi, sigma_um=sigma_um)])
    status, reason = status_of(results, "printed")
    assert status == "lower-bound"
    assert "the print is the limit" in reason
    assert status_of(results, "cut") == ("ok", "")
    truth = true_crossing(0.5, sigma_um / 1000 / MM_PER_INCH * dpi, dpi)
    cut = [m.value for m in results.named("sharpness.sfr50") if m.edge_kind == "cut"]
    assert np.abs(np.array(cut) / truth - 1).max() < 0.01


def test_without_windows_the_roughness_tells():
    results = sharpness.measure([made_sheet(["printed"] * 4, dpi=600, sigma_um=25.0)])
    status, reason = status_of(results, "printed")
    assert status == "lower-bound"
    assert "rough" in reason
    assert "µm" in reason


def test_edges_whose_response_is_divided_out_are_no_limit():
    scan = made_sheet(["printed"] * 4, dpi=600, sigma_um=25.0)
    rough = sharpness.measure([scan]).named("sharpness.sfr50")
    assert {m.status for m in rough} == {"lower-bound"}
    known = sharpness.measure([scan], edge_response=lambda f: np.ones_like(f))
    for m in known.named("sharpness.sfr50"):
        assert m.status == "ok"
        assert "divided out" in m.reason


@pytest.mark.parametrize("kinds", [["printed"] * 3, ["printed", "cut"] * 4])
def test_a_soft_scanner_is_not_excused_by_the_printer(kinds):
    # 130 µm of blur: what the toner adds is under 1 % (measured: 0.5 % at this toner)
    results = sharpness.measure([made_sheet(kinds, dpi=300, sigma_um=130.0, toner=0.1)])
    assert status_of(results, "printed") == ("ok", "")
