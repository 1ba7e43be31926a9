"""Levels against published lightness, and patches placed by a known map."""

import math
from pathlib import Path

import numpy as np
import pytest

from scanqa.measures import tone
from scanqa.model import Patch, Piece, Told
from tests.measures.paper import MM, placed, placed_codes, value

# CIE 15 lightness of relative luminance in %: see tests/external/README.md.
TABLE = Path(__file__).parents[1] / "external" / "cie_lstar.csv"
PAIRS = np.loadtxt(TABLE, delimiter=",", skiprows=2)[:, :2]


@pytest.mark.parametrize(("percent", "lightness"), PAIRS)
def test_lightness_of_white_is_the_published_one(percent, lightness):
    blank = placed(np.full((300, 200), percent / 100), 100, noise=0.0005, bits=16)
    (m,) = tone.measure([blank], Told()).named("tone.white")
    assert m.value == pytest.approx(lightness, abs=0.02)


def test_white_does_not_heed_dust():
    light = np.full((300, 200), 0.8)
    light[::7, ::5] = 0.1
    found = tone.measure([placed(light, 100, noise=0.01)], Told())
    assert value(found, "tone.white") == pytest.approx(116 * 0.8 ** (1 / 3) - 16, abs=0.3)


@pytest.mark.parametrize("off", [-0.45, -0.2, 0.3, 0.49])
def test_a_level_between_two_codes_is_known_to_their_step(off):
    """Paper without grain comes out as whole codes: 230 ± a half is 0.2 L* and more."""
    scan = placed_codes(np.full((200, 200), 230, np.uint8), 100)
    (white,) = tone.measure([scan], Told()).named("tone.white")
    code = (230 + off) / 255
    light = ((code + 0.055) / 1.055) ** 2.4  # IEC 61966-2-1
    true = 116 * light ** (1 / 3) - 16
    assert abs(white.value - true) < 1.96 * white.uncertainty
    assert white.uncertainty < 0.15


def test_repeats_that_differ_show_in_the_uncertainty():
    levels = (0.78, 0.80, 0.82)
    blanks = [placed(np.full((300, 200), y), 100, noise=0.01, seed=i) for i, y in enumerate(levels)]
    (m,) = tone.measure(blanks, Told()).named("tone.white")
    expected = np.std([116 * y ** (1 / 3) for y in levels], ddof=1) / math.sqrt(3)
    assert m.uncertainty == pytest.approx(expected, rel=0.3)


def test_clipped_counts_samples_once_for_each_scan():
    codes = np.full((200, 300, 3), 200, np.uint8)
    codes[:20, :, 0] = 255  # a tenth of one channel in three
    strips = [placed_codes(codes, 100, role="edge-strip", name="strips.tif") for _ in range(3)]
    blank = placed(np.full((300, 200), 0.5), 100)
    found = tone.measure([blank, *strips], Told()).named("tone.clipped")
    assert {m.scan: m.value for m in found} == {
        "blank.tif": 0.0,
        "strips.tif": pytest.approx(100 / 30),
    }


def test_black_is_that_of_the_black_card():
    dark = placed(
        np.full((300, 200), 0.01), 100, noise=0.001, role="dark", bits=16, name="dark.tif"
    )
    found = tone.measure([dark], Told())
    assert value(found, "tone.black") == pytest.approx(8.9914, abs=0.2)  # CIE 15 at 1 %
    (white,) = [m for m in found.measurements if m.name == "tone.white"]
    assert "blank" in white.reason


COVERS = (0.0, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 1.0)
SOLID_DENSITY = 1.40


def halftone_sheet(*, gain=0.0, gamma=1.0):
    """Eight patches of line screen; `gain` is added to the middle covers, `gamma` bends light."""
    patches = tuple(
        Patch(f"patch-{i + 1}-{c * 100:.0f}", (5.0, 4 + 11.0 * i, 17.0, 12 + 11.0 * i), c)
        for i, c in enumerate(COVERS)
    )
    piece = Piece("page", ((0, 0), (60, 0), (60, 95), (0, 95)), (), patches=patches)
    dpi = 300
    scale = dpi / MM
    y, x = (np.mgrid[: round(95 * scale), : round(30 * scale)] + 0.5) / scale
    light = np.full(x.shape, 0.8)
    for patch in patches:
        left, top, right, bottom = patch.box_mm
        inside = (x > left) & (x < right) & (y > top) & (y < bottom)
        cover = patch.cover + 4 * gain * patch.cover * (1 - patch.cover)
        dots = (x * 2.0 + y * 0.5) % 1.0 < cover  # a line screen of 2 lines to the mm
        light[inside & dots] = 0.8 * 10**-SOLID_DENSITY
    to_px = np.array([[scale, 0, -0.5], [0, scale, -0.5]])
    scan = placed(
        light**gamma, dpi, role="bed-sheet", noise=0.002, name="sheet.tif", piece=piece, to_px=to_px
    )
    return scan, patches


def measured(patches, field):
    """What a densitometer says of even patches of that cover (Murray & Davies 1936)."""
    light = {p.name: 0.8 * (1 - p.cover * (1 - 10**-SOLID_DENSITY)) for p in patches}
    convert = {
        "D_VIS": lambda y: -math.log10(y),
        "XYZ_Y": lambda y: 100 * y,
        "LAB_L": lambda y: 116 * y ** (1 / 3) - 16,  # all are above the toe
    }[field]
    return {name: {field: convert(y)} for name, y in light.items()}


def test_ink_area_is_murray_davies():
    # Murray 1936, worked: Dt 0.30, Ds 1.50 above paper → 0.51510; Dt 0.80 → 0.86899.
    for density, area in ((0.30, 0.51510), (0.80, 0.86899)):
        assert tone.ink_area(10**-density, 1.0, 10**-1.50) == pytest.approx(area, abs=5e-6)


@pytest.mark.parametrize("gain", [0.0, 0.12])
def test_without_reference_the_ink_area_is_shown_as_indicative(gain):
    scan, _ = halftone_sheet(gain=gain)
    found = tone.measure([scan], Told())
    (evidence,) = found.evidence
    seen = evidence.curves[0].y
    expected = [100 * (c + 4 * gain * c * (1 - c)) for c in COVERS]
    assert seen == pytest.approx(expected, abs=1.5)  # a patch holds 20 lines of its screen
    assert "ndicative" in evidence.note
    (m,) = [m for m in found.measurements if m.name == "tone.response"]
    assert m.status == "not-measurable"


@pytest.mark.parametrize("field", ["D_VIS", "XYZ_Y", "LAB_L"])
def test_with_measured_patches_the_response_is_exact(field):
    scan, patches = halftone_sheet()
    found = tone.measure([scan], Told(reference=measured(patches, field)))
    (m,) = found.named("tone.response")
    assert m.value < 1.0  # L*: what is left is the coarse screen cut off by the patch
    (evidence,) = found.evidence
    density, codes = evidence.curves[0].x, evidence.curves[0].y
    assert np.all(np.diff(density) > 0)
    assert np.all(np.diff(codes) < 0)
    assert density[-1] == pytest.approx(SOLID_DENSITY - math.log10(0.8), abs=0.001)


def test_a_wrong_tone_curve_shows_in_the_response():
    """Light to the power 1.15 darkens: by L* in closed form, most somewhere in the middle."""
    scan, patches = halftone_sheet(gamma=1.15)
    by_number = {str(i + 1): v for i, v in enumerate(measured(patches, "D_VIS").values())}
    (m,) = tone.measure([scan], Told(reference=by_number)).named("tone.response")
    # The screen's dots are darkened one by one: paper and solid, by their share.
    paper, solid = 0.8**1.15, (0.8 * 10**-SOLID_DENSITY) ** 1.15
    truth = [1 - c for c in COVERS]
    errors = [
        116 * np.cbrt(solid + (paper - solid) * t)
        - 116 * np.cbrt(0.8 * (1 - (1 - t) * (1 - 10**-SOLID_DENSITY)))
        for t in truth
    ]
    assert m.value == pytest.approx(max(abs(e) for e in errors), abs=1.0)
    assert "darker" in m.reason


def test_a_reference_of_other_patches_is_refused():
    scan, _ = halftone_sheet()
    found = tone.measure([scan], Told(reference={"GS0": {"D_VIS": 0.1}}))
    (m,) = [m for m in found.measurements if m.name == "tone.response"]
    assert "0 patches" in m.reason


def test_range_is_the_density_between_white_and_black():
    blank = placed(np.full((300, 200), 0.8), 100, noise=0.002, bits=16)
    dark = placed(np.full((300, 200), 0.02), 100, noise=0.001, role="dark", bits=16)
    found = tone.measure([blank, dark], Told())
    (m,) = found.named("tone.range")
    assert m.value == pytest.approx(math.log10(40), abs=0.01)
    assert m.status == "at-least"


def test_black_that_is_cut_off_has_no_range():
    blank = placed(np.full((300, 200), 0.8), 100)
    dark = placed(np.zeros((300, 200)), 100, role="dark")
    found = tone.measure([blank, dark], Told())
    (m,) = [m for m in found.measurements if m.name == "tone.range"]
    assert "cut off" in m.reason


def sheet_scan(turn_deg, *, shift_mm=(5.0, 5.0), black=0.03, dpi=150):
    """A page of 60 × 90 mm with three patches."""
    patches = (
        Patch("solid", (10.0, 10.0, 22.0, 18.0), 1.0),
        Patch("half", (10.0, 30.0, 22.0, 38.0), 0.5),
        Patch("solid-low", (10.0, 50.0, 22.0, 58.0), 1.0),
    )
    piece = Piece("page", ((0, 0), (60, 0), (60, 90), (0, 90)), (), patches=patches)
    angle, scale = math.radians(turn_deg), dpi / MM
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    middle = np.array([30.0, 45.0])
    shift = middle + shift_mm - turn @ middle
    rows, cols = round(100 * scale), round(70 * scale)
    if turn_deg in (90, 270):
        rows, cols = round(100 * scale), round(100 * scale)
        shift = np.array([50.0, 50.0]) - turn @ middle
    y, x = (np.mgrid[:rows, :cols] + 0.5) / scale
    sheet_x, sheet_y = np.tensordot(turn.T, np.array([x - shift[0], y - shift[1]]), axes=1)
    light = np.full((rows, cols), 0.8)
    for patch, level in zip(patches, (black, 0.4, 2 * black), strict=True):
        left, top, right, bottom = patch.box_mm
        inside = (sheet_x > left) & (sheet_x < right) & (sheet_y > top) & (sheet_y < bottom)
        light[inside] = level
    to_px = np.column_stack([turn * scale, shift * scale - 0.5])
    return placed(
        light, dpi, role="bed-sheet", noise=0.002, name="sheet.tif", piece=piece, to_px=to_px
    )


@pytest.mark.parametrize("turn_deg", [0, 3, 90, 180, 270])
def test_without_black_card_the_darkest_solid_patch_counts(turn_deg):
    (m,) = tone.measure([sheet_scan(turn_deg)], Told()).named("tone.black")
    assert m.value == pytest.approx(20.0439, abs=0.2)  # CIE 15 at 3 %
    assert "card" in m.reason
    assert m.scan == "sheet.tif"


def test_patches_outside_the_image_do_not_count():
    found = tone.measure([sheet_scan(0, shift_mm=(-15.0, 0.0))], Told())
    (m,) = [m for m in found.measurements if m.name == "tone.black"]
    assert m.status == "not-measurable"
    assert "card" in m.reason


def test_the_error_of_the_range_is_that_of_both_levels():
    """Levels of three white and three dark scans that differ: log₁₀ of each mean, in quadrature."""
    white, black = (0.78, 0.80, 0.82), (0.019, 0.020, 0.021)
    scans = [placed(np.full((300, 200), y), 100, bits=16) for y in white]
    scans += [placed(np.full((300, 200), y), 100, bits=16, role="dark") for y in black]
    (m,) = tone.measure(scans, Told()).named("tone.range")
    parts = [np.std(np.log10(levels), ddof=1) / math.sqrt(3) for levels in (white, black)]
    assert m.uncertainty == pytest.approx(math.hypot(*parts), rel=0.1)


def even_sheet(levels, *, noise=0.0, seed=1, dpi=100):
    """Patches of 12 × 8 mm printed in even greys of known light, the first one solid."""
    patches = tuple(
        Patch(f"grey-{i}", (5.0, 4 + 11.0 * i, 17.0, 12 + 11.0 * i), float(i == 0))
        for i in range(len(levels))
    )
    scale, height = dpi / MM, 4 + 11.0 * len(levels)
    piece = Piece("page", ((0, 0), (30, 0), (30, height), (0, height)), (), patches=patches)
    light = np.full((round(height * scale), round(22 * scale)), 0.8)
    for patch, level in zip(patches, levels, strict=True):
        left, top, right, bottom = (round(mm * scale) for mm in patch.box_mm)
        light[top:bottom, left:right] = level
    to_px = np.array([[scale, 0, -0.5], [0, scale, -0.5]])
    return placed(
        light, dpi, role="bed-sheet", noise=noise, seed=seed, bits=16, piece=piece, to_px=to_px
    )


GREYS = (0.03, 0.1, 0.25, 0.5, 0.7)


def test_the_response_is_the_largest_error_of_lightness():
    """Truth and scan agree but for one patch, said to be 0.25 that came out as 0.30."""
    wrong = 116 * (np.cbrt(0.30) - np.cbrt(0.25))  # CIE 15 above its toe
    reference = {str(i): {"XYZ_Y": 100 * y} for i, y in enumerate(GREYS)}
    scanned = even_sheet([0.30 if y == 0.25 else y for y in GREYS])
    (m,) = tone.measure([scanned], Told(reference=reference)).named("tone.response")
    assert m.value == pytest.approx(wrong, abs=0.05)
    assert m.reason == "worst of 5: grey-2 came out lighter"


@pytest.mark.parametrize("name", ["tone.black", "tone.response"])
def test_stated_errors_of_patches_are_the_scatter(name):
    """A hundred sheets; they know a scatter to 7 %."""
    told = Told(reference={str(i): {"XYZ_Y": 100 * y} for i, y in enumerate(GREYS)})
    levels = [0.30 if y == 0.25 else y for y in GREYS]
    found = [
        tone.measure([even_sheet(levels, noise=0.01, seed=seed)], told).named(name)[0]
        for seed in range(100)
    ]
    scatter = np.std([m.value for m in found], ddof=1)
    stated = np.sqrt(np.mean([m.uncertainty**2 for m in found]))
    assert 0.7 < stated / scatter < 1.4


@pytest.mark.parametrize("light", [0.8031, 0.039])
def test_a_level_between_two_codes_is_found_through_noise(light):
    """Noise of a code and more dithers: the mean of many lies between codes, a median does not."""
    scans = [placed(np.full((300, 200), light), 75, noise=0.012 * light**0.4, seed=5)]
    (white,) = tone.measure(scans, Told()).named("tone.white")
    assert value_of_light(light) == pytest.approx(white.value, abs=0.03)


def test_noise_of_black_is_no_blackness():
    """A bent curve makes the mean code of noisy black darker than its light: by 0.3 L* here."""
    light, noise = 0.039, 0.009
    dark = placed(np.full((400, 300), light), 100, noise=noise, role="dark", seed=3)
    (black,) = tone.measure([dark], Told()).named("tone.black")
    # second order: half of the curve's bend times the variance, times the slope of L* over its own
    code = lambda y: 1.055 * y ** (1 / 2.4) - 0.055  # noqa: E731 (IEC 61966-2-1)
    lost = code(light) - np.mean(code(light + noise * np.array([-1.0, 1.0])))
    assert lost * 255 > 0.4  # of a code, or there would be nothing to see
    assert black.value == pytest.approx(value_of_light(light), abs=0.06)


def value_of_light(light):
    return 116 * np.cbrt(light) - 16  # CIE 15, above the toe
