"""Scale, turn and squareness against poses in closed form, drawn by poppler."""

from dataclasses import replace

import numpy as np
import pytest

from scanqa.errors import BadOption
from scanqa.locate import locate
from scanqa.measures import geometry
from scanqa.measures.geometry.jitter import INCLUDED, LONGER, Deviations, common_variance
from scanqa.measures.geometry.reversal import reversed_sheet
from scanqa.measures.geometry.straight import of_one
from scanqa.model import Told
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear
from scanqa.scans.overview import overview
from scanqa.sheets import sheet
from scanqa.sheets.pdf import draw
from tests.independent import Pose, degrade, raster, srgb_encode

MIDDLE_MM = (105.0, 148.5)
DPI_SHARE = 0.0005  # half of what is asked
SKEW_DEG = 0.005  # a quarter of what is asked


@pytest.fixture(scope="module")
def bed_pdf(tmp_path_factory):
    path = tmp_path_factory.mktemp("sheets") / "bed.pdf"
    path.write_bytes(draw(sheet("bed-sheet-a4")))
    return path


def placed(pixels, *, dpi, name="bed.tif"):
    scan = ArrayScan(pixels, name=name, dpi=(dpi, dpi))
    (placement,) = locate(scan, overview(scan), linear(scan))
    return placement


def scanned(bed_pdf, pose, *, dpi=200, from_dpi=600, size_mm=None, noise=0.01):
    picture = raster(bed_pdf, from_dpi, pose=pose, size_mm=size_mm)
    return degrade(picture, dpi_from=from_dpi, dpi_to=dpi, blur_sigma_px=0.5, noise=noise)


def value(results, name):
    (measurement,) = results.named(name)
    return measurement.value


@pytest.mark.parametrize(
    ("dpi", "from_dpi", "noise", "pose"),
    [
        (200, 600, 0.02, Pose(turn_deg=-2.0, about_mm=MIDDLE_MM)),
        (300, 600, 0.005, Pose(turn_deg=0.7, about_mm=MIDDLE_MM, stretch=(0.998, 1.003))),
        (300, 600, 0.01, Pose(turn_deg=4.0, about_mm=MIDDLE_MM, shear=0.002)),
        (600, 1200, 0.01, Pose(turn_deg=0.2, about_mm=MIDDLE_MM, stretch=(1.001, 1.0))),
    ],
)
def test_scale_turn_and_squareness(bed_pdf, dpi, from_dpi, noise, pose):
    size = None if from_dpi < 1200 else (210, 150)
    pixels = scanned(bed_pdf, pose, dpi=dpi, from_dpi=from_dpi, noise=noise, size_mm=size)
    results = geometry.measure([placed(pixels, dpi=dpi)], Told())
    # The sensor sees stretch[0] × dpi samples in an inch of glass; a carriage askew by `shear`
    # travels further for the same height.
    assert value(results, "geometry.dpi_across") == pytest.approx(
        dpi * pose.stretch[0], rel=DPI_SHARE
    )
    travel = dpi * pose.stretch[1] / np.hypot(1, pose.shear)
    assert value(results, "geometry.dpi_travel") == pytest.approx(travel, rel=DPI_SHARE)
    assert value(results, "geometry.skew") == pytest.approx(pose.turn_deg, abs=SKEW_DEG)
    lean = np.rad2deg(np.arctan(pose.shear))
    assert value(results, "geometry.orthogonality") == pytest.approx(lean, abs=SKEW_DEG)
    assert value(results, "geometry.distortion") < 0.005  # %: 18 µm


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_across_stays_across_however_the_sheet_lies(bed_pdf, quarters):
    pose = Pose(turn_deg=1.0, about_mm=MIDDLE_MM, stretch=(1.0, 1.01))
    pixels = scanned(bed_pdf, pose)
    turned = geometry.measure([placed(np.rot90(pixels, -quarters).copy(), dpi=200)], Told())
    wide, high = ("travel", "across") if quarters % 2 else ("across", "travel")
    assert value(turned, f"geometry.dpi_{wide}") == pytest.approx(200, rel=DPI_SHARE)
    assert value(turned, f"geometry.dpi_{high}") == pytest.approx(202, rel=DPI_SHARE)
    # The stretch is now on the other axis: it turns the sheet's lines by 1 % of the turn.
    assert value(turned, "geometry.skew") == pytest.approx(1.0, abs=0.012)


def test_a_steel_rule_takes_the_printer_out(bed_pdf):
    pose = Pose(turn_deg=0.5, about_mm=MIDDLE_MM, printer=(0.997, 1.007))
    placement = placed(scanned(bed_pdf, pose), dpi=200)
    wrong = geometry.measure([placement], Told())
    assert value(wrong, "geometry.dpi_travel") == pytest.approx(200 * 1.007, rel=DPI_SHARE)
    assert "printer's scale is included" in wrong.named("geometry.dpi_travel")[0].reason
    assert wrong.named("geometry.dpi_travel")[0].reason_kind == "print"
    (of_the_print,) = wrong.named("geometry.dpi_travel")[0].shared
    assert (of_the_print.kind, of_the_print.of) == ("print", "")
    off = 200 * 0.007  # of the printer, which nobody measured: within what is stated
    assert off < 2 * of_the_print.size < 3 * off * 1.5
    across, down = placement.sheet.bars_mm
    right = geometry.measure([placement], Told(bars_mm=(0.997 * across, 1.007 * down)))
    for name in ("geometry.dpi_across", "geometry.dpi_travel"):
        assert value(right, name) == pytest.approx(200, rel=DPI_SHARE)
        (m,) = right.named(name)
        assert m.reason == ""
        assert m.uncertainty > 200 * 0.05 / across  # the rule's own
        # a length read to 0.1 mm is off by up to half of that, 0.05 mm as our standard uncertainty
        (by_rule,) = m.shared
        assert by_rule.kind == "rule"
        assert by_rule.size == pytest.approx(200 * 0.05 / min(across, down), rel=1e-3)
        assert m.uncertainty == pytest.approx(np.hypot(by_rule.size, m.random))
        assert m.random < 0.1 * by_rule.size
    assert value(right, "geometry.printer_across") == pytest.approx(-0.3)
    assert value(right, "geometry.printer_down") == pytest.approx(0.7)
    (printed,) = right.named("geometry.printer_down")
    assert printed.uncertainty == pytest.approx(100 * 0.05 / down)
    assert printed.shared[0].size == pytest.approx(printed.uncertainty)
    assert printed.shared[0].of == by_rule.of  # one reading, one error
    assert wrong.named("geometry.printer_across") == ()


def test_a_misread_rule_is_refused(bed_pdf):
    placement = placed(scanned(bed_pdf, Pose(), dpi=100), dpi=100)
    with pytest.raises(BadOption, match="a bar of 80 mm"):
        geometry.measure([placement], Told(bars_mm=(180.0, 80.0)))


def test_uncertainty_covers_the_truth():
    """Closed form: 35 tags with Gaussian errors; intervals of two sigma hold the truth."""
    rng = np.random.default_rng(11)
    ys, xs = np.mgrid[0:7, 0:5]
    mm = np.stack([20 + 42.5 * xs, 20 + 42.8 * ys], axis=-1).reshape(-1, 2)
    px = mm * 300 / 25.4
    hits = []
    for _ in range(400):
        found = geometry.steps(px + rng.normal(0, 0.1, px.shape), mm)
        z = (found.dpi[0] / 300 - 1) / found.relative[0]
        hits.append(abs(z) < 1.96)
    assert 0.91 < np.mean(hits) < 0.98  # 95 %, ± 3 sigma of 400 draws, and Student's tails


def test_a_bend_is_measured_and_mapped():
    """A tag field whose middle column is pushed down by a parabola of 0.3 mm."""
    ys, xs = np.mgrid[0:7, 0:5]
    mm = np.stack([20 + 42.5 * xs, 20 + 42.8 * ys], axis=-1).reshape(-1, 2)
    u = (mm[:, 0] - 105) / 85
    bent = mm + np.stack([0 * u, 0.3 * (1 - u**2)], axis=1)
    found = geometry.steps(bent * 300 / 25.4, mm)
    # An affine fit takes out the mean of 1 - u² at u = -1, -½, 0, ½, 1: 0.5.
    assert found.bends_mm[:, 1].max() == pytest.approx(0.15, abs=0.002)
    assert found.bends_mm[:, 1].min() == pytest.approx(-0.15, abs=0.002)
    assert np.abs(found.bends_mm[:, 0]).max() < 1e-9


def test_no_sheet_no_numbers():
    results = geometry.measure([], Told())
    assert {m.name for m in results.measurements} == {*geometry.NAMES, geometry.JITTER}
    assert all(m.status == "not-measurable" and m.reason for m in results.measurements)
    assert {m.reason_kind for m in results.measurements} == {"no-scan"}


# ------------------------------------------------------------------------------- reversal

PRINTER = (1.0, 1.007)
STRETCH = (1.002, 0.997)


@pytest.fixture(scope="module")
def turned_scans(bed_pdf):
    """One badly printed sheet on an A4 bed: upright, turned by 90° (partly off it), by 180°."""
    scans = {}
    for turn in (0, 90, 180):
        pose = Pose(
            turn_deg=turn + 0.4,
            about_mm=MIDDLE_MM,
            shift_mm=(1.0, 0.5) if turn != 90 else (0.0, -40.0),
            printer=PRINTER,
            stretch=STRETCH,
            shear=0.001,
        )
        pixels = scanned(bed_pdf, pose, size_mm=(216, 297), noise=0.005)
        scans[turn] = placed(pixels, dpi=200, name=f"bed-{turn}.tif")
    return scans


@pytest.mark.parametrize("turns", [(0, 90), (0, 90, 180)])
def test_turning_the_sheet_tells_the_printer_from_the_scanner(turned_scans, turns):
    placements = [turned_scans[turn] for turn in turns]
    across, down = placements[0].sheet.bars_mm
    bars = (PRINTER[0] * across, PRINTER[1] * down)
    results = geometry.measure(placements, Told(bars_mm=bars))
    assert value(results, "geometry.dpi_across") == pytest.approx(200 * STRETCH[0], rel=2e-4)
    travel = 200 * STRETCH[1] / np.hypot(1, 0.001)
    assert value(results, "geometry.dpi_travel") == pytest.approx(travel, rel=2e-4)
    assert value(results, "geometry.orthogonality") == pytest.approx(0.0573, abs=0.003)
    assert value(results, "geometry.printer_across") == pytest.approx(0.0, abs=0.02)
    assert value(results, "geometry.printer_down") == pytest.approx(0.7, abs=0.02)
    assert value(results, "geometry.printer_squareness") == pytest.approx(0.0, abs=0.003)
    assert value(results, "geometry.distortion") < 0.005
    assert len(results.named("geometry.skew")) == len(turns)
    # the mean of two bars, each read to 0.05 mm, the shorter of them
    by_rule = 0.05 / min(across, down) / np.sqrt(2)
    for direction, whole in (("across", 200 * STRETCH[0]), ("travel", travel)):
        (m,) = results.named(f"geometry.dpi_{direction}")
        assert m.direction == direction
        assert [part.kind for part in m.shared] == ["rule"]
        assert m.shared[0].size == pytest.approx(whole * by_rule, rel=1e-3)
        assert m.uncertainty == pytest.approx(np.hypot(m.shared[0].size, m.random))
    for name in ("geometry.printer_across", "geometry.printer_down"):
        (part,) = results.named(name)[0].shared
        assert part.size == pytest.approx(100 * by_rule, rel=1e-3)


def test_without_a_rule_the_ratio_of_the_axes_is_right(turned_scans):
    results = geometry.measure(list(turned_scans.values()), Told())
    ratio = value(results, "geometry.dpi_across") / value(results, "geometry.dpi_travel")
    assert ratio == pytest.approx(STRETCH[0] / STRETCH[1], rel=2e-4)
    (dpi,) = results.named("geometry.dpi_across")
    assert "mean scale is taken as true" in dpi.reason
    (of_the_print,) = dpi.shared
    assert (dpi.reason_kind, of_the_print.kind) == ("print", "print")
    assert of_the_print.size == pytest.approx(0.01 * dpi.value)


def test_half_a_turn_alone_tells_nothing_apart(turned_scans):
    results = geometry.measure([turned_scans[0], turned_scans[180]], Told())
    assert len(results.named("geometry.dpi_across")) == 2  # each scan for itself
    assert not results.named("geometry.printer_across")


# -------------------------------------------------------- uncertainties, bends of known size

SHAKE_PX = 0.15  # of each coordinate of a corner, a standard deviation: much more than is seen
PX_MM = 25.4 / 200


def shaken(rng, placement):
    """As if the corners of its tags had been found somewhere else."""
    corners = placement.corners_px
    return replace(placement, corners_px=corners + rng.normal(0, SHAKE_PX, corners.shape))


def scatter_and_stated(rows):
    """Standard deviation of the values of each name, and the stated one (root mean square)."""
    found = {}
    for m in rows:
        found.setdefault(m.name, []).append((m.value, m.random))
    return {
        name: (np.std([v for v, _ in pairs], ddof=1), np.sqrt(np.mean([u**2 for _, u in pairs])))
        for name, pairs in found.items()
    }


def test_stated_uncertainties_of_a_scan_are_the_scatter_of_repeats(turned_scans):
    rng, placement = np.random.default_rng(2), turned_scans[0]
    rows = [m for _ in range(80) for m in of_one(shaken(rng, placement), Told()).measurements]
    found = scatter_and_stated(rows)
    for name in ("dpi_across", "dpi_travel", "skew", "orthogonality"):
        scatter, stated = found[f"geometry.{name}"]
        assert stated == pytest.approx(scatter, rel=0.3)  # 80 values know their scatter to 8 %
    # the place of one tag: the mean of four corners, over the diagonal of A4 (ISO 216)
    of_a_tag = 100 * SHAKE_PX / 2 * PX_MM / np.hypot(210, 297)
    assert found["geometry.distortion"][1] == pytest.approx(of_a_tag, rel=0.05)


@pytest.mark.parametrize("bars_mm", [None, (180.0, 181.0)])
def test_stated_uncertainties_of_reversal_are_the_scatter_of_repeats(turned_scans, bars_mm):
    rng = np.random.default_rng(3)
    rows = []
    for _ in range(40):
        again = [shaken(rng, placement) for placement in turned_scans.values()]
        rows += reversed_sheet(again, Told(bars_mm=bars_mm)).measurements
    found = scatter_and_stated(rows)
    assert len(found) == 8
    for name, (scatter, stated) in found.items():
        if "distortion" not in name:  # the largest of many is no repeat of one
            assert 0.75 < stated / scatter < 1.6  # 40 values know their scatter to 11 %


def bowed(placement, sagitta_mm):
    """A sensor line that bows by so much from its middle to its ends."""
    width = placement.scan.width_px
    u = 2 * placement.corners_px.mean(axis=1)[:, 0] / width - 1
    corners = placement.corners_px.copy()
    corners[:, :, 1] += (sagitta_mm / PX_MM * u**2)[:, None]
    return replace(placement, corners_px=corners)


def largest_left(at, bends):
    """Largest of displacements (points, 2) when their best straight map is taken off."""
    design = np.column_stack([np.ones(len(at)), at])
    left = bends - design @ np.linalg.lstsq(design, bends, rcond=None)[0]
    return np.hypot(*left.T).max()


def test_a_bowed_sensor_is_the_distortion(turned_scans):
    sagitta_mm = 0.5
    scans = list(turned_scans.values())
    places = [p.corners_px.mean(axis=1) for p in scans]
    width = scans[0].scan.width_px

    def truth(at):
        u = 2 * at[:, 0] / width - 1
        bends = np.stack([0 * u, sagitta_mm * u**2], axis=1)
        return 100 * largest_left(at, bends) / np.hypot(210, 297)

    alone = of_one(bowed(scans[0], sagitta_mm), Told())
    assert value(alone, "geometry.distortion") == pytest.approx(truth(places[0]), rel=0.03)
    rng, rows = np.random.default_rng(4), []
    bent = [bowed(placement, sagitta_mm) for placement in scans]
    for _ in range(40):
        rows += reversed_sheet([shaken(rng, placement) for placement in bent], Told()).measurements
    found = [m for m in rows if m.name == "geometry.distortion"]
    middle = np.mean([m.value for m in found])
    assert middle == pytest.approx(truth(np.concatenate(places)), rel=0.03)
    scatter, stated = scatter_and_stated(found)["geometry.distortion"]
    assert 0.85 < stated / scatter < 1.8  # what a smooth field leaves open is in it as well


def test_a_tag_that_was_printed_elsewhere_is_the_printers_distortion(turned_scans):
    off_mm, number = np.array([0.6, 0.3]), 17
    scans = []
    for placement in turned_scans.values():
        corners = placement.corners_px.copy()
        corners[placement.tags.index(number)] += off_mm @ placement.to_px[:, :2].T
        scans.append(replace(placement, corners_px=corners))
    tags = scans[0].piece.tags
    seen = [tag for tag in tags if any(tag.id in p.tags for p in scans)]
    bends = np.array([off_mm if tag.id == number else (0.0, 0.0) for tag in seen])
    truth = largest_left(np.array([tag.centre_mm for tag in seen]), bends)
    found = geometry.measure(scans, Told())
    assert value(found, "geometry.printer_distortion") == pytest.approx(
        100 * truth / np.hypot(210, 297), rel=0.02
    )


# --------------------------------------------------------------------------------- jitter


def test_the_error_of_the_common_variance_is_its_scatter():
    """Closed form: rows share a displacement of known variance, borders add their own."""
    rng = np.random.default_rng(6)
    rows = np.concatenate([100.0 * group + np.arange(16) for group in range(40)])
    found = []
    for _ in range(300):
        shared = rng.normal(0, 3.0, len(rows))
        borders = shared[:, None] + rng.normal(0, 5.0, (len(rows), 4))
        found.append(common_variance(Deviations(rows, borders), gap_rows=20))
    variances, errors = np.array(found).T
    assert variances.mean() == pytest.approx(9.0, abs=4 * variances.std() / np.sqrt(300))
    assert np.sqrt(np.mean(errors**2)) == pytest.approx(variances.std(), rel=0.15)


JITTER_DPI = 300


def unsteady(picture, rows_um, *, noise=0.005):
    """Scan from 1200 dpi, each row shifted along travel by so many µm (too late: +)."""
    factor = 1200 // JITTER_DPI
    rows, cols = (n // factor for n in picture.shape)
    wide = picture[: rows * factor, : cols * factor].reshape(-1, cols, factor).mean(axis=2)
    total = np.concatenate([np.zeros((1, cols)), np.cumsum(wide, axis=0, dtype=np.float64)])

    def light_above(at):
        low = np.clip(np.floor(at).astype(int), 0, len(total) - 2)
        part = (at - low)[:, None]
        return total[low] * (1 - part) + total[low + 1] * part

    top = np.arange(rows) * factor + rows_um(np.arange(rows)) / 25400 * 1200
    light = (light_above(top + factor) - light_above(top)) / factor
    rng = np.random.default_rng(8)
    light = 0.05 + 0.83 * light + noise * rng.standard_normal(light.shape)
    return np.rint(255 * srgb_encode(light)).astype(np.uint8)


@pytest.fixture(scope="module")
def upright(bed_pdf):
    pose = Pose(turn_deg=0.3, about_mm=MIDDLE_MM)
    return raster(bed_pdf, 1200, pose=pose, size_mm=(210, 200))


def jitter_of(pixels):
    results = geometry.measure([placed(pixels, dpi=JITTER_DPI)], Told())
    (row,) = [m for m in results.measurements if m.name == geometry.JITTER]
    (spectrum,) = [e for e in results.evidence if e.explains == geometry.JITTER]
    return row, spectrum.curves[0]


def test_an_unsteady_carriage_is_measured_with_its_period(upright):
    amplitude_um, period_mm = 20.0, 0.6

    def wave(row):
        return amplitude_um * np.sin(2 * np.pi * row * 25.4 / JITTER_DPI / period_mm)

    row, spectrum = jitter_of(unsteady(upright, wave))
    # A sine's rms, less twice what the height of a pixel averages out, and less what a straight
    # line takes from n = 2 waves: 6 / (π n)² of a sine's variance, half that over all phases.
    lost = np.sinc(25.4 / JITTER_DPI / period_mm) ** 2 * np.sqrt(1 - 3 / (2 * np.pi) ** 2)
    # What the width of the transition (about a pixel) averages is not in that: a little less.
    assert 0.96 < row.value / (lost * amplitude_um / np.sqrt(2)) < 1.01
    assert abs(row.value - amplitude_um / np.sqrt(2)) < 2 * row.uncertainty
    assert spectrum.x[spectrum.y.argmax()] == pytest.approx(1 / period_mm, rel=0.02)
    assert spectrum.y.max() == pytest.approx(0.85 * amplitude_um, rel=0.15)


def test_random_steps_of_the_carriage_are_measured(upright):
    steps = np.random.default_rng(5).normal(0, 15, 3000)
    row, _ = jitter_of(unsteady(upright, lambda row: steps[row]))
    # White from line to line; the width of the transition (about a pixel) averages some of it.
    assert 7 < row.value < 15


@pytest.mark.parametrize("period_mm", [12.0, 20.0])
def test_a_wave_longer_than_what_can_be_seen_is_not_denied(upright, period_mm):
    """Waves of 71 to 141 µm rms were denied with "none above 0.4 µm"."""

    def wave(row):
        return 150.0 * np.sin(2 * np.pi * row * 25.4 / JITTER_DPI / period_mm)

    row, _ = jitter_of(unsteady(upright, wave))
    if row.value is None:
        assert row.reason_kind == "noise"
        assert "waves of up to about 1 mm" in row.reason
        assert LONGER in row.reason
    else:
        assert INCLUDED in row.reason


def test_a_steady_carriage_has_no_jitter(upright):
    row, _ = jitter_of(unsteady(upright, lambda row: 0.0 * row))
    if row.value is None:
        assert row.reason_kind == "noise"
        assert "none above" in row.reason
        assert float(row.reason.split()[2]) < 2.0  # µm
    else:
        assert row.value < 1.5
