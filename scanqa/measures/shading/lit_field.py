"""Which part of a bed of paper no shadow of its frame reaches.

A side is looked at in a few long parts: its light is that of all scans together, and one straight
line stands for what falls off gently. Short parts, each with a line of its own, would find shadows
in the clouds of the paper: a line from 20 to 45 mm that is continued to the border is off by 3.6
times what either of its ends is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import ndimage

from scanqa.catalogue import SIDES, Side
from scanqa.model import Floats, Point
from scanqa.numeric.border import SPECK_MM, UNSETTLED, depths_below, far_line, far_zone_mm
from scanqa.numeric.lightness import lstar
from scanqa.reading.sides import from_side

SHADOW_DELTA_L = 1.0  # stricter than the edge measure: the tail of a shadow is not shading either
PARTS = 8  # of a side
DEEPEST_PERCENT = 90.0  # of its parts
# A frame takes a tenth of the light at least from the outermost millimetre, light that falls off
# gently hardly so much (common practice, no source). Between: 4 L* is a tenth of white's light.
DARK_L, OUTERMOST_MM = 4.0, 1.0
Range = tuple[int, int]


@dataclass(frozen=True, slots=True)
class LitField:
    """Columns and rows of blocks (start, end) that are lit, and what lies outside.

    Attributes
    ----------
    columns, rows : (start, end)
        Without any strip that looks like a shadow.
    wide_columns, wide_rows : (start, end)
        With strips that are too little dark for the shadow of a frame.
    left_out_mm : float
        Width of the widest strip that is left out.
    """

    columns: Range
    rows: Range
    wide_columns: Range
    wide_rows: Range
    left_out_mm: float


def lit_field(planes: Sequence[Floats], block_mm: Point) -> LitField:
    """Where no shadow of the frame reaches, from the light of scans of one size, (rows, columns).

    Parameters
    ----------
    block_mm : (x, y)
        Size of a block.
    """
    light = np.mean([plane / plane.mean() for plane in planes], axis=0)
    light *= float(np.mean([plane.mean() for plane in planes]))
    height, width = light.shape
    trim: dict[Side, int] = {}
    dark: dict[Side, int] = {}
    widest = 0.0
    for side in SIDES:
        pitch = block_mm[0] if side in ("left", "right") else block_mm[1]
        depth_mm, outermost = _strip(from_side(light, side), pitch)
        trim[side] = int(np.ceil(depth_mm / pitch))
        dark[side] = trim[side] if outermost >= DARK_L else 0
        widest = max(widest, trim[side] * pitch)
    return LitField(*_inside(trim, width, height), *_inside(dark, width, height), widest)


def _inside(trim: dict[Side, int], width: int, height: int) -> tuple[Range, Range]:
    return (
        (trim["left"], max(width - trim["right"], trim["left"])),
        (trim["top"], max(height - trim["bottom"], trim["top"])),
    )


def _strip(inwards: Floats, pitch_mm: float) -> tuple[float, float]:
    """Depth of what looks like a shadow at a side, mm, and how dark (L*) its outermost part is."""
    at_mm = (np.arange(inwards.shape[1] // 2) + 0.5) * pitch_mm
    zone = far_zone_mm(inwards.shape[1] * pitch_mm)
    if zone is None or np.diff(np.searchsorted(at_mm, zone)) < 2:
        return 0.0, 0.0
    shown = inwards[:, : len(at_mm)]
    parts = np.array(
        [lstar(part.mean(axis=0)) for part in np.array_split(shown, PARTS) if part.size]
    )
    start, end = np.searchsorted(at_mm, zone)
    line = far_line(at_mm, np.median(parts, axis=0)[None], zone)[0]
    if abs(line[end - 1] - line[start]) / 2 > UNSETTLED * SHADOW_DELTA_L:
        return zone[0], 0.0
    lack = line - parts
    lack -= np.median(lack[:, start:end], axis=1)[:, None]
    speck = 2 * round(SPECK_MM / pitch_mm / 2) + 1
    lack = ndimage.median_filter(lack[:, :start], size=(1, speck), mode="nearest")
    depths = np.nan_to_num(depths_below(lack, pitch_mm, SHADOW_DELTA_L), nan=zone[0])
    outer = max(round(OUTERMOST_MM / pitch_mm), 1)
    return float(np.percentile(depths, DEEPEST_PERCENT)), float(np.median(lack[:, :outer]))
