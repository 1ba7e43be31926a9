"""What a file says about its image before any pixel is read, and what is refused for it.

TIFF tags come from tifffile (exact rationals; TIFF 6.0), everything about PNG and JPEG from
libvips. Resolution is kept as stated, but for the rounding that PNG (whole pixels per metre) and
JPEG in centimetres force on it; "none" or an absurd number is no resolution.
"""

from __future__ import annotations

import logging
import stat
import struct
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NoReturn

import numpy as np
import pyvips
import tifffile

from scanqa.errors import UnreadableScan
from scanqa.scans.other_kinds import what_else
from scanqa.scans.png_chunks import compressed_texts, states_resolution
from scanqa.scans.vips_words import take_any_words

take_any_words()
logging.getLogger("tifffile").addHandler(logging.NullHandler())  # the user sees one line, ours

PLAUSIBLE_DPI = (20.0, 20000.0)
SAID_FOR_NONE_DPI = (72.0, 96.0)  # Exif 2.3, XResolution: "72 when unknown"; the pixel of CSS 2.1
CM_PER_INCH = 2.54
METRES_PER_INCH = 0.0254
SMALLEST_PX = 100
LONGEST_PX = 300_000  # of a side: A3 at 16,000 dpi
DEFLATE = 1032  # bytes from one, at most (RFC 1951: 258 bytes by two bits)
MOST_TEXTS = 16  # of compressed texts in a PNG: each may unpack to megabytes
LARGEST_PX = 4_000_000_000  # A3 at 4800 dpi is 4.5e9: more than a flatbed delivers in one file
NOT_READ = {  # compressions that libvips is not built for everywhere: registered TIFF tags
    34712: "JPEG 2000",
    34887: "LERC",
    34925: "LZMA",
    50000: "Zstandard",
    50001: "WebP",
    50002: "JPEG XL",
}
LOSSY_TIFF = {6, 7, 34712, 50001, 50002}  # JPEG old and new, JPEG 2000, WebP, JPEG XL
# What tifffile, and reading odd tags as numbers, raises on damaged files; found by flipping bytes
# (tests/scans/test_unreadable.py).
# The last is a ValueError in newer versions of tifffile, in older ones a kind of its own.
DAMAGED = (
    ValueError, TypeError, LookupError, ArithmeticError, struct.error, tifffile.TiffFileError,
)  # fmt: skip
SAVE_AGAIN = "scan again, or save it from the original as TIFF or PNG in grey or RGB"


@dataclass(frozen=True, slots=True)
class Stored:
    """Where the rows of an uncompressed TIFF lie: they can be read without decoding."""

    offset: int
    dtype: np.dtype[np.generic]


@dataclass(frozen=True, slots=True)
class Header:
    """Facts of an image file.

    Attributes
    ----------
    format : str
        ``tiff``, ``png`` or ``jpeg``.
    width_px, height_px, channels, bits : int
        As stored, before any turn that the file asks for.
    dpi : (x, y) or None
        As stored.
    orientation : int
        TIFF / EXIF orientation 1 to 8; 1 is upright.
    device : str
        Make and model of the scanner, if the file names them.
    page : int
        Which page of a TIFF holds the image.
    stored : Stored or None
        For rows that need no decoding.
    """

    format: str
    width_px: int
    height_px: int
    channels: int
    bits: int
    dpi: tuple[float, float] | None
    icc: bytes | None
    lossy: bool
    orientation: int
    device: str = ""
    page: int = 0
    stored: Stored | None = None
    notes: tuple[str, ...] = ()


def refuse(path: Path, why: str, hint: str = SAVE_AGAIN) -> NoReturn:
    """Raise UnreadableScan."""
    raise UnreadableScan(path, why, hint)


def read_header(path: Path) -> Header:
    """Facts of a TIFF, PNG or JPEG file.

    Raises
    ------
    UnreadableScan
        If it is another kind of file, damaged, or an image that cannot be measured.
    """
    kind = _kind(path)
    header = _tiff(path) if kind == "tiff" else _png_or_jpeg(path, kind)
    size = f"{header.width_px} × {header.height_px} px"
    if min(header.width_px, header.height_px) < SMALLEST_PX:
        refuse(path, f"too small to be a scan of a page ({size})", "scan the whole bed")
    large = max(header.width_px, header.height_px) > LONGEST_PX
    if large or header.width_px * header.height_px > LARGEST_PX:
        refuse(path, f"too large ({size})", "scan at a lower dpi or a part of the bed")
    if kind == "png" and _claims_too_much(path, header):
        refuse(path, f"too small a file for {size}: damaged", "scan it again")
    return header


def _claims_too_much(path: Path, header: Header) -> bool:
    """Whether a file holds fewer bytes than its pixels need at the best that deflate can do."""
    size = header.width_px * header.height_px * header.channels * header.bits // 8
    return size > DEFLATE * path.stat().st_size


def load(path: Path, header: Header | None, kind: str) -> pyvips.Image:
    """Image of a file, to be decoded from top to bottom; any damage is an error, never grey.

    Raises
    ------
    UnreadableScan
        If libvips cannot make sense of it.
    """
    upright = header is None or header.orientation == 1
    options: dict[str, Any] = {
        "access": "sequential" if upright else "random",
        "fail_on": "error",
        "revalidate": True,  # a file scanned again under the same name is another file
    }
    loaders = {
        "tiff": pyvips.Image.tiffload,
        "png": pyvips.Image.pngload,
        "jpeg": pyvips.Image.jpegload,
    }
    if kind == "tiff" and header is not None:
        options["page"] = header.page
    try:
        image = loaders[kind](str(path), **options)
        image = image if upright else image.autorot()
        grey_palette = header is not None and header.channels == 1 and image.bands == 3
        return image[1] if grey_palette else image
    except pyvips.Error as error:
        damaged(path, error)


def damaged(path: Path, error: pyvips.Error) -> NoReturn:
    """Raise UnreadableScan with what libvips said."""
    lines = [line.strip() for line in str(error).splitlines() if line.strip()]
    said = lines[1] if len(lines) > 1 else lines[0]  # the first line is pyvips' own summary
    reason = f"the image data is damaged or ends early ({said})"
    raise UnreadableScan(path, reason, "scan it again or copy the file again") from error


def _kind(path: Path) -> str:
    """``tiff``, ``png`` or ``jpeg`` by the first bytes of a file."""
    if path.is_dir():
        refuse(path, "is a folder", "name a file")
    try:
        if not stat.S_ISREG(path.stat().st_mode):  # a pipe would be waited for without end
            refuse(path, "is no ordinary file (a pipe or a device)", "name a file")
        with path.open("rb") as file:
            head = file.read(16)
    except FileNotFoundError:
        refuse(path, "no such file", "check the name")
    except PermissionError:
        refuse(path, "may not be read", "change its permissions (chmod +r)")
    except OSError as error:
        refuse(path, f"cannot be read ({error.strerror})", "copy it to a local disk")
    if not head:
        refuse(path, "is empty (0 bytes)", "scan it again")
    if head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+"):
        return "tiff"
    if head[:8] == b"\x89PNG\r\n\x1a\n":
        return "png"
    if head[:3] == b"\xff\xd8\xff":
        return "jpeg"
    hint = "save the scan as TIFF, PNG or JPEG"
    if head.startswith(b"%PDF"):
        hint = f"take its images out with: pdfimages -all {path.name} scan (poppler-utils)"
    refuse(path, what_else(head), hint)


# ---------------------------------------------------------------------------------- TIFF


def _tiff(path: Path) -> Header:
    try:
        with tifffile.TiffFile(path) as tiff:
            page = _only_page(path, tiff)
            return _tiff_header(path, tiff, page)
    except DAMAGED as error:
        raise UnreadableScan(
            path, "the TIFF tags are damaged or the file ends early", "scan it again"
        ) from error


def _only_page(path: Path, tiff: tifffile.TiffFile) -> tifffile.TiffPage:
    pages: list[tifffile.TiffPage] = []
    for page in tiff.pages:
        if isinstance(page, tifffile.TiffPage) and not page.is_reduced:  # thumbnails are
            pages.append(page)
        if len(pages) > 1:
            refuse(path, "holds several pages", "save each page as its own file")
    if not pages:
        refuse(path, "holds no full-size image", "scan it again")
    return pages[0]


def _tiff_header(path: Path, tiff: tifffile.TiffFile, page: tifffile.TiffPage) -> Header:
    _refuse_tiff_kinds(path, page)
    width, height = int(page.imagewidth), int(page.imagelength)
    channels, bits = int(page.samplesperpixel), int(page.bitspersample)
    orientation = _tag(page, 274)
    orientation = int(orientation) if orientation in range(1, 9) else 1
    dpi, notes = _tiff_dpi(page)
    stored = None
    rows_as_they_are = (
        page.is_contiguous
        and not page.is_tiled
        and int(page.photometric) in (1, 2)
        and (channels == 1 or int(page.planarconfig) == 1)
        and int(page.fillorder) == 1
        and orientation == 1
    )
    if rows_as_they_are:
        stored = Stored(int(page.dataoffsets[0]), np.dtype(f"{tiff.byteorder}u{bits // 8}"))
        _refuse_short(path, stored.offset, width * height * channels * bits // 8)
    icc = _tag(page, 34675)
    device = " ".join(str(_tag(page, code) or "").strip(" \0") for code in (271, 272)).strip()
    return Header(
        format="tiff",
        width_px=width,
        height_px=height,
        channels=channels,
        bits=bits,
        dpi=dpi,
        icc=bytes(icc) if icc else None,
        lossy=int(page.compression) in LOSSY_TIFF,
        orientation=orientation,
        device=device,
        page=page.index,
        stored=stored,
        notes=notes,
    )


def _refuse_tiff_kinds(path: Path, page: tifffile.TiffPage) -> None:
    if (named := NOT_READ.get(int(page.compression))) is not None:
        refuse(path, f"is compressed by {named}, which is not read", "save it uncompressed or LZW")
    photometric, bits = int(page.photometric), page.bitspersample
    if photometric == 3:
        refuse(path, "has a colour palette", "scan in grey or RGB")
    if photometric == 5:
        refuse(path, "is CMYK", "scan in grey or RGB")
    if photometric not in (0, 1, 2, 6):
        refuse(path, f"has an unsupported colour space (photometric {photometric})")
    if bits == 1:
        refuse(path, "is 1-bit black and white", "scan in grey or colour, 8 or 16 bits")
    if int(page.sampleformat or 1) != 1:
        refuse(path, "holds floating-point or signed numbers", "save as 8- or 16-bit grey or RGB")
    if bits not in (8, 16):
        refuse(path, f"has {bits} bits per sample", "save with 8 or 16 bits")
    colours = 1 if photometric in (0, 1) else 3
    if page.samplesperpixel > colours:
        refuse(path, "has transparency or extra channels", "save without transparency")
    if page.samplesperpixel < colours:
        refuse(path, "has too few channels for its colour space")
    if page.is_tiled and colours == 3 and int(page.planarconfig) == 2:
        refuse(path, "stores its colours in separate tiled planes", "save it as an ordinary TIFF")


def _refuse_short(path: Path, offset: int, size: int) -> None:
    there = path.stat().st_size - offset
    if there < size:
        share = max(there, 0) / size
        refuse(path, f"ends early: only {share:.0%} of the pixels are there", "scan it again")


def _tiff_dpi(page: tifffile.TiffPage) -> tuple[tuple[float, float] | None, tuple[str, ...]]:
    unit = _tag(page, 296)
    unit = 2 if unit is None else int(unit)  # TIFF 6.0: inch is the default
    x, y = (_ratio(_tag(page, code)) for code in (282, 283))
    if x is None or y is None or unit not in (2, 3):
        return None, ("the file states no resolution",)
    scale = CM_PER_INCH if unit == 3 else 1.0
    return plausible(x * scale, y * scale)


def _ratio(value: object) -> float | None:
    if not isinstance(value, tuple) or len(value) != 2 or value[1] == 0:
        return None
    return float(value[0]) / float(value[1])


def _tag(page: tifffile.TiffPage, code: int) -> Any:
    tag = page.tags.get(code)
    return None if tag is None else tag.value


# ------------------------------------------------------------------------- PNG and JPEG


def _png_or_jpeg(path: Path, kind: str) -> Header:
    if kind == "png" and compressed_texts(path) > MOST_TEXTS:
        refuse(path, "holds more hidden text than picture", "save it again without its comments")
    image = load(path, None, kind)
    fields = set(image.get_fields())
    if kind == "png":
        image = _plain_png(path, image)
    if image.bands == 4 and image.interpretation == "cmyk":
        refuse(path, "is CMYK", "scan in grey or RGB")
    if image.bands not in (1, 3):
        refuse(path, "has transparency", "save without transparency")
    if image.format not in ("uchar", "ushort"):
        refuse(path, f"holds {image.format} samples", "save with 8 or 16 bits")
    dpi, notes = _vips_dpi(path, image, kind, "resolution-unit" in fields)
    return Header(
        format=kind,
        width_px=image.width,
        height_px=image.height,
        channels=image.bands,
        bits=8 if image.format == "uchar" else 16,
        dpi=dpi,
        icc=image.get("icc-profile-data") if "icc-profile-data" in fields else None,
        lossy=kind == "jpeg",
        orientation=image.get("orientation") if "orientation" in fields else 1,
        notes=notes,
    )


def _plain_png(path: Path, image: pyvips.Image) -> pyvips.Image:
    """The image if it can be measured; a palette of greys as the grey image that it is."""
    fields = image.get_fields()
    if "palette" in fields or "palette-bit-depth" in fields:
        whole = load(path, None, "png").copy_memory()
        if (
            whole.bands != 3
            or (whole[0] - whole[1]).abs().max() + (whole[1] - whole[2]).abs().max()
        ):
            refuse(path, "has a colour palette", "scan in grey or RGB")
        return image[1]
    bits = image.get("bits-per-sample") if "bits-per-sample" in fields else 8
    if bits == 1:
        refuse(path, "is 1-bit black and white", "scan in grey or colour, 8 or 16 bits")
    if bits not in (8, 16):
        refuse(path, f"has {bits} bits per sample", "save with 8 or 16 bits")
    return image


def _vips_dpi(
    path: Path, image: pyvips.Image, kind: str, unit_known: bool
) -> tuple[tuple[float, float] | None, tuple[str, ...]]:
    """Resolution from libvips, which says 72 dpi for "unknown": told apart by its unit field.

    PNG has no such field for its own chunk, which is read here.
    """
    per_mm = (image.xres, image.yres)
    if not (unit_known or (kind == "png" and states_resolution(path))):
        return None, ("the file states no resolution",)
    x, y = (25.4 * value for value in per_mm)
    if kind == "png":  # whole pixels per metre
        x, y = (_unround(value, METRES_PER_INCH, 1) for value in (x, y))
    elif unit_known and image.get("resolution-unit") == "cm":  # whole pixels per centimetre
        x, y = (_unround(value, CM_PER_INCH, 25) for value in (x, y))
    return plausible(round(x, 6), round(y, 6))


def _unround(dpi: float, quantum: float, grid: int) -> float:
    """Multiple of `grid` that `dpi` is the rounding of, to multiples of `quantum`; else `dpi`."""
    likely = grid * round(dpi / grid)
    return float(likely) if abs(likely - dpi) <= quantum / 2 else dpi


def plausible(x: float, y: float) -> tuple[tuple[float, float] | None, tuple[str, ...]]:
    """Resolution if a scanner could have made it, and a remark if not."""
    low, high = PLAUSIBLE_DPI
    if not (low <= x <= high and low <= y <= high):
        return None, (f"the file states {x:g} × {y:g} dpi, which cannot be",)
    if x == y and any(abs(x - none) < 1 for none in SAID_FOR_NONE_DPI):
        return None, (f"the file states {x:g} dpi, as software does where it knows none",)
    remark = () if x >= 100 else (f"the file states {x:g} dpi, perhaps not its true sampling",)
    return (x, y), remark
