"""How a scan was made, where the file itself says it: how long it took, what the driver did.

``scanqa capture`` writes device, options, seconds and what is known of the driver as JSON into the
description of each TIFF. The dates of files are no substitute: between two of them lies the laying
of the next thing, and a copy may change them all.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, get_args

import tifffile

from scanqa.model import Calibrated, Driver

LONGEST_S = 86_400.0
LONGEST_NAME = 80
CALIBRATED: dict[str, Calibrated] = {each: each for each in get_args(Calibrated)}
MOST_NUMBERS = 64  # gains and offsets, or short scans: more of them nobody wrote


def told_in(path: Path) -> dict[str, Any]:
    """The JSON of a TIFF's description that names a device; empty for somebody else's words."""
    with tifffile.TiffFile(path) as tiff:
        words = tiff.pages.first.description
    try:
        facts = json.loads(words)
    except (ValueError, RecursionError):
        return {}
    return facts if isinstance(facts, dict) and "device" in facts else {}


def seconds_of(told: Mapping[str, Any]) -> float | None:
    """Seconds that a scan took, None where it is not told (or cannot be)."""
    try:
        seconds = float(told["seconds"])
    except (ValueError, KeyError, TypeError, OverflowError):
        return None
    return seconds if 0 < seconds < LONGEST_S else None


def driver_of(told: Mapping[str, Any]) -> Driver | None:
    """What is told of the driver that made a scan; None where it is not, or is nonsense."""
    try:
        said = told["driver"]
        age = said["kept_min"]
        driver = Driver(
            CALIBRATED[said["calibrated"]],
            None if age is None else _number(age),
            tuple((str(name)[:LONGEST_NAME], _number(v)) for name, v in said["numbers"]),
            tuple((_number(at), _number(level)) for at, level in said["lamp"]),
        )
    except (ValueError, KeyError, TypeError, OverflowError):
        return None
    return driver if max(len(driver.numbers), len(driver.lamp)) <= MOST_NUMBERS else None


def _number(value: Any) -> float:
    if not math.isfinite(number := float(value)):
        raise ValueError(value)
    return number
