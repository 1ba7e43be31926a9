"""Words into the ImageDescription tag of a TIFF that has none, without touching its pixels.

A copy of the first directory with the tag added is appended and the header is pointed at it
(TIFF 6.0, section 2: a directory may lie anywhere, its entries sorted by tag).
"""

from __future__ import annotations

import struct
from pathlib import Path

IMAGE_DESCRIPTION, ASCII = 270, 2
CLASSIC = {b"II*\0": "<", b"MM\0*": ">"}


def describe(path: Path, words: str) -> None:
    """Append `words` (ASCII) as the description of a classic TIFF; other files are left alone."""
    with path.open("r+b") as file:
        order = CLASSIC.get(file.read(4))
        if order is None:
            return
        file.seek(struct.unpack(f"{order}I", file.read(4))[0])
        (count,) = struct.unpack(f"{order}H", file.read(2))
        entries = [file.read(12) for _ in range(count)]
        following = file.read(4)
        tags = [struct.unpack(f"{order}H", entry[:2])[0] for entry in entries]
        if IMAGE_DESCRIPTION in tags:
            return
        text = words.encode("ascii") + b"\0"
        text_at = file.seek(0, 2)
        text += b"\0" * (len(text) % 2)  # directories begin at even places
        text_at += text_at % 2
        directory_at = text_at + len(text)
        if directory_at + 4096 > 2**32:
            return
        new = struct.pack(f"{order}HHII", IMAGE_DESCRIPTION, ASCII, len(words) + 1, text_at)
        place = sum(tag < IMAGE_DESCRIPTION for tag in tags)
        entries.insert(place, new)
        file.seek(text_at)
        file.write(text)
        file.write(struct.pack(f"{order}H", count + 1) + b"".join(entries) + following)
        file.seek(4)
        file.write(struct.pack(f"{order}I", directory_at))
