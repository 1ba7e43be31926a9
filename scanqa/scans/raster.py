"""Uncompressed pixels somewhere in a file, read by rows and rectangles without mapping them.

Plain positioned reads: memory holds only what was asked for, a file that became shorter is an
error instead of a signal, and hundreds of small windows cost no more than their bytes.
"""

from __future__ import annotations

import math
import os
import weakref
from pathlib import Path

import numpy as np

from scanqa.model import Pixels, Window

AT_ONCE_BYTES = 3_000_000  # of whole rows, of which a window is cut: less work than a call for each


class Raster:
    """Rows of interleaved samples at an offset of an open file.

    Parameters
    ----------
    descriptor : int
        Open for reading; closed when the raster is no longer used.
    offset : int
        First byte of the first row.
    shape : (rows, columns, channels)
        Size of the image.
    dtype : dtype
        uint8 or uint16 in the file's byte order.
    """

    def __init__(
        self, descriptor: int, offset: int, shape: tuple[int, int, int], dtype: np.dtype[np.generic]
    ) -> None:
        self._descriptor, self._offset, self._shape, self._dtype = descriptor, offset, shape, dtype
        weakref.finalize(self, os.close, descriptor)

    @classmethod
    def in_file(
        cls, path: Path, offset: int, shape: tuple[int, int, int], dtype: np.dtype[np.generic]
    ) -> Raster:
        """Of a file that is opened here."""
        return cls(os.open(path, os.O_RDONLY | os.O_CLOEXEC), offset, shape, dtype)

    @property
    def size(self) -> int:
        """Bytes of all rows."""
        return math.prod(self._shape) * self._dtype.itemsize

    @property
    def is_whole(self) -> bool:
        """Whether the file holds the last row."""
        return os.fstat(self._descriptor).st_size >= self._offset + self.size

    def emptied(self) -> int:
        """Descriptor of the file, to be filled from its beginning."""
        os.ftruncate(self._descriptor, 0)
        os.lseek(self._descriptor, 0, os.SEEK_SET)
        return self._descriptor

    def read(self, window: Window) -> Pixels:
        """Pixels of a window in the machine's byte order.

        Raises
        ------
        EOFError
            If the file ends before them.
        """
        _, columns, channels = self._shape
        row_bytes = columns * channels * self._dtype.itemsize
        start = self._offset + window.row * row_bytes
        if window.width == columns:
            pixels = np.empty((window.height, columns, channels), self._dtype)
            self._fill(pixels, start)
        elif window.height * row_bytes <= AT_ONCE_BYTES:
            rows = np.empty((window.height, columns, channels), self._dtype)
            self._fill(rows, start)
            pixels = rows[:, window.col : window.col + window.width].copy()
        else:
            pixels = np.empty((window.height, window.width, channels), self._dtype)
            start += window.col * channels * self._dtype.itemsize
            for row, part in enumerate(pixels):
                self._fill(part, start + row * row_bytes)
        if not self._dtype.isnative:
            pixels = pixels.byteswap(inplace=True).view(self._dtype.newbyteorder("="))
        return pixels

    def _fill(self, part: Pixels, start: int) -> None:
        done = os.preadv(self._descriptor, [part.data], start)
        if done == part.nbytes:
            return
        buffer = part.data.cast("B")
        while done < len(buffer):  # one read is at most 2 GiB
            count = os.preadv(self._descriptor, [buffer[done:]], start + done)
            if count == 0:
                raise EOFError
            done += count
