"""What a PNG file says before its pixels: the unit of its pHYs chunk (PNG 3rd ed., 11.3.4.3)."""

from __future__ import annotations

import struct
from pathlib import Path

HEAD = 8  # bytes of the signature
METRE = 1


def states_resolution(path: Path) -> bool:
    """Whether a PNG file has a pHYs chunk in metres; unit 0 says but the shape of pixels."""
    with path.open("rb") as file:
        file.seek(HEAD)
        while len(start := file.read(8)) == 8:
            size, kind = struct.unpack(">I4s", start)
            if kind == b"IDAT":
                return False
            if kind == b"pHYs":
                body = file.read(9)
                return len(body) == 9 and body[8] == METRE
            file.seek(size + 4, 1)
    return False
