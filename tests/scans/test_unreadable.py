"""Each thing that is no usable scan gets one line that names the file; nothing else is printed."""

import contextlib
import io
import random
import struct
import zlib

import imagecodecs
import numpy as np
import pytest
import tifffile
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from scanqa.errors import UnreadableScan
from scanqa.scans.header import LARGEST_PX
from scanqa.scans.open import open_scan
from scanqa.scans.overview import overview

HEIGHT, WIDTH = 160, 130
GREY = np.random.default_rng(3).integers(180, 256, (HEIGHT, WIDTH), np.uint8)
RGB = np.random.default_rng(4).integers(180, 256, (HEIGHT, WIDTH, 3), np.uint8)


def pillow(image, format, **options):
    buffer = io.BytesIO()
    image.save(buffer, format, **options)
    return buffer.getvalue()


def tiff(pixels, **options):
    buffer = io.BytesIO()
    tifffile.imwrite(buffer, pixels, **({"metadata": None} | options))
    return buffer.getvalue()


def two_pages():
    buffer = io.BytesIO()
    with tifffile.TiffWriter(buffer) as writer:
        writer.write(RGB, photometric="rgb")
        writer.write(RGB, photometric="rgb")
    return buffer.getvalue()


def giant_png():
    """A PNG header that claims 100 000 × 100 000 pixels, with correct checksums."""

    def chunk(kind, body):
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    ihdr = struct.pack(">IIBBBBB", 100_000, 100_000, 8, 0, 0, 0, 0)
    assert LARGEST_PX < 100_000**2
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", ihdr) + chunk(b"IDAT", zlib.compress(b"\0"))


def rgba(value):
    return Image.fromarray(np.dstack([RGB, np.full((HEIGHT, WIDTH), value, np.uint8)]))


IMAGE = Image.fromarray(RGB)
USELESS = {
    "empty.tif": (b"", "0 bytes"),
    "words.tif": (b"Dear orchard, the catalogue is late.\n", "is text"),
    "paper.tif": (pillow(IMAGE, "PDF"), "pdfimages -all paper.tif"),
    "noise.tif": (bytes(range(200, 256)) * 9, "not an image"),
    "zeros.tif": (bytes(5000), "not an image"),
    "web.webp": (pillow(IMAGE, "WEBP"), "WebP"),
    "anim.gif": (pillow(IMAGE, "GIF"), "GIF"),
    "old.bmp": (pillow(IMAGE, "BMP"), "BMP"),
    "raw.ppm": (pillow(IMAGE, "PPM"), "PPM"),
    "raw.pgm": (pillow(IMAGE.convert("L"), "PPM"), "PGM"),
    "wave.jp2": (imagecodecs.jpeg2k_encode(RGB), "JPEG 2000"),
    "phone.heic": (b"\0\0\0\x18ftypheic" + bytes(100), "HEIF"),
    "pack.zip": (b"PK\3\4" + bytes(100), "ZIP"),
    "magic-only.tif": (b"II*\0", "damaged"),
    "magic-only.png": (b"\x89PNG\r\n\x1a\n", "damaged"),
    "magic-only.jpg": (b"\xff\xd8\xff\xe0", "damaged"),
    "bilevel.tif": (pillow(IMAGE.convert("1"), "TIFF"), "1-bit"),
    "bilevel-fax.tif": (pillow(IMAGE.convert("1"), "TIFF", compression="group4"), "1-bit"),
    "bilevel.png": (pillow(IMAGE.convert("1"), "PNG"), "1-bit"),
    "palette.tif": (pillow(IMAGE.convert("P"), "TIFF"), "palette"),
    "palette.png": (pillow(IMAGE.convert("P"), "PNG"), "palette"),
    "cmyk.tif": (pillow(IMAGE.convert("CMYK"), "TIFF"), "CMYK"),
    "cmyk.jpg": (pillow(IMAGE.convert("CMYK"), "JPEG"), "CMYK"),
    "alpha.tif": (pillow(rgba(255), "TIFF"), "transparency"),
    "alpha.png": (pillow(rgba(100), "PNG"), "transparency"),
    "grey-alpha.png": (pillow(rgba(100).convert("LA"), "PNG"), "transparency"),
    "key.png": (pillow(IMAGE, "PNG", transparency=(0, 0, 0)), "transparency"),
    "lab.tif": (pillow(IMAGE.convert("LAB"), "TIFF"), "colour space"),
    "float.tif": (tiff(GREY / np.float32(255)), "floating-point"),
    "signed.tif": (tiff(GREY.astype(np.int16)), "signed"),
    "deep.tif": (tiff(GREY.astype(np.uint32)), "32 bits"),
    "planes.tif": (
        tiff(RGB.transpose(2, 0, 1), photometric="rgb", planarconfig="separate", tile=(32, 32)),
        "separate tiled planes",
    ),
    "pages.tif": (two_pages(), "several pages"),
    "small.tif": (tiff(GREY[:99]), "too small"),
    "small.png": (pillow(Image.fromarray(GREY[:, :20]), "PNG"), "too small"),
    "giant.png": (giant_png(), "too large"),
    "half.tif": (tiff(RGB, photometric="rgb")[:30000], "only 4"),
    "half-lzw.tif": (tiff(RGB, photometric="rgb", compression="lzw")[:30000], "damaged"),
    "half.png": (pillow(IMAGE, "PNG")[:20000], "damaged"),
    "half.jpg": (pillow(IMAGE, "JPEG")[:5000], "damaged"),
}


@pytest.mark.parametrize("name", USELESS)
def test_what_cannot_be_used_gets_one_line(tmp_path, capfd, name):
    data, why = USELESS[name]
    path = tmp_path / name
    path.write_bytes(data)
    with pytest.raises(UnreadableScan) as caught:
        overview(open_scan(path))
    line = str(caught.value)
    assert line.startswith(f"{path}: ")
    assert why in line
    assert "; " in line, "says what to do"
    assert "\n" not in line
    assert len(line) - len(str(path)) < 160
    printed = capfd.readouterr()
    assert printed.out == printed.err == ""


def test_what_is_not_there_or_not_a_file_gets_one_line(tmp_path):
    with pytest.raises(UnreadableScan, match="no such file"):
        open_scan(tmp_path / "a.tif")
    with pytest.raises(UnreadableScan, match="is a folder"):
        open_scan(tmp_path)


def test_no_permission_is_told_apart_from_no_file(tmp_path, monkeypatch):
    """Root is refused nothing, so the system call is made to refuse."""

    def refused(*_args, **_options):
        raise PermissionError(13, "Permission denied")

    (tmp_path / "a.tif").write_bytes(tiff(GREY))
    monkeypatch.setattr("pathlib.Path.open", refused)
    with pytest.raises(UnreadableScan, match="may not be read"):
        open_scan(tmp_path / "a.tif")


WHOLE = {
    "raw.tif": tiff(RGB, photometric="rgb", rowsperstrip=16),
    "swapped.tif": tiff(RGB.astype(np.uint16) * 257, photometric="rgb", byteorder=">"),
    "lzw.tif": tiff(RGB, photometric="rgb", compression="lzw", rowsperstrip=16),
    "deflate.tif": tiff(RGB, photometric="rgb", compression="zlib", predictor=True),
    "tiles.tif": tiff(RGB, photometric="rgb", compression="zlib", tile=(32, 32)),
    "jpeg.tif": tiff(RGB, photometric="rgb", compression="jpeg", rowsperstrip=16),
    "grey.png": pillow(Image.fromarray(GREY), "PNG"),
    "deep.png": imagecodecs.png_encode(RGB.astype(np.uint16) * 257),
    "base.jpg": pillow(IMAGE, "JPEG", quality=95),
    "prog.jpg": pillow(IMAGE, "JPEG", quality=95, progressive=True),
}


def pixels_of(path):
    return np.concatenate([strip for _, strip in open_scan(path).strips()])


@pytest.mark.parametrize("name", WHOLE)
def test_a_truncated_file_never_gives_other_pixels(tmp_path, name, capfd):
    """At some lengths only a trailing marker is missing: then every pixel must be right."""
    data, path = WHOLE[name], tmp_path / name
    path.write_bytes(data)
    right = pixels_of(path)
    lengths = {*np.linspace(1, len(data) - 1, 60).astype(int), *range(len(data) - 30, len(data))}
    refused = 0
    for length in sorted(lengths):
        path.write_bytes(data[:length])
        try:
            np.testing.assert_array_equal(pixels_of(path), right)
        except UnreadableScan:
            refused += 1
    assert refused >= 55
    printed = capfd.readouterr()
    assert printed.out == printed.err == ""


@settings(deadline=None, max_examples=150)
@given(name=st.sampled_from(sorted(WHOLE)), seed=st.integers(0, 2**32), count=st.integers(1, 4))
def test_a_damaged_file_never_ends_in_anything_but_one_line(tmp_path_factory, name, seed, count):
    """Bytes flipped in the first and last 400, where the tags are."""
    rng = random.Random(seed)
    data = bytearray(WHOLE[name])
    for _ in range(count):
        at = rng.choice([rng.randrange(400), len(data) - 1 - rng.randrange(400)])
        data[at] = rng.choice([0, 255, 1, rng.randrange(256), data[at] ^ 1 << rng.randrange(8)])
    path = tmp_path_factory.mktemp("flipped") / name
    path.write_bytes(data)
    with contextlib.suppress(UnreadableScan):
        scan = open_scan(path)
        pixels = np.concatenate([strip for _, strip in scan.strips()])
        assert pixels.shape == (scan.height_px, scan.width_px, scan.channels)


def test_one_bad_tile_among_good_ones_is_not_black_but_an_error(tmp_path, capfd):
    data = bytearray(WHOLE["tiles.tif"])
    with tifffile.TiffFile(io.BytesIO(data)) as file:
        offset = file.pages[0].dataoffsets[7]
    data[offset : offset + 10] = b"\xff" * 10
    (tmp_path / "a.tif").write_bytes(data)
    with pytest.raises(UnreadableScan, match="damaged"):
        pixels_of(tmp_path / "a.tif")
    (tmp_path / "b.tif").write_bytes(WHOLE["tiles.tif"])
    np.testing.assert_array_equal(pixels_of(tmp_path / "b.tif"), RGB)
    assert capfd.readouterr().err == ""
