"""The sharpness front on sheets drawn by poppler and scanned by plain numpy (tests.independent)."""

from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from scipy.optimize import brentq

from scanqa.measures import sharpness
from scanqa.measures.sharpness.print_limit import print_limits
from scanqa.model import MM_PER_INCH, Edge, Told
from scanqa.numeric.edge.sfr import EdgeSfr
from tests import independent as ind
from tests.measures import stacked_edges
from tests.measures.printed_sheet import (
    RASTER_DPI,
    SHEET_BOX_MM,
    SLANT_DEG,
    placed,
    sheet_picture,
)
from tests.numeric.laser_edge import reflectance, straight
from tests.numeric.laser_edge import scanned as scanned_edge
from tests.numeric.synthetic_edge import SHAPES, gaussian, scene


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
    results = sharpness.measure([placed(pixels, dpi)], Told())
    for direction, sigma in zip(("across", "travel"), sigma_px, strict=True):
        sfr50 = values(results, "sharpness.sheet_sfr50", direction)
        assert len(sfr50) == 4  # two tags, two edges each
        truth = true_crossing(0.5, sigma, dpi)
        if sigma_px[0] == sigma_px[1]:
            assert np.abs(sfr50 / truth - 1).max() < 0.02
            assert sfr50.mean() == pytest.approx(truth, rel=0.005)
        else:  # the slant mixes a little of the other axis' blur in
            assert np.abs(sfr50 / truth - 1).max() < 0.03
        sfr10 = values(results, "sharpness.sheet_sfr10", direction)
        assert sfr10.mean() == pytest.approx(true_crossing(0.1, sigma, dpi), rel=0.015)


def test_units_and_places(picture):
    dpi, sigma = 300, 0.9
    results = sharpness.measure([placed(scanned(picture, dpi, blur_sigma_px=sigma), dpi)], Told())
    half_sampling = dpi / MM_PER_INCH / 2
    sfr10 = values(results, "sharpness.sfr10", "across")
    efficiency = values(results, "sharpness.sampling_efficiency", "across")
    effective = values(results, "sharpness.effective_dpi", "across")
    assert efficiency == pytest.approx(100 * sfr10 / half_sampling, rel=1e-9)
    assert effective == pytest.approx(efficiency / 100 * dpi, rel=1e-9)
    assert efficiency.max() < 100
    # the first tag's centre lies 20 mm from the paper's corner, its sides 8 mm from there
    near = [m for m in results.named("sharpness.sheet_sfr50") if np.hypot(*m.at_mm) < 30]
    where = np.array(sorted(m.at_mm for m in near if m.direction == "across"))
    along, aside = 8 * np.cos(np.radians(SLANT_DEG)), 8 * np.sin(np.radians(SLANT_DEG))
    truth = np.array([(20 - along, 20 - aside), (20 + along, 20 + aside)]) - SHEET_BOX_MM[:2]
    assert where == pytest.approx(truth, abs=0.2)  # mm; turned by 0.3° about the corner
    assert {m.edge_kind for m in near} == {"printed"}
    assert {m.status for m in near} == {"ok"}


def test_optics_finer_than_the_samples_are_a_lower_bound(picture):
    results = sharpness.measure([placed(scanned(picture, 300, blur_sigma_px=0.3), 300)], Told())
    for name, cap in (("sharpness.sampling_efficiency", 100), ("sharpness.effective_dpi", 300)):
        found = results.named(name)
        assert {m.value for m in found} == {cap}
        assert {m.status for m in found} == {"at-least"}
        assert all("higher dpi" in m.reason for m in found)
        assert {m.reason_kind for m in found} == {"sampling"}


def test_uncut_windows_are_said_once(picture):
    place = placed(scanned(picture, 300, blur_sigma_px=0.7), 300)
    uncut = (  # on bare paper, between the tag and the title
        Edge("window-1-top", (13.0, 31.5), (26.0, 32.7), 1.2, "cut"),
        Edge("window-1-bottom", (13.0, 51.5), (26.0, 52.7), 1.2, "cut"),
    )
    piece = replace(place.piece, edges=place.piece.edges + uncut)
    results = sharpness.measure([replace(place, piece=piece)], Told())
    cut = [m for m in results.measurements if m.edge_kind == "cut"]
    assert [(m.name, m.status) for m in cut] == [("sharpness.sfr50", "not-measurable")]
    assert "cut" in cut[0].reason
    assert cut[0].reason_kind == "not-found"


def test_clipped_paper_is_refused_with_the_reason(picture):
    pixels = scanned(picture, 300, blur_sigma_px=0.7, gain=1.3)
    results = sharpness.measure([placed(pixels, 300)], Told())
    assert results.named("sharpness.sheet_sfr50") == ()
    of_edges = [m for m in results.measurements if m.at_mm]
    assert all("white side is at the top" in m.reason for m in of_edges)
    assert {m.reason_kind for m in of_edges} == {"clipped"}
    assert {m.name for m in results.measurements} == {*sharpness.OF_SCAN, *sharpness.NAMES}


def test_one_clipped_channel_is_enough(picture):
    pixels = np.repeat(scanned(picture, 300, blur_sigma_px=0.7), 3, axis=2)
    pixels[..., 2] = np.where(pixels[..., 2] > 200, 255, pixels[..., 2])
    results = sharpness.measure([placed(pixels, 300)], Told())
    assert results.named("sharpness.sheet_sfr50") == ()


def test_no_sheet_is_an_answer(picture):
    plain = np.full((600, 600, 1), 200, np.uint8)
    bare = replace(placed(plain, 300), piece=None, to_px=None)
    for placements in ([], [bare]):
        results = sharpness.measure(placements, Told())
        assert {m.status for m in results.measurements} == {"not-measurable"}
        assert {m.name for m in results.measurements} == {*sharpness.OF_SCAN, *sharpness.NAMES}
        assert {m.reason_kind for m in results.measurements} == {"no-scan"}


def test_clean_edges_are_found_where_nobody_says_what_they_are(picture):
    """The squares of the tags, 16 mm wide, the sheet not being known: bounds, and true ones."""
    dpi, sigma = 300, 0.8
    sheet = placed(scanned(picture, dpi, blur_sigma_px=sigma), dpi)
    results = sharpness.measure([replace(sheet, piece=None, to_px=None, role="picture")], Told())
    truth = true_crossing(0.5, sigma, dpi)
    for direction in ("across", "travel"):
        sfr50 = [m for m in results.named("sharpness.sfr50") if m.direction == direction]
        assert len(sfr50) >= 4
        assert {(m.edge_kind, m.status) for m in sfr50} == {("found", "at-least")}
        assert np.array([m.value for m in sfr50]) == pytest.approx(truth, rel=0.02)


def test_curves_explain_the_best_and_the_worst(picture):
    results = sharpness.measure([placed(scanned(picture, 300, blur_sigma_px=0.7), 300)], Told())
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
        [place], Told(edge_response=lambda f: np.exp(-2 * (np.pi * toner_mm * f) ** 2))
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


# ---------------------------------------------------------------------- edges in closed form

DPI = 300
PER_MM = DPI / MM_PER_INCH
ROWS, HALF = 126, 21  # of a bed sheet's edge at 300 dpi


def noisy_edges(profile, count, *, noise=0.01):
    """The same edge, each time with other noise."""
    return [
        scene(profile, rows=ROWS, half_width=HALF, noise=noise, seed=seed) for seed in range(count)
    ]


def test_stated_uncertainties_are_the_scatter_of_repeats():
    made = noisy_edges(SHAPES["sharpened"], 80)
    results = sharpness.measure([stacked_edges.placed(made, dpi=DPI)], Told())
    truth = {
        "sharpness.sheet_sfr50": made[0].crossing(0.5) * PER_MM,
        "sharpness.sheet_sfr10": made[0].crossing(0.1) * PER_MM,
        "sharpness.peak": made[0].sfr(np.linspace(0, 0.5, 500)).max(),
    }
    for name, true in truth.items():
        found = results.named(name)
        assert len(found) == len(made)
        errors = np.array([m.value - true for m in found])
        stated = np.sqrt(np.mean([m.random**2 for m in found]))
        # 80 errors know their scatter to 8 %
        assert stated == pytest.approx(np.sqrt(np.mean(errors**2)), rel=0.3)


def test_efficiency_and_effective_dpi_are_as_uncertain_as_sfr10():
    made = noisy_edges(gaussian(1.2), 2)
    results = sharpness.measure([stacked_edges.placed(made, dpi=DPI)], Told())
    half_sampling = DPI / MM_PER_INCH / 2
    sfr10 = results.named("sharpness.sfr10")
    efficiency = results.named("sharpness.sampling_efficiency")
    effective = results.named("sharpness.effective_dpi")
    for tenth, share, dpi in zip(sfr10, efficiency, effective, strict=True):
        relative = tenth.uncertainty / tenth.value
        assert 0.007 < relative < 0.05  # what the window leaves out is in it
        assert tenth.random < tenth.uncertainty
        assert share.uncertainty == pytest.approx(100 * tenth.value / half_sampling * relative)
        assert dpi.uncertainty == pytest.approx(share.value / 100 * DPI * relative)


def test_where_the_edges_own_response_ends_there_is_a_bound_and_no_more():
    """Toner of this width leaves a fifth, from which on nothing is divided out, at 3.3 cy/mm."""
    toner_mm, lens_px = 0.0865, 0.8
    made = noisy_edges(gaussian(float(np.hypot(lens_px, toner_mm * PER_MM))), 3, noise=0.002)
    known = Told(edge_response=lambda f: np.exp(-2 * (np.pi * toner_mm * f) ** 2))
    results = sharpness.measure([stacked_edges.placed(made, dpi=DPI)], known)
    ends = np.sqrt(np.log(5) / 2) / (np.pi * toner_mm)
    truth = scene(gaussian(lens_px), rows=2, half_width=1).crossing(0.1) * PER_MM
    assert ends < truth < DPI / MM_PER_INCH / 2  # these optics do not reach half the sampling
    step = 0.005 * PER_MM  # of the frequencies
    for name, whole in (
        ("sharpness.sfr10", 1.0),
        ("sharpness.sampling_efficiency", 100 / (DPI / MM_PER_INCH / 2)),
        ("sharpness.effective_dpi", 2 * MM_PER_INCH),
    ):
        for m in results.named(name):
            assert (m.status, m.reason_kind) == ("at-least", "print")
            assert m.value == pytest.approx(ends * whole, abs=step * whole)


# ------------------------------------------------------------------------- printer or scanner


def made_sheet(kinds, *, dpi, sigma_um, toner=0.25):
    """A scan of near-vertical edges one below the other, each printed by a laser or cut."""
    made = []
    for n, kind in enumerate(kinds):
        maker = straight if kind == "cut" else partial(reflectance, toner=toner)
        made.append(
            scanned_edge(maker, dpi=dpi, sigma_mm=sigma_um / 1000, slant_deg=5.15, seed=50 + n)
        )
    return stacked_edges.placed(made, dpi=dpi, kinds=kinds)


def limit_of(results, kind):
    """Status of the edges of a kind, kind of their reason and one in words."""
    sites = [m for m in results.named("sharpness.sfr50") if m.edge_kind == kind]
    ((status, reason_kind),) = {(m.status, m.reason_kind) for m in sites}
    return status, reason_kind, sites[0].reason


def test_the_scan_of_a_sheet_is_certain_and_the_scanner_behind_it_a_bound():
    results = sharpness.measure([made_sheet(["printed"] * 4, dpi=600, sigma_um=25.0)], Told())
    assert {m.status for m in results.named("sharpness.sheet_sfr50")} == {"ok"}
    for name in sharpness.NAMES:
        found = results.named(name)
        assert {m.status for m in found} == {"at-least"}
    truth = true_crossing(0.5, 25.0 / 1000 / MM_PER_INCH * 600, 600)
    assert all(m.value < truth for m in results.named("sharpness.sfr50"))


def test_a_sharp_scanner_is_not_blamed_for_the_printer():
    """What cut edges tell of the print is divided out of the printed ones."""
    kinds = ["printed", "cut", "printed", "cut", "printed", "cut", "printed"]
    dpi, sigma_um = 600, 25.0
    results = sharpness.measure([made_sheet(kinds, dpi=dpi, sigma_um=sigma_um)], Told())
    truth = true_crossing(0.5, sigma_um / 1000 / MM_PER_INCH * dpi, dpi)
    of_scan = {m.edge_kind: m.value for m in results.named("sharpness.sheet_sfr50")}
    assert of_scan["printed"] < 0.95 * truth
    for m in results.named("sharpness.sfr50"):
        assert m.status == "between"
        assert m.low - 2 * m.uncertainty < truth < m.high  # (these edges lose no light in paper)
        assert m.uncertainty < 0.05 * truth
    cut = [m for m in results.named("sharpness.sfr50") if m.edge_kind == "cut"]
    assert np.abs(np.array([m.low for m in cut]) / truth - 1).max() < 0.01


def test_the_loss_beside_windows_is_as_uncertain_as_it_scatters():
    """The same smooth edge, called printed and cut in turns: the print costs nothing."""
    found = []
    for repeat in range(30):
        made = [
            scene(gaussian(0.9), rows=ROWS, half_width=HALF, noise=0.03, seed=1000 * repeat + n)
            for n in range(12)
        ]
        scan = stacked_edges.placed(made, dpi=DPI, kinds=["printed", "cut"] * 6)
        found.append(print_limits(sharpness.sites(scan))["printed", "across"].beside_cut)
    losses, stated = np.array(found).T
    assert abs(losses.mean()) < 3 * losses.std() / np.sqrt(len(losses))
    # the median scatters by up to 1.25 of a mean; 30 values know their scatter to 13 %
    assert 0.6 < np.sqrt(np.mean(stated**2)) / losses.std(ddof=1) < 1.3


def test_a_loss_that_is_not_certain_leaves_it_to_the_roughness():
    smooth, rough = 0.0, 0.01  # mm
    for beside_cut, rough_mm, kind in (
        ((0.03, 0.004), smooth, "print"),  # over 2 % by more than two sigma
        ((0.03, 0.01), smooth, None),
        ((0.03, 0.01), rough, "print"),
        ((0.0, 0.004), rough, None),  # under 2 % by more than two sigma
    ):
        why = sharpness.Limit("printed", rough_mm, beside_cut).exceeded(8.0)
        assert (why and why.kind) == kind
    # (r f50 / 0.1874)² / 2 of a Gaussian blur (closed form) is 9 % for 10 µm at 8 cy/mm
    assert sharpness.Limit("cut", rough, None).exceeded(8.0).kind == "cut"
    assert sharpness.Limit("cut", rough, None).exceeded(3.5) is None


def test_without_windows_the_roughness_tells():
    results = sharpness.measure([made_sheet(["printed"] * 4, dpi=600, sigma_um=25.0)], Told())
    status, reason_kind, reason = limit_of(results, "printed")
    assert (status, reason_kind) == ("at-least", "print")
    assert "rough" in reason
    assert "µm" in reason


def test_edges_whose_response_is_divided_out_are_no_limit():
    scan = made_sheet(["printed"] * 4, dpi=600, sigma_um=25.0)
    rough = sharpness.measure([scan], Told()).named("sharpness.sfr50")
    assert {m.status for m in rough} == {"at-least"}
    known = sharpness.measure([scan], Told(edge_response=lambda f: np.ones_like(f)))
    for m in known.named("sharpness.sfr50"):
        assert (m.status, m.reason_kind) == ("ok", "method")
        assert "divided out" in m.reason


def test_a_soft_scanner_is_not_excused_by_the_printer():
    # 130 µm of blur: what the toner adds is under 1 % (measured: 0.5 % at this toner)
    sheet = made_sheet(["printed", "cut"] * 4, dpi=300, sigma_um=130.0, toner=0.1)
    results = sharpness.measure([sheet], Told())
    truth = true_crossing(0.5, 130.0 / 1000 / MM_PER_INCH * 300, 300)
    for m in results.named("sharpness.sfr50"):
        assert m.status == "between"
        assert 0.98 * truth < m.low <= 1.01 * truth
        assert m.high < 1.35 * truth  # no paper that is known hides more
