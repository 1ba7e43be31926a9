"""How a scan was made, where the file itself says it: how long it took, what the driver did.

``scanqa capture`` writes device, options, seconds and what is known of the driver as JSON into the
description of each TIFF. The dates of files are no substitute: between two of them lies the laying
of the next thing, and a copy may change them all.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any, get_args

import tifffile

from scanqa.model import Calibrated, Driver

LONGEST_S = 86_400.0
LONGEST_NAME = 80
CALIBRATED: dict[str, Calibrated] = {each: each for each in get_args(Calibrated)}
MOST_NUMBERS = 64  # gains and offsets, or short scans: more of them nobody wrote


def seconds_taken(path: Path) -> float | None:
    """Seconds that a scan took, None where its TIFF does not say (or says what cannot be)."""
    try:
        seconds = float(_facts(path)["seconds"])
    except (ValueError, KeyError, TypeError, OverflowError):
        return None
    return seconds if 0 < seconds < LONGEST_S else None


def driver_of(path: Path) -> Driver | None:
    """What a TIFF says of the driver that made it; None where it does not, or says nonsense."""
    try:
        told = _facts(path)["driver"]
        age = told["kept_min"]
        driver = Driver(
            CALIBRATED[told["calibrated"]],
            None if age is None else _number(age),
            tuple((str(name)[:LONGEST_NAME], _number(v)) for name, v in told["numbers"]),
            tuple((_number(at), _number(level)) for at, level in told["lamp"]),
        )
    except (ValueError, KeyError, TypeError, OverflowError):
        return None
    return driver if max(len(driver.numbers), len(driver.lamp)) <= MOST_NUMBERS else None


def _number(value: Any) -> float:
    if not math.isfinite(number := float(value)):
        raise ValueError(value)
    return number


def _facts(path: Path) -> dict[str, Any]:
    """The JSON of a description that names a device; empty for somebody else's words."""
    with tifffile.TiffFile(path) as tiff:
        words = tiff.pages.first.description
    try:
        facts = json.loads(words)
    except (ValueError, RecursionError):
        return {}
    return facts if isinstance(facts, dict) and "device" in facts else {}
