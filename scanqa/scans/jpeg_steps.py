"""How coarse a JPEG file's own quantisation tables are (ITU-T T.81, B.2.4.1)."""

from __future__ import annotations

import math
from pathlib import Path

SOI, DQT, SOS, EOI = 0xD8, 0xDB, 0xDA, 0xD9
MOST_BYTES = 1_000_000  # of headers: profiles and previews stand before the tables in some files


def mean_step(path: Path) -> float | None:
    """Geometric mean of the steps of the first (luma) table; None without one."""
    with path.open("rb") as file:
        data = file.read(MOST_BYTES)
    at = 2
    while at + 4 <= len(data) and data[at] == 0xFF:
        marker, size = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        if marker in (SOS, EOI):
            return None
        if marker == DQT:
            wide = data[at + 4] >> 4
            table = data[at + 5 : at + 5 + 64 * (2 if wide else 1)]
            steps = [
                int.from_bytes(table[k : k + 1 + wide], "big")
                for k in range(0, len(table), 1 + wide)
            ]
            if len(steps) == 64 and min(steps) > 0:
                return math.exp(sum(map(math.log, steps)) / 64)
            return None
        at += 2 + size
    return None
