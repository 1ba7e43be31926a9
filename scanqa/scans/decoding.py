"""Decoding by libvips, none of whose failures passes unseen."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pyvips

from scanqa.errors import UnreadableScan
from scanqa.scans.header import Header, damaged, load


def load_whole(path: Path, header: Header, shape: tuple[int, int, int]) -> pyvips.Image:
    """The image of a file, to be decoded from top to bottom.

    Parameters
    ----------
    shape : (rows, columns, channels)
        What the header promises, after the turn that the file asks for.

    Raises
    ------
    UnreadableScan
        If libvips makes something else of it.
    """
    image = load(path, header, header.format)
    found = (image.height, image.width, image.bands)
    if found != shape or image.format != ("uchar" if header.bits == 8 else "ushort"):
        raise UnreadableScan(
            path, f"decodes to {found} {image.format}, not {shape}", "save it as a plain TIFF"
        )
    return image


@contextmanager
def all_or_damaged(path: Path) -> Iterator[None]:
    """Around a decoding: what fails in it is said of the file.

    A tile that cannot be decoded becomes black without a failure (libvips 8.18, whatever fail_on
    says), but its message stays in libvips' buffer.

    Raises
    ------
    UnreadableScan
        If anything of it could not be decoded.
    """
    pyvips.Error("")  # takes away what earlier failures left in the buffer
    try:
        yield
    except pyvips.Error as error:
        damaged(path, error)
    unreported = pyvips.Error("decoded with errors")
    if unreported.detail:
        damaged(path, unreported)
