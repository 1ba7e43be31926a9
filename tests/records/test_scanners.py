"""Which unit a name means: kept, filled by what files state, and never two units under one name."""

import struct
from dataclasses import replace

import numpy as np
import pytest
import tifffile

from scanqa.model import Identity
from scanqa.records import scanners
from scanqa.records.database import StoreError
from scanqa.records.looking_back import beside
from scanqa.records.migrations import upgrade
from scanqa.records.store import add, add_event, entries
from scanqa.scans.origin import stated_identity
from tests.records.builders import qualification

HERON = Identity(
    "heron", "Larkfield", "L-12", "0417", seller="R. Osgood", acquired="2026-11-20",
    return_until="2026-12-04",
)  # fmt: skip


def test_what_is_noted_of_a_unit_comes_back_and_can_be_changed(engine):
    assert scanners.find(engine, "heron") is None
    scanners.keep_identity(engine, HERON)
    assert scanners.find(engine, "heron") == HERON
    scanners.keep_identity(engine, replace(HERON, site="reading room", return_until=""))
    (found,) = scanners.all_known(engine)
    assert (found.site, found.return_until, found.serial) == ("reading room", "", "0417")


def test_a_date_that_is_none_is_refused(engine):
    with pytest.raises(StoreError, match="return until '4 December' is not a date"):
        scanners.keep_identity(engine, replace(HERON, return_until="4 December"))


@pytest.mark.parametrize(
    ("stated", "differs"),
    [
        (None, ""),
        (Identity("heron"), ""),
        (Identity("heron", serial="0417"), ""),
        (Identity("heron", model="l-12"), ""),  # capitals make no other unit
        (Identity("heron", serial="0418"), "serial"),
        (Identity("heron", model="L-14"), "model"),
        (Identity("heron", make="Larkfield Optical"), ""),  # makers are written in many ways
    ],
)
def test_another_serial_is_another_unit(stated, differs):
    assert scanners.differing(HERON, stated) == differs
    assert scanners.differing(None, stated) == ""


def test_files_fill_blanks_and_overrule_nothing():
    stated = Identity("heron", "Larkfield Optical", "L-12", "0417", driver="backend 1.2")
    both = scanners.joint(HERON, stated)
    assert (both.make, both.driver) == ("Larkfield", "backend 1.2")
    assert scanners.joint(None, stated) == stated
    assert scanners.joint(HERON, None) == HERON


def test_what_stands_beside_a_check_is_the_one_before_and_what_was_done_since(engine):
    scanners.keep_identity(engine, HERON)
    first = qualification("a", conditions={"date": "2026-01-05"})
    add(engine, first)
    add_event(engine, "heron", "2026-01-01", "glass wiped")
    add_event(engine, "heron", "2026-01-20", "sensor window cleaned")
    add_event(engine, "heron", "2026-03-01", "lamp replaced")
    now = qualification("b", conditions={"date": "2026-02-05"})
    found = beside(engine, now)
    assert found.before == first
    assert found.noted == ("sensor window cleaned",)
    assert (found.identity, found.differs) == (HERON, "")
    add(engine, now)
    assert beside(engine, now).before == first, "a record is not its own earlier check"


def test_records_from_before_units_were_noted_open_and_keep_their_rows(engine):
    add(engine, qualification("a"))
    upgrade(engine)  # twice does nothing
    (entry,) = entries(engine)
    assert entry.decision == ""


def tiff_with_serial(path):
    """A TIFF of one grey pixel whose Exif directory holds a serial number, byte by byte."""
    model, serial = b"L-12\0", b"0417-B\0"
    entries = [
        (256, 3, 1, 1), (257, 3, 1, 1), (258, 3, 1, 8), (259, 3, 1, 1), (262, 3, 1, 1),
        (272, 2, len(model), 300), (273, 4, 1, 400), (277, 3, 1, 1), (278, 3, 1, 1),
        (279, 4, 1, 1), (34665, 4, 1, 200),
    ]  # fmt: skip
    first = struct.pack("<H", len(entries))
    first += b"".join(struct.pack("<HHII", *entry) for entry in entries) + b"\0" * 4
    exif = struct.pack("<HHHIII", 1, 42033, 2, len(serial), 320, 0)
    data = bytearray(401)
    data[:8] = struct.pack("<2sHI", b"II", 42, 8)
    for at, part in ((8, first), (200, exif), (300, model), (320, serial), (400, b"\xf0")):
        data[at : at + len(part)] = part
    path.write_bytes(bytes(data))


def test_the_serial_number_of_a_tiff_is_read(tmp_path):
    tiff_with_serial(tmp_path / "a.tif")
    found = stated_identity([tmp_path / "a.tif"], "heron")
    assert found == Identity("heron", model="L-12", serial="0417-B")


@pytest.mark.parametrize("suffix", [".tif", ".jpg", ".png"])
def test_files_say_which_device_they_come_from(suffix, tmp_path):
    """TIFF 6.0 tags 271, 272, 305; Exif 2.3 tag 42033, written by Pillow."""
    from PIL import Image

    image = Image.fromarray(np.full((120, 120, 3), 240, np.uint8))
    exif = Image.Exif()
    exif[271], exif[272], exif[305] = "Larkfield", "L-12", "Larkfield Scan 3.1"
    exif.get_ifd(34665)[42033] = "0417"
    path = tmp_path / f"scan{suffix}"
    if suffix == ".tif":
        image.save(path, exif=exif)
    else:
        image.save(path, exif=exif)
    found = stated_identity([path], "heron")
    assert found is not None
    assert (found.make, found.model, found.driver) == ("Larkfield", "L-12", "Larkfield Scan 3.1")
    if suffix != ".tif":  # into which Pillow writes no Exif directory
        assert found.serial == "0417"


def test_files_that_disagree_or_say_nothing_state_nothing(tmp_path):
    pixels = np.full((120, 120), 240, np.uint8)
    for name, model in (("a", "L-12"), ("b", "L-14")):
        extra = [(272, "s", 0, model, True)]
        tifffile.imwrite(tmp_path / f"{name}.tif", pixels, extratags=extra, software="")
    paths = [tmp_path / "a.tif", tmp_path / "b.tif"]
    assert stated_identity(paths[:1], "heron") == Identity("heron", model="L-12")
    assert stated_identity(paths, "heron") is None
    (tmp_path / "torn.tif").write_bytes(b"II*\0\x08\0\0\0\xff\xff")
    assert stated_identity([tmp_path / "torn.tif", tmp_path / "none.jpg"], "heron") is None
