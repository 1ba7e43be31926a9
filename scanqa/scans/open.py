"""Files to scans: TIFF, PNG and JPEG at their true depth, in strips and windows.

Rows of an uncompressed TIFF are read where they lie. Every other file is decoded once, strip by
strip, into an unnamed temporary file (``TMPDIR``, else ``/var/tmp``) and read from there: a window
costs microseconds in both cases, memory never holds a page, and damage anywhere in the file shows
before the first pixel is handed out.
"""

from __future__ import annotations

import os
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
import pyvips

from scanqa.errors import ScanqaError, UnreadableScan
from scanqa.model import Driver, Pixels, Window
from scanqa.scans.array import check_inside
from scanqa.scans.decoding import all_or_damaged, load_whole
from scanqa.scans.header import Header, read_header
from scanqa.scans.raster import Raster
from scanqa.scans.taken import driver_of, seconds_of, told_in
from scanqa.whole import hash_of

CANNOT_WRITE = "target: write error"  # of libvips, for whatever reason
TURNED = {
    2: "mirrored",
    3: "turned by 180°",
    4: "mirrored top to bottom",
    5: "turned and mirrored",
    6: "turned by 90°",
    7: "turned and mirrored",
    8: "turned by 270°",
}


def open_scan(path: str | os.PathLike[str], *, name: str = "") -> FileScan:
    """Open a scan; its header is read and checked, its pixels are not.

    Parameters
    ----------
    path : str or path
        TIFF (any strips or tiles, uncompressed, LZW, deflate, PackBits or JPEG, big or not), PNG
        or JPEG; grey or RGB; 8 or 16 bits.
    name : str
        What to call it; the file's name if nothing else is said.

    Returns
    -------
    FileScan
        The image as a viewer shows it: an orientation tag is applied, and noted.

    Raises
    ------
    UnreadableScan
        Not an image, damaged, or of a kind that cannot be measured. Damage inside compressed
        data is found, and raised, at the first strip or window.
    """
    path = Path(path)
    header = read_header(path)
    return FileScan(path, header, name or path.name, _state(path))


def _state(path: Path) -> tuple[int, int] | None:
    """When a file was written, and how long it is; None if it is gone."""
    try:
        facts = path.stat()
    except OSError:
        return None
    return facts.st_mtime_ns, facts.st_size


@dataclass(frozen=True, eq=False)
class FileScan:
    """A scan in a file (`scanqa.model.Scan`); made by `open_scan`."""

    path: Path
    header: Header
    name: str
    state: tuple[int, int] | None = None  # of the file when it was opened

    @property
    def width_px(self) -> int:
        """Columns, after the turn that the file asks for."""
        return self.header.height_px if self._on_its_side else self.header.width_px

    @property
    def height_px(self) -> int:
        """Rows, after the turn that the file asks for."""
        return self.header.width_px if self._on_its_side else self.header.height_px

    @property
    def channels(self) -> int:
        """1 or 3."""
        return self.header.channels

    @property
    def bits(self) -> int:
        """8 or 16."""
        return self.header.bits

    @property
    def dpi(self) -> tuple[float, float] | None:
        """Samples per inch in x and y, or None where the file states none that could be."""
        if self.header.dpi is None or not self._on_its_side:
            return self.header.dpi
        return self.header.dpi[1], self.header.dpi[0]

    @property
    def icc(self) -> bytes | None:
        """Embedded ICC profile."""
        return self.header.icc

    @property
    def format(self) -> str:
        """``tiff``, ``png`` or ``jpeg``."""
        return self.header.format

    @property
    def lossy(self) -> bool:
        """Whether this file's compression loses detail."""
        return self.header.lossy

    @property
    def notes(self) -> tuple[str, ...]:
        """Remarks on the file."""
        if self.header.orientation == 1:
            return self.header.notes
        return (*self.header.notes, f"{TURNED[self.header.orientation]}, as its tag asks")

    @property
    def seconds(self) -> float | None:
        """How long the scan took, where its description says it."""
        return seconds_of(self._told)

    @property
    def driver(self) -> Driver | None:
        """What ``scanqa capture`` wrote of the driver, None where it did not make the file."""
        return driver_of(self._told)

    @cached_property
    def _told(self) -> Mapping[str, Any]:
        return told_in(self.path) if self.format == "tiff" else {}

    @property
    def modified(self) -> str:
        """When the file was last written: ISO 8601, UTC, whole seconds."""
        written = datetime.fromtimestamp(self.path.stat().st_mtime, UTC)
        return written.isoformat(timespec="seconds")

    @cached_property
    def sha256(self) -> str:
        """Hash of the file's bytes."""
        return hash_of(self.path)

    def make_room(self) -> None:
        """Open the file for unpacked pixels, if it takes one.

        For before a process is forked: the file is one for both, and who unpacks first fills it.
        """
        if self.header.stored is None:
            self._room  # noqa: B018 - kept

    def check_unchanged(self) -> None:
        """See that the file is still the one that was opened.

        Raises
        ------
        UnreadableScan
            If it was written to since, or is gone: what was read may be of two images.
        """
        if _state(self.path) != self.state:
            raise UnreadableScan(
                self.path,
                "changed while it was measured",
                "measure it again when it is whole and nothing writes to it",
            )

    def learn(self, sha256: str) -> None:
        """Take over what another process has found out of the same file."""
        self.__dict__.setdefault("sha256", sha256)

    def __getstate__(self) -> dict[str, Any]:
        """For another process: open files stay behind."""
        return {name: kept for name, kept in self.__dict__.items() if name[0] != "_"}

    def window(self, window: Window) -> Pixels:
        """Pixels of a window, (height, width, channels), a new array.

        Raises
        ------
        ValueError
            If it reaches outside the image.
        UnreadableScan
            If the file is damaged or ends early.
        """
        check_inside(window, self.width_px, self.height_px)
        try:
            return self._raster.read(window)
        except EOFError as error:
            raise UnreadableScan(self.path, "became shorter", "scan it again") from error

    def strips(self, rows: int = 256) -> Iterator[tuple[int, Pixels]]:
        """First row and pixels of each strip of `rows` rows, from top to bottom."""
        for row in range(0, self.height_px, rows):
            height = min(rows, self.height_px - row)
            yield row, self.window(Window(row, 0, height, self.width_px))

    @property
    def _on_its_side(self) -> bool:
        return self.header.orientation >= 5

    @cached_property
    def _raster(self) -> Raster:
        stored = self.header.stored
        if stored is not None:
            return Raster.in_file(self.path, stored.offset, self._shape, stored.dtype)
        self._unpack()
        return self._room

    @property
    def _shape(self) -> tuple[int, int, int]:
        return self.height_px, self.width_px, self.channels

    @property
    def _unpacked(self) -> np.dtype[np.generic]:
        """Type of the samples when unpacked."""
        return np.dtype(np.uint8 if self.bits == 8 else np.uint16)

    @cached_property
    def _room(self) -> Raster:
        """An unnamed temporary file for the unpacked pixels."""
        return Raster(_unnamed_file(), 0, self._shape, self._unpacked)

    def _unpack(self) -> None:
        """Decode the whole file, unless that has been done in another process."""
        if self._room.is_whole:
            return
        image = load_whole(self.path, self.header, self._shape)
        _check_space(self._room.size)
        try:
            with all_or_damaged(self.path):
                image.rawsave_target(pyvips.Target.new_to_descriptor(self._room.emptied()))
        except UnreadableScan as error:
            if CANNOT_WRITE not in str(error):
                raise
            raise _no_room(self._room.size) from error  # the file is sound


def _unnamed_file() -> int:
    """Descriptor of a temporary file that vanishes with it."""
    folder = _unpacking_folder()
    try:
        descriptor, name = tempfile.mkstemp(prefix="scanqa-", dir=folder)
        os.unlink(name)
    except OSError as error:
        raise ScanqaError(
            f"{folder}: scans cannot be unpacked there ({error.strerror}); name another folder in "
            "TMPDIR"
        ) from error
    return descriptor


def _unpacking_folder() -> str:
    """Where unpacked scans go.

    /tmp may be memory; /var/tmp is for large files (Filesystem Hierarchy Standard 5.15), so it
    is taken unless the user chose a place.
    """
    chosen = any(name in os.environ for name in ("TMPDIR", "TEMP", "TMP"))
    return "/var/tmp" if not chosen and os.access("/var/tmp", os.W_OK) else tempfile.gettempdir()


def _check_space(size: int) -> None:
    if shutil.disk_usage(_unpacking_folder()).free < size:
        raise _no_room(size)


def _no_room(size: int) -> ScanqaError:
    return ScanqaError(
        f"{_unpacking_folder()}: no room to unpack a scan ({size / 1e6:.0f} MB); "
        "free some, or name another folder in TMPDIR"
    )
