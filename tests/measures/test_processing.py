"""Scans altered by Pillow, OpenCV and scikit-image operations, and scans left alone."""

import io
from dataclasses import replace

import cv2
import numpy as np
import pytest
import skimage.exposure
from PIL import Image, ImageEnhance, ImageFilter, ImageOps
from scipy import ndimage
from scipy.interpolate import BSpline
from scipy.special import ndtr

from scanqa.measures import processing
from scanqa.measures.processing.code_gaps import level_stretch
from scanqa.measures.processing.grain import grain
from scanqa.measures.processing.halo import halos
from scanqa.model import Measurement, Results, Told, Window
from scanqa.numeric.jpeg_trace import find_jpeg
from scanqa.sheets import sheet as printed_by_id
from tests import independent as ind
from tests.measures import printed_sheet, stacked_edges
from tests.measures.printed_page import as_codes, page, placed
from tests.numeric.synthetic_edge import SHAPES, scene


def only(results, name, **where):
    (found,) = (
        m
        for m in results.measurements
        if m.name == name and all(getattr(m, key) == value for key, value in where.items())
    )
    return found


def through_jpeg(pixels, quality, **options):
    buffer = io.BytesIO()
    Image.fromarray(pixels).save(buffer, "JPEG", quality=quality, **options)
    return np.asarray(Image.open(buffer))


@pytest.fixture(scope="module")
def native():
    return page(np.random.default_rng(31), 640, 768)


# ---------------------------------------------------------------------------- sharpening


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    picture = printed_sheet.sheet_picture(tmp_path_factory.mktemp("sheet"))
    return ind.degrade(
        picture, dpi_from=printed_sheet.RASTER_DPI, dpi_to=300, blur_sigma_px=0.8, noise=0.004
    )


@pytest.mark.parametrize("direction", ["across", "travel"])
def test_an_edge_that_a_lens_made_has_no_halo(sheet, direction):
    results = processing.measure([printed_sheet.placed(sheet, 300)], Told())
    found = only(results, "processing.halo", direction=direction)
    assert found.value < processing.HALO_SEEN
    assert (found.reason, found.reason_kind) == ("", None)


@pytest.mark.parametrize("direction", ["across", "travel"])
@pytest.mark.parametrize("by", ["Pillow", "OpenCV"])
def test_an_unsharp_mask_is_seen_as_a_halo_of_its_size(sheet, direction, by):
    if by == "Pillow":
        sharp = Image.fromarray(sheet.squeeze()).filter(ImageFilter.UnsharpMask(1.5, 80, 0))
        sharp = np.asarray(sharp)
    else:
        blurred = cv2.GaussianBlur(sheet.squeeze(), (0, 0), 1.5)
        sharp = cv2.addWeighted(sheet.squeeze(), 1.8, blurred, -0.8, 0)
    found = only(
        processing.measure([printed_sheet.placed(sharp, 300)], Told()),
        "processing.halo",
        direction=direction,
    )
    truth = unsharp_halo(sheet, lens_px=0.8, radius_px=1.5, amount=0.8)
    assert "sharpened" in found.reason
    if found.status == "ok":
        assert found.reason_kind == "software"
        assert found.value == pytest.approx(truth, rel=0.15)
    else:  # it reaches white
        assert found.reason_kind == "clipped"
        assert "cut off" in found.reason
        assert 0.6 * truth < found.value < 1.15 * truth


def halo_of(made):
    (found,) = halos([stacked_edges.placed(made, dpi=300)]).measurements
    return found


def test_a_halo_in_closed_form_and_its_uncertainty():
    profile = SHAPES["sharpened"]
    still = scene(profile, rows=126, half_width=21)
    # light is averaged over half a pixel of distance, at multiples of it
    d = np.arange(-15, 15, 0.01)
    running = ndimage.uniform_filter1d(profile.pixel_edge(d, still.cos, still.sin), 50)
    truth = 100 * (np.interp(np.arange(-8, 8.1, 0.5), d, running).max() - 1)
    assert halo_of([still] * 4).value == pytest.approx(truth, rel=0.005)
    found = [
        halo_of(
            [
                scene(profile, rows=126, half_width=21, noise=0.02, seed=100 * repeat + n)
                for n in range(12)
            ]
        )
        for repeat in range(25)
    ]
    scatter = np.std([m.value for m in found], ddof=1)
    stated = np.sqrt(np.mean([m.uncertainty**2 for m in found]))
    assert 0.7 < stated / scatter < 1.6  # 25 values know their scatter to 14 %
    mean = np.mean([m.value for m in found])
    assert mean == pytest.approx(truth, rel=0.03)  # noise adds to a top


def unsharp_halo(sheet, *, lens_px, radius_px, amount):
    """Percent, of a straight edge in one dimension: sharpened as codes, seen as light."""
    d = np.linspace(-15, 15, 3001)
    dark, bright = (srgb_light(np.percentile(sheet, p) / 255) for p in (2, 50))
    light = dark + (bright - dark) * ndtr(d / np.hypot(lens_px, 1 / 12**0.5))
    codes = srgb_code(light)
    blurred = ndimage.gaussian_filter1d(codes, radius_px / (d[1] - d[0]), mode="nearest")
    sharp = srgb_light(np.clip(codes + amount * (codes - blurred), 0, 1))
    overshoots = (sharp.max() - bright, dark - sharp.min())
    return 100 * max(overshoots) / (bright - dark)


def srgb_light(code):
    """IEC 61966-2-1."""
    return np.where(
        code <= 0.04045, code / 12.92, ((np.maximum(code, 0.04) + 0.055) / 1.055) ** 2.4
    )


def srgb_code(light):
    return np.where(
        light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 0) ** (1 / 2.4) - 0.055
    )


def test_without_a_sheet_halos_are_not_measurable(native):
    found = only(processing.measure([placed(native)], Told()), "processing.halo")
    assert (found.status, found.reason_kind) == ("not-measurable", "no-scan")
    assert "bed sheet" in found.reason


# -------------------------------------------------------------------------------- levels


def stretch_of(pixels, **facts):
    return only(processing.measure([placed(pixels, **facts)], Told()), "processing.level_stretch")


def test_levels_that_were_left_alone_are_1(native):
    found = stretch_of(native)
    assert found.value == pytest.approx(1, abs=0.05)
    assert "no stretch" in found.reason
    assert found.reason_kind == "method"


@pytest.mark.parametrize("gain", [0.7, 0.85, 1.15, 1.3, 1.6, 2.0])
def test_a_gain_is_found_from_its_comb(native, gain):
    found = stretch_of(as_codes((native.astype(float) - 120) * gain + 120))
    assert found.value == pytest.approx(gain, rel=0.12)
    assert abs(found.value - gain) < 4 * found.uncertainty
    assert "altered" in found.reason
    assert found.reason_kind == "software"


def test_the_uncertainty_of_a_gain_covers_it():
    """Histograms made by arithmetic: Gaussian codes, a gain, an offset, whole codes."""
    rng = np.random.default_rng(3)
    for _ in range(200):
        gain = rng.uniform(0.7, 2.2)
        codes = np.round(rng.normal(rng.uniform(90, 150), rng.uniform(25, 40), 200_000))
        stretched = as_codes((np.clip(codes, 0, 255) - 120) * gain + rng.uniform(100, 140))
        found = level_stretch(np.bincount(stretched, minlength=256))
        assert abs(found.gain - gain) < 2.5 * found.gain_error
        assert found.gain_error < 0.07 * gain


def test_automatic_levels_of_three_programs_are_seen(native):
    dull = as_codes(native.astype(float) * 0.7 + 40)
    dull = as_codes(dull + np.random.default_rng(2).normal(0, 1, dull.shape))  # no comb of its own
    altered = [
        np.asarray(ImageOps.autocontrast(Image.fromarray(dull), cutoff=1)),
        np.asarray(ImageEnhance.Contrast(Image.fromarray(dull)).enhance(1.4)),
        cv2.convertScaleAbs(dull, alpha=1.3, beta=-30),
        as_codes(skimage.exposure.rescale_intensity(dull.astype(float), "image", (0, 255))),
    ]
    assert "no stretch" in stretch_of(dull).reason
    for pixels in altered:
        found = stretch_of(pixels)
        assert found.value > 1.08
        assert "altered" in found.reason
        assert found.reason_kind == "software"


@pytest.mark.parametrize("noise", [1.0, 3.0, 8.0])
def test_the_steep_sides_of_a_narrow_histogram_are_no_gaps(noise):
    found = stretch_of(as_codes(blank(noise=noise)[..., 0]))
    assert found.value is None or found.value == pytest.approx(1, abs=0.05)


def test_each_channel_has_its_own_gain(native):
    stretched = as_codes((native.astype(float) - 120) * 1.3 + 120)
    results = processing.measure([placed(np.dstack([native, stretched, native]))], Told())
    assert only(results, "processing.level_stretch", channel="red").value < 1.05
    assert only(results, "processing.level_stretch", channel="green").value > 1.2


def test_what_hides_gaps_is_said(native):
    for found, kind, words in (
        (stretch_of(native.astype(np.uint16) * 257), "range", "16-bit"),
        (stretch_of(native, lossy=True), "compression", "lossy"),
        (stretch_of(np.full((300, 300), 240, np.uint8)), "too-few", "too few"),
    ):
        assert (found.value, found.reason_kind) == (None, kind)
        assert words in found.reason


# --------------------------------------------------------------------------------- grain


def shifted(plane, by):
    """As ``scipy.ndimage.shift(order=5, mode="grid-wrap")``, of which each weight is one number."""
    for axis, distance in enumerate(by):
        plane = np.roll(plane, round(distance), axis=axis)
        if part := distance - round(distance):
            knots = ndimage.spline_filter1d(plane, 5, axis=axis, mode="grid-wrap")
            weights = BSpline.basis_element(np.arange(-3, 4), extrapolate=False)(
                np.arange(-3, 4) - part
            )
            plane = ndimage.convolve1d(knots, np.nan_to_num(weights), axis=axis, mode="grid-wrap")
    return plane


def blank(noise=1.5, grain=0.0, seed=5, *, lens_px=0.8):
    """White paper in colour: noise of its own in each, and the grain of paper behind one lens."""
    rng = np.random.default_rng(seed)
    paper = ndimage.gaussian_filter(rng.normal(0, 1, (640, 640)), lens_px)
    own = rng.normal(0, noise, (640, 640, 3))
    return 235 + (grain * paper / paper.std())[..., None] + own


def grain_of(pixels, direction="across", **facts):
    results = processing.measure([placed(pixels, **facts)], Told())
    return only(results, "processing.grain_kept", direction=direction)


def test_grain_of_a_sensor_is_white():
    found = grain_of(as_codes(blank()))
    assert abs(found.value - 1) < 4 * found.uncertainty
    assert found.uncertainty < 0.05
    assert found.reason == ""


def test_the_uncertainty_of_grain_is_its_scatter():
    found = [m for seed in range(25) for m in grain(placed(as_codes(blank(seed=seed))))]
    values = np.array([m.value for m in found])
    assert values.mean() == pytest.approx(1, abs=0.015)  # 50 values, scatter 0.026
    stated = np.sqrt(np.mean([m.uncertainty**2 for m in found]))
    assert stated == pytest.approx(values.std(ddof=1), rel=0.3)  # known to 10 %


def assert_white_or_a_bound(found):
    """Of one scan a value under 1 is a bound: what texture takes from it was laid on here."""
    low = found.value < 1 - 2 * found.uncertainty
    assert (found.status, found.reason_kind) == (("at-least", "unclear") if low else ("ok", None))


@pytest.mark.parametrize("lens_px", [0.3, 0.5, 0.8])
@pytest.mark.parametrize("grain", [1.0, 3.0])
def test_paper_grain_through_a_lens_is_no_smoothing(lens_px, grain):
    """A crisp lens leaves texture at the finest frequencies too, weakened towards them.

    Two noisy colours foretell a third: of strong texture half the noise's power is left at the most
    (inverse variances add), so that the ratio cannot fall under 1 / 1.5.
    """
    found = grain_of(as_codes(blank(noise=1.0, grain=grain, lens_px=lens_px)))
    assert 1 / 1.5 - 4 * found.uncertainty < found.value < 1 + 4 * found.uncertainty
    assert_white_or_a_bound(found)


def test_colours_that_lie_a_part_of_a_pixel_apart_still_share_the_paper():
    pixels = blank(noise=1.0, grain=3.0, lens_px=0.5)
    own = np.random.default_rng(2).normal(0, 1.0, (640, 640))
    pixels[..., 0] = shifted(pixels[..., 0] - own, (0.4, -0.3)) + own
    assert grain_of(as_codes(pixels)).value == pytest.approx(1, abs=0.15)


@pytest.mark.parametrize("seed", range(2))
@pytest.mark.parametrize("grain", [0.4, 0.6, 0.8])
def test_grain_that_rounding_hides_is_not_taken_for_smoothed(grain, seed):
    """Noise of 0.2 codes leaves rounding errors that follow the paper and are not white."""
    pixels = blank(noise=0.2, grain=grain, seed=seed, lens_px=0.9)
    for direction in ("across", "travel"):
        found = grain_of(as_codes(pixels), direction)
        if found.value is not None:
            assert processing.WHITE[0] < found.value < processing.WHITE[1]
            assert_white_or_a_bound(found)


SMOOTHERS = {
    "Gaussian": lambda p: ndimage.gaussian_filter(p, 0.7),
    "Pillow median": lambda p: np.asarray(
        Image.fromarray(as_codes(p)).filter(ImageFilter.MedianFilter(3)), float
    ),
    "OpenCV box": lambda p: cv2.blur(p, (3, 3)),
    "OpenCV bilateral": lambda p: cv2.bilateralFilter(p.astype(np.float32), 5, 12, 1.5),
}


def in_each_colour(smooth, pixels):
    return np.dstack([smooth(pixels[..., channel]) for channel in range(3)])


@pytest.mark.parametrize("name", SMOOTHERS)
@pytest.mark.parametrize("direction", ["across", "travel"])
def test_smoothing_is_seen(name, direction):
    smoothed = in_each_colour(SMOOTHERS[name], blank(noise=4, grain=1.0))
    found = grain_of(as_codes(smoothed), direction)
    assert not processing.WHITE[0] < found.value < processing.WHITE[1]
    assert "smoothed" in found.reason
    assert found.reason_kind == "software"


def test_smoothing_along_one_axis_is_of_that_axis():
    pixels = as_codes(ndimage.gaussian_filter1d(blank(noise=2.5), 0.8, axis=0))
    assert grain_of(pixels, "travel").value < 0.6
    assert grain_of(pixels, "across").value > 0.85


def test_in_grey_smoothing_looks_like_texture():
    grey = blank(noise=1.0)[..., 0]
    assert abs(grain_of(as_codes(grey)).value - 1) < 0.2
    found = grain_of(as_codes(ndimage.gaussian_filter(blank(noise=4)[..., 0], 0.7)))
    assert (found.status, found.reason_kind) == ("not-measurable", "unclear")
    assert "in colour" in found.reason


def texture(seed, sigma=0.8):
    """Of an object, as a lens shows it: sigma 1."""
    plane = ndimage.gaussian_filter(np.random.default_rng(seed).normal(0, 1, (640, 640)), sigma)
    return plane / plane.std()


def seen_again(base, *, noise=1.0, smooth=0.0, shifts=((0, 0), (0, 0)), times=2):
    """Scans of an object by numpy and scipy: shifted, with noise of their own, then smoothed."""
    out = []
    for at in range(times):
        lies = shifted(base, shifts[at])
        codes = lies + np.random.default_rng(90 + at).normal(0, noise, base.shape)
        if smooth:
            codes = ndimage.gaussian_filter(codes, (smooth, smooth, 0))
        out.append(placed(as_codes(codes), name=f"{at}.tif"))
    return out


GREY = 200 + 4 * texture(1)[..., None]
COLOURED = 200 + 4 * np.dstack([texture(1), texture(2), texture(3)])  # no colour foretells another


def grains(scans, role="picture"):
    scans = [replace(each, role=role) for each in scans]
    measured = processing.measure(scans, Told()).measurements
    return [m for m in measured if m.name == "processing.grain_kept"]


@pytest.mark.parametrize("base", [GREY, COLOURED], ids=["grey", "coloured"])
@pytest.mark.parametrize("shift", [(0, 0), (0.1, 0), (0.3, -0.2)])
@pytest.mark.parametrize("role", ["picture", "blank"])
def test_of_two_scans_texture_cancels(base, shift, role):
    """White noise was laid on: 1. One scan alone cannot know, and must not say smoothed."""
    found = grains(seen_again(base, shifts=((0, 0), shift)), role)
    assert len(found) == 4
    for m in found:
        assert (m.status, m.reason_kind) == ("ok", "method")
        assert abs(m.value - 1) < 4 * m.uncertainty
    for m in grains(seen_again(base, times=1)):
        assert (m.status, m.reason_kind) == ("not-measurable", "unclear")


@pytest.mark.parametrize("strength", [0.2, 4.0])
@pytest.mark.parametrize("channels", [1, 3])
def test_smoothing_is_seen_in_two_scans_of_any_texture(strength, channels):
    """Also where the windows show too little texture, if clouds in the previews are still."""
    clouds = 2 * texture(7, 12.0)
    base = 200 + (strength * texture(1) + clouds)[..., None] * np.ones(channels)
    for m in grains(seen_again(base, noise=4, smooth=0.7)):
        assert (m.status, m.reason_kind) == ("ok", "software")
        assert m.value < 0.3


@pytest.mark.parametrize("shift", [(0, 0.7), (2, 0), (40, -23)])
def test_an_object_that_moved_is_no_repeat(shift):
    for m in grains(seen_again(GREY, shifts=((0, 0), shift))):
        assert (m.status, m.reason_kind) == ("not-measurable", "unclear")


@pytest.mark.parametrize("wander_px", [0.1, 0.2])
def test_strong_texture_on_an_unsteady_carriage_is_no_smoothing(wander_px):
    """Rows wander within a few of them, unlike in both scans; texture has 150 times the noise."""
    y, x = np.meshgrid(np.arange(640.0), np.arange(640.0), indexing="ij")
    scans = []
    for at in range(2):
        rng = np.random.default_rng(50 + at)
        wander = ndimage.gaussian_filter1d(rng.normal(0, 1, 640), 3)
        lines = y + wander_px * (wander / wander.std())[:, None]
        plane = ndimage.map_coordinates(200 + 12 * texture(1), (lines, x), order=3, mode="wrap")
        codes = plane + rng.normal(0, 1, plane.shape)
        scans.append(placed(as_codes(codes[..., None]), name=f"{at}.tif"))
    for m in grains(scans):
        assert m.reason_kind != "software"
        assert m.status != "ok" or abs(m.value - 1) < 0.1


def test_a_copy_of_a_scan_is_no_repeat():
    (one,) = seen_again(GREY, times=1)
    copy = placed(np.array(one.scan.window(Window(0, 0, 640, 640))), name="copy.tif")
    assert {m.reason_kind for m in grains([one, copy])} == {"unclear"}


def test_a_pigment_in_one_colour_is_no_smoothing():
    """Screens of print and dyes of film lie in a colour each: only white paper is known not to."""
    tinted = COLOURED * (1.0, 0.85, 0.7)
    for role in ("claim", "page", "open-book", "blank"):
        for m in grains(seen_again(tinted, times=1), role):
            assert (m.status, m.reason_kind) == ("not-measurable", "unclear")


def test_grain_that_cannot_be_judged_says_why():
    gone = grain_of(as_codes(blank(noise=0.1)))
    assert (gone.value, gone.reason_kind) == (None, "rounding")
    assert "below the rounding" in gone.reason
    results = processing.measure([placed(as_codes(blank()), lossy=True)], Told())
    assert "lossy" in only(results, "processing.grain_kept").reason
    assert only(results, "processing.grain_kept").reason_kind == "compression"
    results = processing.measure([placed(np.full((640, 640), 255, np.uint8))], Told())
    assert "no plain area" in only(results, "processing.grain_kept").reason
    assert only(results, "processing.grain_kept").reason_kind == "no-detail"


# ---------------------------------------------------------------------------------- JPEG


def quality_of(pixels, **facts):
    return only(processing.measure([placed(pixels, **facts)], Told()), "processing.jpeg_quality")


@pytest.mark.parametrize("quality", [40, 60, 75, 85, 90])
def test_quality_is_that_of_the_encoder(native, quality):
    """Pillow's encoder scales the tables of ITU-T T.81 annex K as the IJG's does."""
    found = quality_of(through_jpeg(native, quality))
    assert found.value == pytest.approx(quality, abs=2)
    assert found.uncertainty >= 0.5  # steps are whole numbers: a quality is known to one unit
    assert abs(found.value - quality) < 2.5 * found.uncertainty
    assert found.reason_kind == "compression"
    assert "compressed before" in found.reason


def test_colour_and_subsampling_do_not_matter(native):
    colour = np.dstack([native, native // 2 + 90, 255 - native // 3])
    for subsampling in (0, 2):
        found = quality_of(through_jpeg(colour, 80, subsampling=subsampling), lossy=True)
        assert found.value == pytest.approx(80, abs=2)


def test_another_encoder_and_a_crop_are_seen_through(native):
    """OpenCV's own build of the encoder; the steps it used are read back from the file."""
    data = cv2.imencode(".jpg", native, [cv2.IMWRITE_JPEG_QUALITY, 70])[1]
    table = np.array(Image.open(io.BytesIO(data.tobytes())).quantization[0]).reshape(8, 8)
    decoded = cv2.imdecode(data, cv2.IMREAD_GRAYSCALE)[3:, 6:].astype(float)
    trace = find_jpeg([decoded[:400, :400]], [(0, 0)])
    assert trace.offset == (5, 2)
    right = [table[at] == step for at, step in trace.steps.items()]
    assert np.mean(right) > 0.85  # a step may be passed over where few coefficients are not zero
    found = quality_of(decoded.astype(np.uint8))
    assert found.value == pytest.approx(70, abs=2)
    assert "2, 5 px" in found.reason


def test_without_a_trace_the_quality_is_a_bound(native):
    """It may have been finer than what leaves steps: "none found" is not "none"."""
    untouched = quality_of(native)
    assert (untouched.value, untouched.status) == (92, "at-least")
    assert untouched.reason_kind == "range"
    assert "no trace" in untouched.reason
    fine = quality_of(through_jpeg(native, 97), lossy=True)
    assert (fine.value, fine.status, fine.reason_kind) == (92, "at-least", "compression")


def test_straight_borders_of_one_height_are_no_steps():
    """Edges as a scan of a page shows them: 60 codes, along rows and columns, and some noise."""
    rng = np.random.default_rng(8)
    pixels = np.full((640, 768), 200.0)
    for at in range(40, 600, 37):
        pixels[at : at + 9] -= 60
        pixels[:, at : at + 9] -= 60
    pixels = ndimage.gaussian_filter(pixels, 0.5) + rng.normal(0, 0.5, pixels.shape)
    windows = [np.round(pixels[r : r + 192, c : c + 192]) for r in (0, 192, 384) for c in (0, 192)]
    origins = [(r, c) for r in (0, 192, 384) for c in (0, 192)]
    trace = find_jpeg(windows, origins)
    assert trace is None or trace.quality == 100


def test_blank_paper_shows_no_steps():
    found = quality_of(through_jpeg(as_codes(blank()), 80))
    assert (found.status, found.reason_kind) == ("not-measurable", "no-detail")
    assert "print" in found.reason


# ---------------------------------------------------------------------------------- crop


def test_scans_of_one_bed_have_one_size(native):
    one = replace(placed(native, name="a.tif"), role="blank")
    other = replace(placed(native, name="b.tif"), role="blank")
    for found in processing.measure([one, other], Told()).named("processing.crop"):
        assert (found.value, found.reason) == (0, "")


def test_smaller_scans_were_cropped_at_most_by_the_difference(native):
    """Another area or another scanner makes them smaller as well: nothing follows a paper here."""
    one = replace(placed(native, name="a.tif"), role="blank")
    other = replace(placed(native[:560], name="b.tif"), role="dark")
    whole, cropped = processing.measure([one, other], Told()).named("processing.crop")
    assert (whole.scan, whole.value, whole.reason) == ("a.tif", 0, "")
    assert cropped.value == pytest.approx(80 * 25.4 / 600)
    assert (cropped.status, cropped.reason_kind) == ("at-most", "unclear")
    # a size is a whole number of pixels: even distribution, 1/√12 of one
    assert cropped.uncertainty == pytest.approx(25.4 / 600 / np.sqrt(12))
    turned = replace(placed(native.T, name="c.tif"), role="blank")
    assert {
        m.value for m in processing.measure([one, turned], Told()).named("processing.crop")
    } == {0}


def test_a_scan_that_ends_where_its_sheet_does_was_cropped(native):
    bed_sheet = printed_by_id("bed-sheet-a4")
    dpi = 100.0
    shape = tuple(round(mm * dpi / 25.4) for mm in (bed_sheet.height_mm, bed_sheet.width_mm))
    whole = np.full((shape[0] + 40, shape[1] + 40), 230, np.uint8)
    blank = replace(placed(whole, name="a.tif"), role="blank", dpi=(dpi, dpi))

    def with_sheet(pixels, moved_px):
        onto = np.array([[dpi / 25.4, 0, moved_px - 0.5], [0, dpi / 25.4, moved_px - 0.5]])
        on_it = replace(placed(pixels, name="b.tif"), role="bed-sheet", dpi=(dpi, dpi))
        return replace(on_it, sheet=bed_sheet, to_px=onto)

    cut = with_sheet(whole[: shape[0], : shape[1]], 0.0)
    found = processing.measure([blank, cut], Told()).named("processing.crop")[1]
    assert (found.status, found.reason_kind) == ("ok", "software")
    assert found.value == pytest.approx(40 * 25.4 / dpi)
    beside = with_sheet(whole[:-20, :-20], 8.0)
    found = processing.measure([blank, beside], Told()).named("processing.crop")[1]
    assert (found.status, found.reason_kind) == ("at-most", "unclear")


def test_one_scan_shows_no_difference(native):
    found = only(processing.measure([placed(native)], Told()), "processing.crop")
    assert (found.status, found.reason_kind) == ("not-measurable", "too-few")


# ------------------------------------------------------------------------- what it spoils


def found_in(name, value, *, uncertainty=0.01, scan="a.tif", direction=None, reason=""):
    return Measurement(name, value, uncertainty, scan=scan, direction=direction, reason=reason)


SCRAP = np.full((64, 64), 230, np.uint8)
SCANS = [
    replace(placed(SCRAP, name=name), role=role)
    for name, role in (("a.tif", "blank"), ("b.tif", "dark"), ("sheet.tif", "bed-sheet"))
]


def spoiled(trace, *measured):
    """Names of those that were taken back."""
    kept = processing.withhold(Results((trace, *measured)), SCANS).measurements
    assert kept[0] == trace
    kind = "compression" if trace.name == "processing.jpeg_quality" else "software"
    for before, after in zip(measured, kept[1:], strict=True):
        if after != before:
            assert (after.status, after.reason_kind) == ("not-measurable", kind)
            assert f"it read {before.value:.3g}" in after.reason
    return {m.name for m in kept[1:] if m.value is None}


NOISE = found_in("noise.temporal", 0.3, scan="b.tif")
PATTERN = found_in("streaks.column_pattern", 0.3)
SHADOW = found_in("edges.shadow_left", 2.0, scan="")
WHITE_LEVEL = found_in("tone.white", 95.0, scan="")
SFR50 = found_in("sharpness.sfr50", 4.0, direction="across")
SFR10 = found_in("sharpness.sfr10", 7.0, direction="across")
SHARPNESS = (SFR50.name, SFR10.name)
ALL = (NOISE, PATTERN, SHADOW, WHITE_LEVEL, SFR50, SFR10)


@pytest.mark.parametrize(
    ("trace", "names"),
    [
        (found_in("processing.halo", 8.0, direction="across"), {SFR50.name, SFR10.name}),
        (found_in("processing.halo", 8.0, direction="travel"), set()),
        (found_in("processing.halo", 8.0, direction="across", scan="b.tif"), set()),
        (found_in("processing.halo", 1.0, direction="across"), set()),
        (found_in("processing.level_stretch", 1.2), {NOISE.name, WHITE_LEVEL.name}),
        (found_in("processing.level_stretch", 1.02), set()),
        # a filter that smooths and keeps edges steepens them, too
        (found_in("processing.grain_kept", 0.2), {NOISE.name, PATTERN.name, *SHARPNESS}),
        (found_in("processing.grain_kept", 0.0), {NOISE.name, PATTERN.name, *SHARPNESS}),
        (found_in("processing.grain_kept", 0.9), set()),
        (found_in("processing.jpeg_quality", 85.0), {NOISE.name, PATTERN.name}),
        (found_in("processing.jpeg_quality", 100.0), set()),
        (found_in("processing.crop", 12.0), {SHADOW.name}),
        (found_in("processing.crop", 12.0, scan="sheet.tif"), set()),
        (found_in("processing.crop", 0.2), set()),
    ],
    ids=lambda v: f"{v.name} {v.value:g} {v.scan}" if isinstance(v, Measurement) else "",
)  # fmt: skip
def test_what_a_trace_falsifies_is_taken_back_and_nothing_else(trace, names):
    assert spoiled(trace, *ALL) == names
