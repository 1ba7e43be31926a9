"""What a PNG file says beside its pixels: the unit of its pHYs chunk, how much hidden text.

PNG, 3rd edition, 11.3.4.3 and 11.3.3.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

HEAD = 8  # bytes of the signature
METRE = 1


def states_resolution(path: Path) -> bool:
    """Whether a PNG file has a pHYs chunk in metres; unit 0 says but the shape of pixels."""
    for kind, start in _chunks(path):
        if kind == b"IDAT":
            return False
        if kind == b"pHYs":
            return len(start) == 9 and start[8] == METRE
    return False


def compressed_texts(path: Path) -> int:
    """How many texts a PNG file holds that are to be unpacked."""
    return sum(kind in (b"zTXt", b"iTXt") for kind, _ in _chunks(path))


def _chunks(path: Path) -> Iterator[tuple[bytes, bytes]]:
    """Kind and first nine bytes of each chunk, up to the first that is cut off."""
    with path.open("rb") as file:
        file.seek(HEAD)
        while len(start := file.read(8)) == 8:
            size, kind = struct.unpack(">I4s", start)
            begin = file.tell()
            yield kind, file.read(min(size, 9))
            file.seek(begin + size + 4)
