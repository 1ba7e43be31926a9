"""A gutter ramp on the glass, its lip at the left side of the image: light in closed form.

The geometry is that of the printed sheet; light and blur at each height are made up here. The
blur is across the strip only (along image y), Gaussian and then averaged over the pixel.
"""

from dataclasses import replace

import numpy as np
from scipy.special import ndtr

from scanqa.sheets import sheet
from tests.measures.paper import MM, placed

INK, PAPER = 0.06, 0.8


def ramp_pieces():
    flat, slope = (
        next(p for p in sheet("gutter-ramp-a4").pieces if p.name == name)
        for name in ("flat", "slope")
    )
    return flat, slope


def wedge(
    light_at,
    sigma_at,
    *,
    dpi=200,
    height_mm=12.0,
    shadow=None,
    noise=0.004,
    seed=1,
    name="ramp.tif",
):
    """Placements (flat, slope). `light_at` and `sigma_at` (mm) are functions of height in mm."""
    flat, slope = ramp_pieces()
    rise = slope.rise
    (x0, y0), (x1, _) = rise.foot_mm
    cosine = np.sqrt(1 - (height_mm / rise.length_mm) ** 2)
    foot_x, top_y, scale = rise.length_mm * cosine, 5.0, dpi / MM
    cols, rows = round((foot_x + 58) * scale), round((x1 - x0 + 10) * scale)
    x = (np.arange(cols) + 0.5) / scale
    u = np.where(x < foot_x, (foot_x - x) / cosine, foot_x - x)  # up the slope
    height = np.maximum(u, 0) * height_mm / rise.length_mm
    sigma = sigma_at(height)
    light = np.zeros((rows, cols))
    parts = 3  # of a pixel, along y
    for part in range(parts):
        v = ((np.arange(rows) + (part + 0.5) / parts) / scale - top_y)[:, None] + x0
        light += _ink(v, u[None] + y0, sigma[None], (flat, slope)) / parts
    light = (PAPER + (INK - PAPER) * light) * light_at(height)
    light[: round(5 * scale)] = light[-round(5 * scale) :] = PAPER  # the lid beside the strip
    if shadow is not None:
        light = light * shadow(x)
    to_px = {
        flat.name: [[0, -scale, (foot_x + y0) * scale - 0.5]],
        slope.name: [[0, -scale * cosine, (foot_x + y0 * cosine) * scale - 0.5]],
    }
    down = [scale, 0, (top_y - x0) * scale - 0.5]
    scan = placed(light, dpi, role="gutter-ramp", noise=noise, seed=seed, name=name)
    return [
        replace(
            scan, piece=piece, to_px=np.array([*to_px[piece.name], down]),
            tags=tuple(t.id for t in piece.tags),
        )
        for piece in (flat, slope)
    ]  # fmt: skip


def _ink(x, y, sigma, pieces):
    """Cover at sheet places: the bar, and tags as plain squares, blurred across the strip."""
    cover = np.zeros(np.broadcast(x, y).shape)
    for piece in pieces:
        for tag in piece.tags:
            (left, top), (right, bottom) = np.min(tag.corners_mm, 0), np.max(tag.corners_mm, 0)
            rows = np.flatnonzero((x > left - 2) & (x < right + 2))  # 2 mm: beyond any blur here
            cols = np.flatnonzero((y > top) & (y < bottom))
            if len(rows) and len(cols):
                at = np.s_[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
                cover[at] = _quad(x[at[0]], y[:, at[1]], sigma[:, at[1]], tag.corners_mm)
    bar = [e for e in pieces[1].edges if e.name.startswith("bar-")]
    left = [e for e in bar if "left" in e.name]
    right = [e for e in bar if "right" in e.name]
    span = (min(e.start_mm[1] for e in right), max(e.end_mm[1] for e in right))
    cols = np.flatnonzero((y > span[0] - 3) & (y < span[1] + 3))
    rows = np.flatnonzero(np.abs(x - left[0].start_mm[0]) < 20)
    at = np.s_[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    edge_l, edge_r = (_line_x(y[:, at[1]], e[0].start_mm, e[0].end_mm) for e in (left, right))
    wide = sigma[:, at[1]]
    bar = ndtr((x[at[0]] - edge_l) / wide) - ndtr((x[at[0]] - edge_r) / wide)
    cover[at] = np.maximum(cover[at], bar)
    return cover


def _line_x(y, start, end):
    return start[0] + (y - start[1]) * (end[0] - start[0]) / (end[1] - start[1])


def _quad(x, y, sigma, corners):
    """A square turned a little: left and right sides blurred, top and bottom sharp."""
    top_left, top_right, bottom_right, bottom_left = corners
    left, right = _line_x(y, top_left, bottom_left), _line_x(y, top_right, bottom_right)

    def line_y(a, b):
        return a[1] + (x - a[0]) * (b[1] - a[1]) / (b[0] - a[0])

    inside = (y > line_y(top_left, top_right)) & (y < line_y(bottom_left, bottom_right))
    return inside * (ndtr((x - left) / sigma) - ndtr((x - right) / sigma))
