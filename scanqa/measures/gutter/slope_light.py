"""Light on a slope of known height, against light on the glass beside it.

The slope is a piece of a sheet that rises from a line, its foot; the flat piece lies on the other
side of the foot. Paper is looked for in rows parallel to the foot (`paper_level`), so that what is
printed on them does not count.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from scanqa.measures.gutter.paper_level import paper_level
from scanqa.model import Floats, Placement, Reason
from scanqa.numeric.lightness import light_of, lstar
from scanqa.numeric.own_signal import smoothed
from scanqa.numeric.scatter import alike_factor, median_error, robust_sd
from scanqa.reading.bed_light import bed_luma

STEP_MM = 0.5  # along the slope
RIM_MM = 1.5  # at the sides of the strip
FOLD_MM = 1.0  # beside the folds, where the paper is bent
FLAT_MM = (-50.0, -5.0)  # of the flat part, from the foot
SMOOTH = 9  # rows: a parabola follows the light over 4.5 mm of slope
STRAY = 4.0  # scatters: a row beyond is a fold, a smear, a tag
OF_PARABOLA = 0.51  # error of its middle over that of a row: √(59/231), Savitzky & Golay for nine
# How true a folded slope stands, and how well its lip is read with a rule (common practice).
FOLDED_SD_MM, RULE_SD_MM = 0.4, 0.2
MIN_ROWS = 20


@dataclass(frozen=True, slots=True, eq=False)
class HeightCurve:
    """Light against height.

    Attributes
    ----------
    height_mm : (n,)
        Above the glass, rising.
    light : (n,)
        Over that on the glass.
    error : float
        Standard error of each, from the scatter of the rows.
    height_share : float
        Standard error of all heights together, as a share: how true the slope stands.
    """

    height_mm: Floats
    light: Floats
    error: float
    height_share: float = 0.0

    def error_at(self, height_mm: float) -> float:
        """Standard error of the light at a height, that of the height included."""
        off = height_mm * self.height_share
        around = [self.at(min(max(h, 0.0), float(self.height_mm[-1])))
                  for h in (height_mm - off, height_mm + off)]  # fmt: skip
        return math.hypot(self.error, ((around[0] or 0.0) - (around[1] or 0.0)) / 2)

    def at(self, height_mm: float) -> float | None:
        """Light at a height, None beyond the slope."""
        if not 0 <= height_mm <= self.height_mm[-1]:
            return None
        x, y = np.append(0.0, self.height_mm), np.append(1.0, self.light)
        return float(np.interp(height_mm, x, y))

    def height_of(self, light: Floats) -> Floats:
        """Height at which the light has fallen so far; NaN beyond the slope.

        The curve is made to fall throughout (running minimum), so that there is one answer.
        """
        falling = np.minimum.accumulate(np.append(1.0, self.light))
        heights = np.append(0.0, self.height_mm)
        found = np.interp(light, falling[::-1], heights[::-1])
        return np.where(light < falling[-1], np.nan, found)


def light_over_height(
    slope: Placement, flat: Placement, *, height_mm: float | None = None, blank: Placement | None
) -> HeightCurve | Reason:
    """Light on the slope over that on the flat part, or the reason why not.

    Parameters
    ----------
    slope, flat : Placement
        The two pieces in one scan; `slope.piece.rise` says how it rises.
    height_mm : float, optional
        Measured height of the upper end; as designed unless given.
    blank : Placement or None
        Plain paper, same scanner and size: its light is divided out, so that edge shadow and
        falloff do not pass for the effect of height.
    """
    assert slope.piece is not None
    assert slope.piece.rise is not None
    rise = slope.piece.rise
    frame = _frame(slope)
    top = rise.height_mm if height_mm is None else height_mm
    u = np.arange(FOLD_MM, rise.length_mm - FOLD_MM, STEP_MM)
    up = _rows(slope, frame, u, blank)
    down = _rows(flat, frame, np.arange(*FLAT_MM, STEP_MM), blank)
    seen, level = np.isfinite(up), down[np.isfinite(down)]
    if np.count_nonzero(seen) < MIN_ROWS or len(level) < MIN_ROWS:
        why = "too little of the ramp and its flat part lies in the image"
        return Reason("not-found", why)
    glass = float(np.median(level))
    light = up[seen] / glass
    smooth, rest = _smoothed(light)
    error = OF_PARABOLA * float(np.std(rest)) * alike_factor(rest)
    on_glass = float(median_error(level / glass)) * alike_factor(level / glass - 1)
    stands = FOLDED_SD_MM if height_mm is None else RULE_SD_MM
    heights = u[seen] / rise.length_mm * top
    return HeightCurve(heights, smooth, math.hypot(error, on_glass), stands / top)


def _smoothed(light: Floats) -> tuple[Floats, Floats]:
    """Rows along a parabola in each neighbourhood, to both ends; and what is left, strays cut."""
    first = smoothed(light, SMOOTH, 2, ends="inside")
    limit = STRAY * float(robust_sd(light - first))
    cut = first + np.clip(light - first, -limit, limit)
    smooth = smoothed(cut, SMOOTH, 2, ends="inside")
    return smooth, np.asarray(cut - smooth, np.float64)


def _frame(slope: Placement) -> tuple[Floats, Floats, Floats]:
    """Sheet frame of a slope: left end of the foot, the foot's whole run, unit vector upwards."""
    assert slope.piece is not None
    assert slope.piece.rise is not None
    start, end = (np.asarray(p, np.float64) for p in slope.piece.rise.foot_mm)
    run = end - start
    up = np.array([-run[1], run[0]]) / np.hypot(*run)
    inside = np.mean(slope.piece.outline_mm, axis=0) - start
    return start, run, up if inside @ up > 0 else -up


def distance_up(slope: Placement, point_mm: tuple[float, float]) -> float:
    """Distance of a sheet point from the foot, along the slope; negative on the flat part."""
    start, _, up = _frame(slope)
    return float((np.asarray(point_mm) - start) @ up)


def _rows(
    piece: Placement,
    frame: tuple[Floats, Floats, Floats],
    u_mm: Floats,
    blank: Placement | None,
) -> Floats:
    """Paper light of each row at distances from the foot; NaN where it is not in the image."""
    start, run, up = frame
    width = float(np.hypot(*run))
    step = piece.overview.step_px
    v = np.linspace(RIM_MM, width - RIM_MM, round(width / STEP_MM)) / width
    points = start + v[:, None, None] * run + u_mm[None, :, None] * up
    px = piece.sheet_px(points.reshape(-1, 2)).reshape(points.shape)
    blocks = bed_luma(piece)
    if blank is not None and blank.overview.preview.shape[:2] == blocks.shape:
        field = bed_luma(blank)
        blocks = blocks * np.median(field) / np.maximum(field, 1e-3)
    cols = np.floor((px[..., 0] + 0.5) / step).astype(int)
    rows = np.floor((px[..., 1] + 0.5) / step).astype(int)
    inside = (rows >= 0) & (rows < blocks.shape[0]) & (cols >= 0) & (cols < blocks.shape[1])
    whole = inside.all(axis=0)
    out = np.full(len(u_mm), np.nan)
    if whole.any():
        out[whole] = light_of(paper_level(lstar(blocks[rows[:, whole], cols[:, whole]])))
    return out
