"""How long a scan took, where the file itself says it.

``scanqa capture`` writes device, options and seconds as JSON into the description of each TIFF. The
dates of files are no substitute: between two of them lies the laying of the next thing, and a copy
may change them all.
"""

from __future__ import annotations

import json

import tifffile

from scanqa.model import Scan
from scanqa.scans.open import FileScan

LONGEST_S = 86_400.0


def seconds_taken(scan: Scan) -> float | None:
    """Seconds that a scan took, None where its file does not say (or says what cannot be)."""
    if not isinstance(scan, FileScan) or scan.format != "tiff":
        return None
    with tifffile.TiffFile(scan.path) as tiff:
        words = tiff.pages.first.description
    try:
        facts = json.loads(words)
        seconds = float(facts["seconds"])
    except (ValueError, KeyError, TypeError, RecursionError):  # somebody else's description
        return None
    return seconds if "device" in facts and 0 < seconds < LONGEST_S else None
