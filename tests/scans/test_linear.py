"""Curves against the published sRGB values, Little CMS (through Pillow), scikit-image, formulas."""

import csv
import io
import struct
from pathlib import Path

import numpy as np
import pytest
import skimage.color
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms

from scanqa.errors import BadOption
from scanqa.scans.array import ArrayScan
from scanqa.scans.linear import linear

TABLE = Path(__file__).parents[1] / "external" / "srgb" / "srgb_eotf.csv"
FLOAT32 = 1e-6  # curves are float32


def scan(channels=3, dtype=np.uint8, icc=None):
    return ArrayScan(np.zeros((2, 2, channels), dtype), icc=icc)


def test_srgb_is_the_published_table():
    rows = csv.DictReader(line for line in TABLE.read_text().splitlines() if line[0] != "#")
    curves = linear(scan()).curves
    assert curves.shape == (3, 256)
    for row in rows:
        # six decimals are printed
        assert curves[:, int(row["code"])] == pytest.approx(float(row["linear"]), abs=6e-7)


def test_srgb_at_16_bits_is_scikit_images():
    found = linear(scan(1, np.uint16)).curves[0]
    codes = np.arange(65536) / 65535
    expected = skimage.color.rgb2xyz(np.repeat(codes[:, None], 3, 1))[:, 1]
    np.testing.assert_allclose(found, expected, atol=2e-6)


@pytest.mark.parametrize(
    ("curve", "function"),
    [("linear", lambda x: x), ("2.2", lambda x: x**2.2), ("1", lambda x: x), ("0.5", np.sqrt)],
)
def test_a_stated_curve_is_that_curve_and_beats_the_profile(curve, function):
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    light = linear(scan(1, icc=icc), curve=curve)
    np.testing.assert_allclose(light.curves[0], function(np.arange(256) / 255), atol=1e-6)
    assert light.source == "stated curve"


# --------------------------------------------------------------------------- text files


@pytest.mark.parametrize(
    "text",
    [
        "0 0\n128 0.25\n255 1\n",
        "# code, light\n0,0\n128,0.25\n255,1\n",
        "code\tlight\n255\t100\n128\t25\n0\t0\n",
        'CGATS.17\nORIGINATOR "orchard"\nNUMBER_OF_FIELDS 2\nBEGIN_DATA_FORMAT\nCODE Y\n'
        "END_DATA_FORMAT\nNUMBER_OF_SETS 3\nBEGIN_DATA\n0 0\n128 .25\n255 1\nEND_DATA\n",
    ],
)
def test_a_table_of_code_and_light_is_followed(tmp_path, text):
    (tmp_path / "curve.txt").write_text(text)
    curve = linear(scan(), curve=str(tmp_path / "curve.txt")).curves[1]
    assert curve[[0, 64, 128, 255]] == pytest.approx([0, 0.125, 0.25, 1], abs=FLOAT32)


def test_a_table_that_does_not_reach_the_ends_is_run_on(tmp_path):
    (tmp_path / "curve.txt").write_text("20 0.02\n220 0.82\n240 0.90\n")
    curve = linear(scan(), curve=str(tmp_path / "curve.txt")).curves[0]
    assert curve[0] == 0
    assert curve[10] * 0.96 == pytest.approx(0.01, abs=FLOAT32)  # 0.90 + 15 × 0.004 at code 255
    assert curve[240] == pytest.approx(0.90 / 0.96, abs=FLOAT32)


def test_a_16_bit_table_serves_an_8_bit_scan(tmp_path):
    (tmp_path / "curve.txt").write_text("0 0\n65535 1\n")
    curve = linear(scan(), curve=str(tmp_path / "curve.txt")).curves[0]
    np.testing.assert_allclose(curve, np.arange(256) / 255, atol=FLOAT32)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "two or more rows"),
        ("0 0\n", "two or more rows"),
        ("0 0\n128 0.5\n255 0.4\n", "must rise"),
        ("0 0\n10 0.5\n10 0.6\n", "must rise"),
        ("-5 0\n255 1\n", "from 0 up"),
        ("0 0\n99999 1\n", "codes run to"),
        ("0 nan\n255 inf\n", "two or more rows"),
    ],
)
def test_a_table_that_is_no_curve_is_refused(tmp_path, text, why):
    (tmp_path / "curve.txt").write_text(text)
    with pytest.raises(BadOption, match=why):
        linear(scan(), curve=str(tmp_path / "curve.txt"))


@pytest.mark.parametrize("curve", ["srgbb", "", "nan", "inf", "-2", "0", "40", "no/such/file"])
def test_what_is_no_curve_is_refused(curve):
    with pytest.raises(BadOption, match="tone curve"):
        linear(scan(), curve=curve)


def test_a_binary_file_is_no_curve(tmp_path):
    (tmp_path / "curve.txt").write_bytes(bytes(range(256)))
    with pytest.raises(BadOption, match="tone curve"):
        linear(scan(), curve=str(tmp_path / "curve.txt"))


# --------------------------------------------------------------------------- ICC profiles


def curv(*values):
    """Tag of type `curv`: ICC.1:2022, 10.6."""
    return b"curv" + bytes(4) + struct.pack(f">I{len(values)}H", len(values), *values)


def para(function, *parameters):
    """Tag of type `para`: ICC.1:2022, 10.18; s15Fixed16 numbers."""
    numbers = [round(value * 65536) for value in parameters]
    return b"para" + bytes(4) + struct.pack(f">HH{len(numbers)}i", function, 0, *numbers)


def xyz(*values):
    return b"XYZ " + bytes(4) + struct.pack(">3i", *(round(value * 65536) for value in values))


def profile(curves, *, names=("rTRC", "gTRC", "bTRC"), space=b"RGB "):
    """A matrix or grey input profile of version 4: ICC.1:2022, 7.2, 7.3, 8.3."""
    text = "test".encode("utf-16-be")
    mluc = b"mluc" + bytes(4) + struct.pack(">II", 1, 12) + b"enUS"
    mluc += struct.pack(">II", len(text), 28) + text
    white = xyz(0.9642, 1, 0.8249)
    tags = {"desc": mluc, "cprt": mluc, "wtpt": white}
    if space == b"RGB ":  # sRGB's primaries, adapted to D50; only the curves matter here
        tags |= {"rXYZ": xyz(0.4361, 0.2225, 0.0139), "gXYZ": xyz(0.3851, 0.7169, 0.0971)}
        tags |= {"bXYZ": xyz(0.1431, 0.0606, 0.7139)}
    tags |= dict(zip(names, curves, strict=True))
    table, body, at = b"", b"", 132 + 12 * len(tags)
    for name, tag in tags.items():
        table += name.encode() + struct.pack(">II", at + len(body), len(tag))
        body += tag + bytes(-len(tag) % 4)
    size = at + len(body)
    header = struct.pack(">I4sI4s4s4s", size, bytes(4), 0x04400000, b"scnr", space, b"XYZ ")
    header += struct.pack(">6H", 2024, 1, 1, 0, 0, 0) + b"acsp" + bytes(28)
    header += xyz(0.9642, 1, 0.8249)[8:]
    return header.ljust(128, b"\0") + struct.pack(">I", len(tags)) + table + body


SHAPES = {
    "curv 0": (curv(), lambda x: x),
    "curv 1": (curv(round(1.8 * 256)), lambda x: x ** (round(1.8 * 256) / 256)),
    "curv n": (
        curv(*np.round(65535 * np.linspace(0, 1, 64) ** 2).astype(int)),
        lambda x: np.interp(x, np.linspace(0, 1, 64), np.linspace(0, 1, 64) ** 2),
    ),
    "para 0": (para(0, 2.2), lambda x: x**2.2),
    "para 1": (para(1, 2.0, 0.9, 0.1), lambda x: (0.9 * x + 0.1) ** 2),
    "para 1 with a toe": (para(1, 2.0, 1.1, -0.1), lambda x: np.maximum(1.1 * x - 0.1, 0) ** 2),
    "para 2": (para(2, 2.0, 0.9, 0.05, 0.02), lambda x: (0.9 * x + 0.05) ** 2 + 0.02),
    "para 3": (
        para(3, 2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045),
        lambda x: np.where(x < 0.04045, x / 12.92, ((x + 0.055) / 1.055) ** 2.4),
    ),
    "para 4": (
        para(4, 2.0, 0.8, 0.1, 0.3, 0.2, 0.01, 0.015),
        lambda x: np.where(x < 0.2, 0.3 * x + 0.015, (0.8 * x + 0.1) ** 2 + 0.01),
    ),
}


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_profile_curves_are_the_formulas_of_the_standard(shape, dtype):
    tag, formula = SHAPES[shape]
    light = linear(scan(3, dtype, profile([tag, curv(), tag])))
    codes = np.linspace(0, 1, light.curves.shape[1])
    expected = formula(codes) / formula(codes)[-1]
    np.testing.assert_allclose(light.curves[0], expected, atol=4e-5)  # s15Fixed16, u16 samples
    np.testing.assert_allclose(light.curves[1], codes, atol=FLOAT32)
    assert light.source == "ICC profile"


@pytest.mark.parametrize("shape", SHAPES)
def test_profile_curves_are_what_little_cms_makes_of_them(shape):
    """Little CMS turns the profile into its own linear one; 8-bit results, so half a code."""
    tag, _ = SHAPES[shape]
    icc = profile([tag] * 3)
    ramp = Image.fromarray(np.repeat(np.arange(256, dtype=np.uint8)[None, :, None], 3, 2))
    transform = ImageCms.buildTransform(
        ImageCms.ImageCmsProfile(io.BytesIO(icc)),
        ImageCms.ImageCmsProfile(io.BytesIO(profile([curv()] * 3))),
        "RGB",
        "RGB",
        renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        flags=ImageCms.Flags.NOOPTIMIZE,
    )
    theirs = np.asarray(ImageCms.applyTransform(ramp, transform))[0, :, 1] / 255
    ours = linear(scan(3, icc=icc)).curves[1]
    scale = SHAPES[shape][1](np.float64(1.0))  # ours has its highest code at 1
    assert np.abs(ours * scale - theirs).max() <= 0.75 / 255


def test_pillows_own_srgb_profile_is_srgb():
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    light = linear(scan(icc=icc))
    assert light.source == "ICC profile"
    np.testing.assert_allclose(light.curves, linear(scan()).curves, atol=4e-5)


def test_grey_profiles_serve_grey_scans():
    icc = profile([para(0, 1.8)], names=("kTRC",), space=b"GRAY")
    light = linear(scan(1, icc=icc))
    np.testing.assert_allclose(light.curves[0], (np.arange(256) / 255) ** 1.8, atol=4e-5)
    light = linear(scan(1, icc=profile([para(0, 1.8)] * 3)))  # RGB profile on a grey image
    np.testing.assert_allclose(light.curves[0], (np.arange(256) / 255) ** 1.8, atol=4e-5)


USELESS = {
    "look-up tables only": profile([curv()], names=("A2B0",)),
    "curve of an unknown kind": profile([b"mft2" + bytes(40)] * 3),
    "function of an unknown kind": profile([para(7, 2.2)] * 3),
    "does not rise": profile([curv(65535, 0)] * 3),
    "flat": profile([curv(30000, 30000)] * 3),
    "gamma 0": profile([curv(0)] * 3),
    "gamma -3": profile([para(0, -3.0)] * 3),
    "gamma 30000": profile([para(0, 30000.0)] * 3),
    "a of 0": profile([para(1, 2.0, 0.0, 0.5)] * 3),
    "too short": profile([curv()] * 3)[:100],
    "no signature": bytes(500),
    "more samples than bytes": profile([curv(1, 2, 3)[:14]] * 3),
    "a million tags": profile([curv()] * 3)[:128] + b"\0\x10\0\0" + bytes(500),
}


@pytest.mark.parametrize("why", USELESS)
def test_a_profile_without_a_curve_means_srgb_with_a_remark(why):
    light = linear(scan(icc=USELESS[why]))
    np.testing.assert_array_equal(light.curves, linear(scan()).curves)
    assert light.source.startswith("sRGB assumed (the profile")


@settings(deadline=None, max_examples=300)
@given(at=st.integers(0, 600), value=st.integers(0, 255), shape=st.sampled_from(sorted(SHAPES)))
def test_any_damage_to_a_profile_never_gives_a_falling_curve(at, value, shape):
    icc = bytearray(profile([SHAPES[shape][0]] * 3))
    icc[at % len(icc)] = value
    light = linear(scan(icc=bytes(icc)))
    assert np.all(np.diff(light.curves) >= 0)
    assert light.curves.min() >= 0
    assert np.all(light.curves[:, -1] == 1)
