"""Where a slanted edge lies: the pixels about it, and the line (or shallow bow) that fits them.

The fit is maximum likelihood on the unbinned pixels. The model is an ideal step blurred by a
Gaussian and by the pixel, between two planes of light (so shading across the window does not pull
the line):

    y = P(x, t) (1 - E) + Q(x, t) E,    E = E(d),  d = (x - x_edge(t)) cos(slant)

with P, Q linear in x and t and ``x_edge`` a quadratic in t, the position along the edge from -1 to
1. ``E`` is the Gaussian edge averaged over one pixel. Because ``E`` is odd about its middle, the
position is not moved by a wrong width or by wrong levels: the derivative of ``E`` with position is
even, those with width and level are odd, so the estimates are uncorrelated.

Bound: with n rows and noise s per pixel relative to the contrast, the position of a Gaussian edge
has a variance of at least ``s² 2√π σ / n`` (the inverse of ``n/s² ∫ E'(d)² dd``).

Failure: a `Reason` for a window without a usable edge.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from scanqa.model import Floats, Point, Reason
from scanqa.numeric.medians import medians

Line: TypeAlias = tuple[Point, Point]

MIN_ROWS = 12  # fewer rows leave the pixel phases unfilled
MIN_HALF_PX = 5  # clean pixels that are needed on each side
NEAR_PX, NEAR_WIDTH = 0.05, 0.1  # steps from which Newton's may be taken
ENOUGH_BENT = 0.1  # of what place and width rest on, or they could be wild
MAX_SLANT_DEG = 35.0
MIN_CONTRAST = 0.01  # of the full scale
SETTLED_PX = 1e-7  # change of the first line at its middle and ends
MAX_TOP_SHARE = 0.01  # more pixels than this at the top code bend the edge profile
PIXEL_VARIANCE = 1 / 12  # of a pixel of full fill, px²
NO_CONTRAST = Reason("no-detail", "no edge stands out here: both sides are equally light")
NOT_FOUND = Reason("not-found", "no straight edge was found near the place where it should be")
_SHAPE = np.array([6, 9])  # place and width among the unknowns
_SQRT_2PI = np.sqrt(2 * np.pi)


@dataclass(frozen=True, slots=True, eq=False)
class Patch:
    """The pixels along an edge, row by row, the same number on each side of the guessed line.

    Attributes
    ----------
    light : (rows, columns) float64
    x : (rows, columns)
        Column of each pixel in the (possibly transposed) window.
    t : (rows,)
        Place along the edge, -1 to 1.
    use : (rows, columns) bool
        False where a pixel is outside the usable edge or was set aside as dust.
    middle, half_rows : float
        ``row = middle + half_rows * t``.
    transposed : bool
        Whether rows are columns of the window as given (a nearly horizontal edge).
    """

    light: Floats
    x: Floats
    t: Floats
    use: NDArray[np.bool_]
    middle: float
    half_rows: float
    transposed: bool


@dataclass(frozen=True, slots=True, eq=False)
class EdgeFit:
    """A fitted edge.

    Attributes
    ----------
    line : (3,)
        ``x_edge = line[0] + line[1] t + line[2] (3 t² - 1) / 2`` in px.
    sign : int
        1 if the light rises with x, else -1.
    sigma_px : float
        Width of the Gaussian that, with the pixel, fits best, along the normal.
    dark, bright : (3,)
        Planes of light: value at the edge's middle, change over ten px of d and over t.
    cos : float
        Cosine of the slant.
    """

    line: Floats
    sign: int
    sigma_px: float
    dark: Floats
    bright: Floats
    cos: float

    @property
    def contrast(self) -> float:
        """Light of the bright side less that of the dark, at the edge."""
        return float(self.bright[0] - self.dark[0])

    def distance(self, x: Floats, t: Floats) -> Floats:
        """Signed normal distance of pixels (rows, columns), positive on the bright side."""
        return self.sign * self.cos * (x - (position_terms(t) @ self.line)[:, None])


def position_terms(t: Floats) -> Floats:
    """Legendre polynomials 0 to 2 at t, (n, 3)."""
    return np.stack([np.ones_like(t), t, 1.5 * t * t - 0.5], axis=-1)


def pixel_edge(d: Floats, sigma: float, cos: float) -> tuple[Floats, Floats, Floats]:
    """Gaussian edge averaged over a square pixel: value, slope, and derivative with sigma.

    Along the normal a square pixel is a box of width cos(slant) convolved with one of width
    sin(slant). The narrow box is taken as its two Gauss-Legendre points (`pixel_response` has the
    transform of exactly this).
    """
    value = (d > 0).astype(np.float64)
    slope, wider = np.zeros_like(value), np.zeros_like(value)
    near = np.flatnonzero(np.abs(d) < 7 * sigma + 1)
    apart = np.sqrt(1 - min(cos, 1.0) ** 2) / (2 * np.sqrt(3))
    here = d.ravel()[near] / sigma
    offsets = np.array([apart + cos / 2, cos / 2 - apart, apart - cos / 2, -apart - cos / 2])
    z = here + offsets[:, None] / sigma
    normal, density = ndtr(z), np.exp(-0.5 * z * z) / _SQRT_2PI
    signs = np.array([0.5, 0.5, -0.5, -0.5]) / cos
    value.ravel()[near] = sigma * (signs @ (z * normal + density))
    slope.ravel()[near] = signs @ normal
    wider.ravel()[near] = signs @ density
    return value, slope, wider


def pixel_response(f: Floats, cos: float) -> Floats:
    """Transform of the pixel of `pixel_edge`, f in cycles/px along the normal."""
    sin = np.sqrt(1 - min(cos, 1.0) ** 2)
    return np.asarray(np.sinc(f * cos) * np.cos(np.pi * f * sin / np.sqrt(3)))


def gather(window: NDArray[Any], line: Line, reach_px: float) -> Patch | Reason:
    """Pixels within `reach_px` of a guessed line, as equal rows.

    Parameters
    ----------
    window : (rows, columns)
        Linear light, 1 at the top of the scale.
    line : ((x, y), (x, y))
        Ends of the usable edge in px of the window, pixel centres at whole numbers.
    reach_px : float
        Clean distance on each side, normal to the edge.
    """
    light = np.asarray(window, np.float64)
    (x0, y0), (x1, y1) = line
    transposed = abs(x1 - x0) > abs(y1 - y0)
    if transposed:
        light, (x0, y0, x1, y1) = light.T, (y0, x0, y1, x1)
    if y1 < y0:
        x0, y0, x1, y1 = x1, y1, x0, y0
    first, last = max(int(np.ceil(y0)), 0), min(int(np.floor(y1)), light.shape[0] - 1)
    if last - first + 1 < MIN_ROWS:
        return Reason("too-small", "the edge is too short in this image")
    slope = (x1 - x0) / (y1 - y0)
    if abs(np.degrees(np.arctan(slope))) > MAX_SLANT_DEG:
        return Reason("range", "the edge is turned too far to be measured along one axis")
    rows = np.arange(first, last + 1)
    centre = np.rint(x0 + slope * (rows - y0)).astype(np.int64)
    room = np.minimum(centre, light.shape[1] - 1 - centre)
    half = int(min(reach_px * np.hypot(1, slope) - 1, np.percentile(room, 10)))
    keep = room >= half
    if half < MIN_HALF_PX or keep.sum() < MIN_ROWS:
        return Reason("too-small", "too few pixels beside the edge")
    rows, centre = rows[keep], centre[keep]
    columns = centre[:, None] + np.arange(-half, half + 1)
    along = (rows[:, None] - y0) + slope * (columns - x0)
    use = (along >= 0) & (along <= (y1 - y0) * (1 + slope * slope))
    middle, half_rows = (rows[0] + rows[-1]) / 2, (rows[-1] - rows[0]) / 2
    return Patch(
        light=light[rows[:, None], columns],
        x=columns.astype(np.float64),
        t=(rows - middle) / half_rows,
        use=use,
        middle=float(middle),
        half_rows=float(half_rows),
        transposed=transposed,
    )


def first_guess(patch: Patch) -> EdgeFit | Reason:
    """Edge by area: in each row, the number of bright pixels says where the edge is."""
    light, columns = patch.light, patch.x.shape[1]
    outer = max(columns // 5, 2)
    left = float(medians(light[:, :outer].ravel()))
    right = float(medians(light[:, -outer:].ravel()))
    contrast = abs(right - left)
    grain = float(
        medians(np.abs(np.diff(light[:, :outer], axis=1)).ravel())
        + medians(np.abs(np.diff(light[:, -outer:], axis=1)).ravel())
    )
    if contrast < MIN_CONTRAST or contrast < 2 * grain:
        return NO_CONTRAST
    sign = 1 if right > left else -1
    part = np.clip((light - left) / (right - left), -0.25, 1.25)
    at = patch.x[:, -1] + 0.5 - part.sum(axis=1)
    terms = position_terms(patch.t)[:, :2]
    weight, line = np.ones_like(at), np.full(2, np.inf)
    for _ in range(8):  # Huber's weights, so that a dusty row does not turn the line
        root, before = np.sqrt(weight), line
        line = np.linalg.lstsq(terms * root[:, None], at * root, rcond=None)[0]
        if np.abs(line - before).max() < SETTLED_PX:
            break
        off = np.abs(at - terms @ line)
        scale = 1.5 * float(medians(off)) + 1e-6
        weight = 1 / np.maximum(off / (1.5 * scale), 1.0) ** 2
    slope = line[1] / patch.half_rows
    if abs(np.degrees(np.arctan(slope))) > MAX_SLANT_DEG:
        return NOT_FOUND
    low, high = min(left, right), max(left, right)
    return EdgeFit(
        line=np.array([line[0], line[1], 0.0]),
        sign=sign,
        sigma_px=0.8,
        dark=np.array([low, 0.0, 0.0]),
        bright=np.array([high, 0.0, 0.0]),
        cos=float(1 / np.hypot(1, slope)),
    )


def columns_of(fit: EdgeFit, d: Floats, t: Floats) -> tuple[Floats, Floats, Floats]:
    """Derivatives of the model at pixels (10, n), and value and slope of its edge (n,).

    By the dark and the bright plane (value, over ten px of d, over t), the position (three terms)
    and log sigma. The model is ``dark @ first three + bright @ next three``.
    """
    value, slope, wider = pixel_edge(d, fit.sigma_px, fit.cos)
    jacobian = np.empty((10, d.size))
    jacobian[0], jacobian[3] = 1 - value, value
    for plane in (0, 3):
        np.multiply(jacobian[plane], d / 10, out=jacobian[plane + 1])
        np.multiply(jacobian[plane], t, out=jacobian[plane + 2])
    jacobian[6] = (-fit.sign * fit.cos * fit.contrast) * slope
    np.multiply(jacobian[6], t, out=jacobian[7])
    np.multiply(jacobian[6], 1.5 * t * t - 0.5, out=jacobian[8])
    jacobian[9] = fit.contrast * fit.sigma_px * wider
    return jacobian, value, slope


def refine(
    patch: Patch, fit: EdgeFit, *, within_sigmas: float = 5.0, rounds: int = 24
) -> EdgeFit | Reason:
    """Gauss-Newton on the pixels about the edge, with Huber's weights against dust.

    Weighing again in each round is safe far off; near the minimum Huber's loss is taken as bent as
    it is there, where pixels in its straight part do not count (Newton). So the last round stops
    within 1e-5 px of the minimum, where weighing again would stop 4e-4 px short of it. Newton's
    steps shrink; where they grow (at a very sharp edge in whole codes the flank is all in the
    straight part) they lead astray: weighing goes on from where they began until nearer by far.

    Few pixels make a quick fit; but levels that are not known well cost the place some of its
    certainty (at five sigmas it scatters 1.5 times as much as at the bound).
    """
    near, reach, last, began = False, 1.0, 1.0, fit
    for _ in range(rounds):
        equations = _equations(patch, fit, within_sigmas, newton=near)
        if equations is None:
            return NOT_FOUND
        step = equations.inverse @ (equations.jacobian @ equations.residual)
        moved, widened = float(np.abs(step[6:9]).max()), abs(float(step[9]))
        size = max(moved / NEAR_PX, widened / NEAR_WIDTH)
        if near and size > last:
            fit, near, reach = began, False, reach / 4
            continue
        fit = _moved(fit, step, patch.half_rows)
        if fit.contrast <= 0:
            return NOT_FOUND
        if moved < 1e-4 and widened < 3e-3:
            break
        began, last = (began, size) if near else (fit, 2 * reach)
        near = near or size < reach
    return _sensible(patch, fit)


def row_places(patch: Patch, fit: EdgeFit, *, within_sigmas: float) -> Floats:
    """What each row's residuals add to the place of the edge (``line[0]``), px; they sum to 0."""
    equations = _equations(patch, fit, within_sigmas, newton=False)
    if equations is None:
        raise ValueError("the fit has no pixels about it")
    pull = equations.inverse[6] @ equations.jacobian
    return np.asarray(
        np.bincount(equations.rows, pull * equations.residual, patch.t.size), np.float64
    )


@dataclass(frozen=True, slots=True, eq=False)
class _Equations:
    """One step's least squares: derivatives (10, n), weighted residuals, rows, inverse matrix."""

    jacobian: Floats
    residual: Floats
    rows: NDArray[np.int64]
    inverse: Floats


def _equations(
    patch: Patch, fit: EdgeFit, within_sigmas: float, *, newton: bool
) -> _Equations | None:
    distance = fit.distance(patch.x, patch.t)
    half = patch.x.shape[1] // 2
    near = patch.use & (np.abs(distance) < np.clip(within_sigmas * fit.sigma_px + 3, 7, half))
    used = np.flatnonzero(near)
    if len(used) < 20 * MIN_HALF_PX:
        return None
    rows = used // near.shape[1]
    jacobian, _, _ = columns_of(fit, distance.take(used), patch.t[rows])
    residual = patch.light.take(used) - fit.dark @ jacobian[:3] - fit.bright @ jacobian[3:6]
    scale = 1.483 * float(medians(np.abs(residual))) + 1e-9
    off = np.abs(residual) / (2.5 * scale)
    # All pixels in full, less what the few far ones have too much: half the products.
    whole, wild = jacobian @ jacobian.T, np.flatnonzero(off > 1)
    far, share = jacobian[:, wild], 1 / off[wild]
    normal = whole - (far * (1 - share)) @ far.T
    if newton:
        bent = whole - far @ far.T
        if (bent[_SHAPE, _SHAPE] > ENOUGH_BENT * normal[_SHAPE, _SHAPE]).all():
            normal = bent
    # a trace of damping: planes are free where one side has few pixels
    normal[np.diag_indices(10)] *= 1 + 1e-9
    residual[wild] *= share
    return _Equations(jacobian, residual, rows, np.asarray(np.linalg.inv(normal)))


def _sensible(patch: Patch, fit: EdgeFit) -> EdgeFit | Reason:
    """The fit, if it is one of an edge with a clean plane on each side."""
    distance = fit.distance(patch.x, patch.t)
    outside = 2 * fit.sigma_px + 2
    rows = patch.t.size
    for side in (-1, 1):
        if (patch.use & (side * distance > outside)).sum() < rows:
            return Reason("range", "the blur is as wide as the clean area beside the edge")
    if fit.contrast < MIN_CONTRAST:
        return NO_CONTRAST
    return fit


def _moved(fit: EdgeFit, step: Floats, half_rows: float) -> EdgeFit:
    """The fit after a step, kept within sense."""
    line = fit.line + np.clip(step[6:9], -2.0, 2.0)
    slope = line[1] / half_rows
    return EdgeFit(
        line=line,
        sign=fit.sign,
        sigma_px=float(np.clip(fit.sigma_px * np.exp(np.clip(step[9], -0.7, 0.7)), 0.05, 12.0)),
        dark=fit.dark + step[:3],
        bright=fit.bright + step[3:6],
        cos=float(1 / np.hypot(1, slope)),
    )
