"""Files written by tifffile, imagecodecs and Pillow, read back to the last bit."""

import hashlib
import io
import struct
import zlib
from types import SimpleNamespace

import imagecodecs
import numpy as np
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, ImageOps

from scanqa.errors import ScanqaError, UnreadableScan
from scanqa.model import Window
from scanqa.scans.open import open_scan
from scanqa.scans.save import save_tiff

HEIGHT, WIDTH = 203, 157  # odd on purpose, no multiple of a tile


def scene(channels=3, dtype=np.uint8):
    """A smooth scene with noise, so that every compression has something to do."""
    y, x = np.mgrid[:HEIGHT, :WIDTH]
    level = 0.5 + 0.3 * np.sin(x / 17) * np.cos(y / 23)
    noise = np.random.default_rng(5).normal(0, 0.02, (HEIGHT, WIDTH, channels))
    top = np.iinfo(dtype).max
    return np.round(np.clip(level[..., None] + noise, 0, 1) * top).astype(dtype)


def whole(scan):
    return np.concatenate([strip for _, strip in scan.strips(64)])


def write(path, pixels, **options):
    grey = pixels.shape[2] == 1
    options = {"photometric": "minisblack" if grey else "rgb", "metadata": None} | options
    tifffile.imwrite(path, pixels[..., 0] if grey else pixels, **options)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize(
    "options",
    [
        {},
        {"rowsperstrip": 16},
        {"byteorder": ">"},
        {"bigtiff": True},
        {"bigtiff": True, "byteorder": ">", "rowsperstrip": 7},
        {"tile": (64, 32)},
        {"compression": "lzw", "rowsperstrip": 16},
        {"compression": "lzw", "predictor": True},
        {"compression": "zlib", "predictor": True, "rowsperstrip": 1},
        {"compression": "zlib", "tile": (16, 64)},
        {"compression": "zlib", "byteorder": ">", "bigtiff": True},
        {"compression": "packbits"},
    ],
    ids=str,
)
def test_every_lossless_tiff_is_read_to_the_bit(tmp_path, options, channels, dtype):
    pixels = scene(channels, dtype)
    write(tmp_path / "a.tif", pixels, **options)
    scan = open_scan(tmp_path / "a.tif")
    assert (scan.width_px, scan.height_px) == (WIDTH, HEIGHT)
    assert (scan.channels, scan.bits, scan.format) == (channels, 8 * dtype().itemsize, "tiff")
    assert not scan.lossy
    got = whole(scan)
    assert got.dtype == dtype
    np.testing.assert_array_equal(got, pixels)


@pytest.mark.parametrize("options", [{}, {"compression": "lzw"}, {"rowsperstrip": 20}], ids=str)
def test_planes_stored_one_after_the_other_are_joined(tmp_path, options):
    pixels = scene(3, np.uint16)
    planes = np.moveaxis(pixels, 2, 0)
    options |= {"photometric": "rgb", "planarconfig": "separate", "metadata": None}
    tifffile.imwrite(tmp_path / "a.tif", planes, **options)
    np.testing.assert_array_equal(whole(open_scan(tmp_path / "a.tif")), pixels)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_min_is_white_is_turned_to_light_is_high(tmp_path, dtype):
    pixels = scene(1, dtype)
    write(tmp_path / "a.tif", np.iinfo(dtype).max - pixels, photometric="miniswhite")
    np.testing.assert_array_equal(whole(open_scan(tmp_path / "a.tif")), pixels)


def test_strips_that_lie_apart_are_read_in_order(tmp_path):
    """Two strips with a hole between them: tags allow it, some drivers do it."""
    pixels = scene(1)
    top, bottom = pixels[:100].tobytes(), pixels[100:].tobytes()
    entries = [  # tag, type (3 SHORT, 4 LONG), count, value; TIFF 6.0 section 2
        (256, 4, 1, WIDTH),
        (257, 4, 1, HEIGHT),
        (258, 3, 1, 8),
        (259, 3, 1, 1),
        (262, 3, 1, 1),
        (273, 4, 2, 200),
        (278, 4, 1, 100),
        (279, 4, 3, 212),
    ]
    first, second = 1000, 1000 + len(top) + 37
    third = second + 100 * WIDTH
    ifd = struct.pack("<H", len(entries))
    ifd += b"".join(struct.pack("<HHII", t, kind, n, v) for t, kind, n, v in entries)
    ifd = ifd.replace(struct.pack("<HHII", 273, 4, 2, 200), struct.pack("<HHII", 273, 4, 3, 200))
    data = bytearray(third + 3 * WIDTH)
    data[:8] = b"II*\0" + struct.pack("<I", 8)
    data[8 : 8 + len(ifd)] = ifd
    data[200:224] = struct.pack("<6I", first, second, third, 100 * WIDTH, 100 * WIDTH, 3 * WIDTH)
    data[first : first + len(top)] = top
    data[second : second + len(bottom)] = bottom
    (tmp_path / "a.tif").write_bytes(data)
    np.testing.assert_array_equal(whole(open_scan(tmp_path / "a.tif")), pixels)


@pytest.mark.parametrize("tile", [None, (64, 64)])
def test_jpeg_in_tiff_is_what_another_decoder_makes_of_it(tmp_path, tile):
    write(tmp_path / "a.tif", scene(), compression="jpeg", compressionargs={"level": 90}, tile=tile)
    scan = open_scan(tmp_path / "a.tif")
    assert scan.lossy
    expected = tifffile.imread(tmp_path / "a.tif").astype(int)  # decodes by imagecodecs
    assert np.abs(whole(scan).astype(int) - expected).max() <= 2  # rounding of the colour matrix


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
@pytest.mark.parametrize("channels", [1, 3])
def test_png_is_read_to_the_bit(tmp_path, channels, dtype):
    pixels = scene(channels, dtype)
    (tmp_path / "a.png").write_bytes(imagecodecs.png_encode(pixels.squeeze()))
    scan = open_scan(tmp_path / "a.png")
    assert (scan.format, scan.bits, scan.lossy) == ("png", 8 * dtype().itemsize, False)
    np.testing.assert_array_equal(whole(scan), pixels)


@pytest.mark.parametrize("channels", [1, 3])
@pytest.mark.parametrize("progressive", [False, True])
def test_jpeg_is_what_another_decoder_makes_of_it(tmp_path, channels, progressive):
    image = Image.fromarray(scene(channels).squeeze())
    image.save(tmp_path / "a.jpg", quality=92, progressive=progressive)
    scan = open_scan(tmp_path / "a.jpg")
    assert (scan.format, scan.bits, scan.lossy) == ("jpeg", 8, True)
    expected = np.asarray(Image.open(tmp_path / "a.jpg")).reshape(HEIGHT, WIDTH, channels)
    assert np.abs(whole(scan).astype(int) - expected).max() <= 2


@pytest.fixture(scope="module")
def files(tmp_path_factory):
    """One scene in five files: read where it lies, byte-swapped, and unpacked."""
    folder, pixels = tmp_path_factory.mktemp("windows"), scene(3, np.uint16)
    write(folder / "raw.tif", pixels, byteorder="<")
    write(folder / "swapped.tif", pixels, byteorder=">", rowsperstrip=9)
    write(folder / "tiles.tif", pixels, tile=(32, 32), compression="zlib")
    write(folder / "lzw.tif", pixels, compression="lzw")
    (folder / "a.png").write_bytes(imagecodecs.png_encode(pixels))
    return pixels, [open_scan(path) for path in sorted(folder.iterdir())]


@settings(deadline=None, max_examples=60)
@given(data=st.data())
def test_windows_and_strips_of_every_file_agree_with_the_array(files, data):
    pixels, scans = files
    row, col = data.draw(st.integers(0, HEIGHT - 1)), data.draw(st.integers(0, WIDTH - 1))
    window = Window(
        row, col, data.draw(st.integers(1, HEIGHT - row)), data.draw(st.integers(1, WIDTH - col))
    )
    expected = pixels[row : row + window.height, col : col + window.width]
    rows = data.draw(st.integers(1, 300))
    for scan in scans:
        np.testing.assert_array_equal(scan.window(window), expected)
        firsts, strips = zip(*scan.strips(rows), strict=True)
        assert firsts == tuple(range(0, HEIGHT, rows))
        np.testing.assert_array_equal(np.concatenate(strips), pixels)


def test_a_window_is_the_callers_own_and_inside(files):
    pixels, (scan, *_) = files
    scan.window(Window(0, 0, 5, 5))[:] = 0
    np.testing.assert_array_equal(scan.window(Window(0, 0, 5, 5)), pixels[:5, :5])
    with pytest.raises(ValueError, match="outside"):
        scan.window(Window(0, WIDTH - 4, 5, 5))


# ---------------------------------------------------------------------------- resolution


@pytest.mark.parametrize(
    ("resolution", "unit", "expected"),
    [
        ((600, 600), "inch", (600, 600)),
        ((1200, 600), "inch", (1200, 600)),
        (((599999, 1000), (300, 1)), "inch", (599.999, 300)),
        ((118.11, 118.11), "centimeter", (299.9994, 299.9994)),
        ((600, 600), "none", None),
        ((1, 1), "inch", None),
        ((50000, 50000), "inch", None),
        ((75, 75), "inch", (75, 75)),
        ((72, 72), "inch", None),  # Exif 2.3, XResolution: 72 where it is not known
        ((96, 96), "inch", None),  # CSS 2.1: the reference pixel
    ],
)
def test_tiff_resolution_is_what_the_tags_say(tmp_path, resolution, unit, expected):
    write(tmp_path / "a.tif", scene(1), resolution=resolution, resolutionunit=unit)
    scan = open_scan(tmp_path / "a.tif")
    assert scan.dpi == (expected and pytest.approx(expected, abs=1e-3))
    assert bool(scan.notes) == (expected is None or expected[0] < 100)


def test_tiff_without_resolution_has_none_and_a_zero_denominator_too(tmp_path):
    Image.fromarray(scene(1).squeeze()).save(tmp_path / "a.tif")  # Pillow writes no tag
    assert open_scan(tmp_path / "a.tif").dpi is None
    write(tmp_path / "b.tif", scene(1), resolution=((600, 1), (600, 1)), resolutionunit="inch")
    data = (tmp_path / "b.tif").read_bytes()
    assert data.count(struct.pack("<II", 600, 1)) == 2
    (tmp_path / "b.tif").write_bytes(data.replace(struct.pack("<II", 600, 1), b"\x58\2" + bytes(6)))
    assert open_scan(tmp_path / "b.tif").dpi is None


@pytest.mark.parametrize("dpi", [100, 150, 200, 240, 300, 400, 600, 1200, 2400, 4800])
def test_whole_dpi_survive_png_and_jpeg(tmp_path, dpi):
    """PNG rounds to whole pixels per metre: 300 dpi is stored as 11811 (PNG 3rd ed., pHYs)."""
    image = Image.fromarray(scene(1).squeeze())
    for name in ("a.png", "a.jpg"):
        image.save(tmp_path / name, dpi=(dpi, dpi))
        assert open_scan(tmp_path / name).dpi == (dpi, dpi)


@pytest.mark.parametrize(
    ("unit", "density", "expected"),
    [(0, 1, None), (0, 600, None), (1, 600, 600), (2, 118, 300), (2, 236, 600), (2, 100, 254)],
)
def test_jpeg_density_units_none_inch_and_centimetre(tmp_path, unit, density, expected):
    """JFIF 1.02, APP0: units 0 gives an aspect ratio only."""
    buffer = io.BytesIO()
    Image.fromarray(scene(1).squeeze()).save(buffer, "JPEG")
    data = bytearray(buffer.getvalue())
    at = data.index(b"JFIF\0") + 7
    data[at : at + 5] = struct.pack(">BHH", unit, density, density)
    (tmp_path / "a.jpg").write_bytes(data)
    scan = open_scan(tmp_path / "a.jpg")
    assert scan.dpi == (expected and (expected, expected))
    assert bool(scan.notes) == (expected is None)


def test_png_without_resolution_has_none(tmp_path):
    Image.fromarray(scene(1).squeeze()).save(tmp_path / "a.png")
    scan = open_scan(tmp_path / "a.png")
    assert scan.dpi is None
    assert scan.notes == ("the file states no resolution",)


# --------------------------------------------------------------------------- orientation


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("name", ["a.tif", "a.jpg", "a.png"])
def test_orientation_is_applied_as_another_viewer_does(tmp_path, name, orientation):
    exif = Image.Exif()
    exif[274] = orientation
    image = Image.fromarray(scene().squeeze())
    if name == "a.tif":
        tags = [(274, 3, 1, orientation, True)]
        write(tmp_path / name, scene(), extratags=tags, resolution=(600, 300), resolutionunit=2)
    else:
        image.save(tmp_path / name, exif=exif, quality=95)
    shown = np.asarray(ImageOps.exif_transpose(Image.open(tmp_path / name)))
    scan = open_scan(tmp_path / name)
    got = whole(scan)
    assert (scan.height_px, scan.width_px) == got.shape[:2] == shown.shape[:2]
    assert np.abs(got.astype(int) - shown).max() <= (2 if scan.lossy else 0)
    assert any("as its tag asks" in note for note in scan.notes) == (orientation > 1)
    if name == "a.tif":
        assert scan.dpi == ((300, 600) if orientation >= 5 else (600, 300))


# ------------------------------------------------------------------------ pages, the rest


def test_a_thumbnail_beside_the_image_is_passed_over(tmp_path):
    pixels, small = scene(), scene()[::4, ::4].copy()
    for order in ((pixels, small), (small, pixels)):
        with tifffile.TiffWriter(tmp_path / "a.tif") as tiff:
            for page in order:
                kind = int(page is small)
                tiff.write(page, photometric="rgb", subfiletype=kind, compression="lzw")
        np.testing.assert_array_equal(whole(open_scan(tmp_path / "a.tif")), pixels)


def test_facts_of_the_file_are_told(tmp_path):
    path, icc = tmp_path / "heron [1].tif", b"profile" * 30
    tags = [(271, "s", 0, "Tarn", True), (272, "s", 0, "Heron 600", True)]
    write(path, scene(), iccprofile=icc, extratags=tags)
    scan = open_scan(str(path))
    assert scan.name == "heron [1].tif"
    assert scan.icc == icc
    assert scan.header.device == "Tarn Heron 600"
    assert scan.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()
    assert scan.modified.endswith("+00:00")


@pytest.mark.parametrize("name", ["a.png", "a.jpg"])
def test_profiles_of_png_and_jpeg_are_found(tmp_path, name):
    icc = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    Image.fromarray(scene()).save(tmp_path / name, icc_profile=icc)
    assert open_scan(tmp_path / name).icc == icc


def test_a_file_written_again_under_the_same_name_is_read_again(tmp_path):
    """The decoder library keeps finished operations by file name."""
    path = tmp_path / "a.png"
    for shift in (0, 50):
        pixels = scene(1) // 2 + np.uint8(shift)
        Image.fromarray(pixels.squeeze()).save(path)
        np.testing.assert_array_equal(whole(open_scan(path)), pixels)


def test_a_file_that_becomes_shorter_is_an_error_not_a_crash(tmp_path):
    save_tiff(tmp_path / "a.tif", scene(), 600)
    scan = open_scan(tmp_path / "a.tif")
    scan.window(Window(150, 0, 5, 5))
    with (tmp_path / "a.tif").open("r+b") as file:
        file.truncate(40_000)
    with pytest.raises(UnreadableScan, match="became shorter"):
        scan.window(Window(150, 0, 5, 5))


def test_no_room_to_unpack_is_said_in_one_line(tmp_path, monkeypatch):
    write(tmp_path / "a.tif", scene(), compression="lzw")
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    monkeypatch.setattr("shutil.disk_usage", lambda _folder: SimpleNamespace(free=1000))
    with pytest.raises(ScanqaError, match="no room to unpack"):
        whole(open_scan(tmp_path / "a.tif"))


def test_nothing_is_left_in_the_temporary_folder(tmp_path, monkeypatch):
    write(tmp_path / "a.tif", scene(), compression="lzw")
    monkeypatch.setenv("TMPDIR", str(tmp_path))
    monkeypatch.setattr("tempfile.tempdir", None)
    scan = open_scan(tmp_path / "a.tif")
    whole(scan)
    assert [path.name for path in tmp_path.iterdir()] == ["a.tif"]


def test_a_palette_of_greys_is_read_as_the_greys_that_it_holds(tmp_path):
    ramp = np.tile(np.arange(0, 240, 2, dtype=np.uint8), (110, 1))
    image = Image.fromarray(ramp)
    image.putpalette([value for grey in range(256) for value in (grey, grey, grey)])
    assert image.mode == "P"
    image.save(tmp_path / "grey.png", dpi=(300, 300))
    scan = open_scan(tmp_path / "grey.png")
    assert (scan.channels, scan.bits) == (1, 8)
    strips = np.concatenate([strip for _, strip in scan.strips()])
    assert np.array_equal(strips[..., 0], ramp)


def test_png_pixel_shape_without_a_unit_is_no_resolution(tmp_path):
    """PNG 3rd ed., 11.3.4.3: unit 0 "defines pixel aspect ratio only"."""
    path = tmp_path / "shape.png"
    Image.fromarray(np.full((120, 120), 200, np.uint8)).save(path)
    data = path.read_bytes()
    at = data.index(b"IDAT") - 4
    for unit, dpi in ((0, None), (1, (300.0, 300.0))):
        chunk = b"pHYs" + struct.pack(">IIB", 11811, 11811, unit)
        crc = struct.pack(">I", zlib.crc32(chunk))
        path.write_bytes(data[:at] + struct.pack(">I", 9) + chunk + crc + data[at:])
        assert open_scan(path).dpi == dpi
