"""Which device a file says it comes from: make, model, serial and software.

TIFF 6.0 tags Make (271), Model (272) and Software (305); Exif 2.3 BodySerialNumber (42033). In
PNG and JPEG the same where libvips finds Exif. What a file says is a claim: its owner may say
otherwise (`scanqa scanners`).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import pyvips
import tifffile

from scanqa.model import Identity
from scanqa.scans.header import DAMAGED

TAGS = {"make": 271, "model": 272, "driver": 305}
EXIF_IFD, SERIAL = 34665, "BodySerialNumber"
EXIF = {
    "make": "exif-ifd0-Make",
    "model": "exif-ifd0-Model",
    "driver": "exif-ifd0-Software",
    "serial": "exif-ifd2-BodySerialNumber",
}
OWN = ("scanqa", "tifffile")  # software that writes files, and drives no scanner
LONGEST = 100  # characters that are kept of a tag


def stated_identity(paths: Sequence[Path], scanner: str) -> Identity | None:
    """What the files say of the unit; nothing where they say nothing, or not the same."""
    said: dict[str, set[str]] = {}
    for path in paths:
        for name, words in _fields(path):
            said.setdefault(name, set()).add(words)
    agreed = {name: words.pop() for name, words in said.items() if len(words) == 1}
    return Identity(scanner, **agreed) if agreed else None


def _fields(path: Path) -> Iterator[tuple[str, str]]:
    try:
        found = _of_tiff(path) if path.suffix.lower() in (".tif", ".tiff") else _of_other(path)
        kept = [(name, _cleaned(words)) for name, words in found]
    except (*DAMAGED, OSError, pyvips.Error):
        return  # whether it can be used at all is said where it is read
    yield from ((name, words) for name, words in kept if words and not words.startswith(OWN))


def _of_tiff(path: Path) -> list[tuple[str, str]]:
    with tifffile.TiffFile(path) as tiff:
        tags = tiff.pages.first.tags
        found = [(name, str(tags[code].value)) for name, code in TAGS.items() if code in tags]
        exif = tags[EXIF_IFD].value if EXIF_IFD in tags else {}
    if isinstance(exif, dict) and SERIAL in exif:
        found.append(("serial", str(exif[SERIAL])))
    return found


def _of_other(path: Path) -> list[tuple[str, str]]:
    image = pyvips.Image.new_from_file(str(path), access="sequential", fail_on="error")
    fields = set(image.get_fields())
    # libvips adds its own reading in brackets behind the words
    return [
        (name, str(image.get(field)).partition(" (")[0])
        for name, field in EXIF.items()
        if field in fields
    ]


def _cleaned(words: str) -> str:
    """Words on one line, without what no page can hold."""
    return " ".join("".join(c if c.isprintable() else " " for c in words).split())[:LONGEST]
