"""How long a scan took, where the file itself says it.

``scanqa capture`` writes device, options and seconds as JSON into the description of each TIFF. The
dates of files are no substitute: between two of them lies the laying of the next thing, and a copy
may change them all.
"""

from __future__ import annotations

import json
from pathlib import Path

import tifffile

LONGEST_S = 86_400.0


def seconds_taken(path: Path) -> float | None:
    """Seconds that a scan took, None where its TIFF does not say (or says what cannot be)."""
    with tifffile.TiffFile(path) as tiff:
        words = tiff.pages.first.description
    try:
        facts = json.loads(words)
        seconds = float(facts["seconds"])
    except (ValueError, KeyError, TypeError, RecursionError):  # somebody else's description
        return None
    return seconds if "device" in facts and 0 < seconds < LONGEST_S else None
