"""Pixels as a PNG inside the page (ISO/IEC 15948): written here, so that pages need no codec."""

from __future__ import annotations

import base64
import struct
import zlib

import numpy as np
from numpy.typing import NDArray

SIGNATURE = b"\x89PNG\r\n\x1a\n"
GREY, RGB = 0, 2  # colour types


def data_uri(image: NDArray[np.uint8]) -> str:
    """An image of (rows, columns) or (rows, columns, 3) bytes as ``data:`` address."""
    if image.ndim == 3 and np.all(image == image[..., :1]):
        image = image[..., 0]
    rows, columns = image.shape[:2]
    kind = GREY if image.ndim == 2 else RGB
    lines = np.ascontiguousarray(image).reshape(rows, -1)
    raw = b"".join(b"\0" + line.tobytes() for line in lines)  # filter 0 before each row
    header = struct.pack(">IIBBBBB", columns, rows, 8, kind, 0, 0, 0)
    parts = (_chunk(b"IHDR", header), _chunk(b"IDAT", zlib.compress(raw, 9)), _chunk(b"IEND", b""))
    return "data:image/png;base64," + base64.b64encode(SIGNATURE + b"".join(parts)).decode()


def _chunk(kind: bytes, data: bytes) -> bytes:
    check = struct.pack(">I", zlib.crc32(kind + data))
    return struct.pack(">I", len(data)) + kind + data + check
