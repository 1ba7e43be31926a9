"""Paper that was turned a little between two scans: followed piece by piece, compared by pixels.

A turn of 2° shears a window of 256 samples by 9: its fine grain, a sample or two wide, is smeared
out of the covariance of whole windows and would pass for temporal noise. So small pieces, each
sought near where its neighbours say, give an affine field good to a part of a sample.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.measures.noise.covariance import peak
from scanqa.model import Floats, Point, Window
from scanqa.numeric.linear_fit import robust_least_squares
from scanqa.numeric.own_signal import correlation

LITTLE_PX = 1.0  # over a window, of a turn that whole pieces of it can follow
# Sides of the pieces and how far they are sought beyond where they should be, samples: a window may
# be off by what a turn of 5° does over it.
STAGES = ((96, 24), (64, 8), (64, 3))
MARGIN_PX = 12  # read beyond that, for what a turn moves the corners of a window
CLEAR = 5.0  # height of the peak of a piece over what unlike pieces give
CLOUDS_PX = 9  # what is wider is no fine grain
FEWEST_PIECES = 6
AGREE_PX = 0.35  # scatter of the pieces about the field, beyond which it follows nothing
RIGID = 0.003  # of what no turn explains: a sheet does not stretch
MOST_TURN = math.radians(6.0)
NEAR_PX, BESIDE_PX = 6.0, 2  # of its own place, within which paper and fixed pattern are as one
CLEAR_SHARE = 0.5  # of the pixels of a window that must be farther off

Seen = Callable[[Window], Floats]  # grain of the other scan in a window


@dataclass(frozen=True, slots=True, eq=False)
class AffineField:
    """Displacement of the paper: rows and columns at a place of the first scan.

    Attributes
    ----------
    at_nought : (2,)
        Displacement at row and column nought.
    slopes : (2, 2)
        Change of (rows, columns) per row and per column.
    """

    at_nought: Floats
    slopes: Floats

    def __call__(self, row: float, column: float) -> Point:
        """Displacement at a place."""
        rows, columns = self.at_nought + np.array([row, column]) @ self.slopes
        return float(rows), float(columns)

    @property
    def turn(self) -> float:
        """Turn in radians."""
        return float(self.slopes[1, 0] - self.slopes[0, 1]) / 2

    @property
    def is_a_turn(self) -> bool:
        """Whether a rigid sheet can have moved so."""
        unlike = (self.slopes + self.slopes.T) / 2 - (math.cos(self.turn) - 1) * np.eye(2)
        return bool(np.abs(unlike).max() < RIGID and abs(self.turn) < MOST_TURN)

    def shear_px(self, side: float) -> float:
        """By how much the displacement differs over so many samples."""
        return float(np.abs(self.slopes).max()) * side


def fitted(places: Floats, shifts: Floats) -> tuple[AffineField, float]:
    """Affine field through displacements, wrong ones weighted down, and their scatter about it."""
    centre = places.mean(axis=0)
    spread = np.maximum(np.ptp(places, axis=0), 1.0)
    design = np.column_stack([np.ones(len(places)), (places - centre) / spread])
    fits = [robust_least_squares(design, shifts[:, axis]) for axis in range(2)]
    solution = np.column_stack([fit.solution for fit in fits])
    slopes = solution[1:] / spread[:, None]
    scatter = float(np.median(np.hypot(*(fit.residuals for fit in fits))))
    return AffineField(np.asarray(solution[0] - centre @ slopes), np.asarray(slopes)), scatter


def refined(
    windows: Sequence[Window], grains: Sequence[Floats], seen: Seen, start: Callable[..., Point],
    size: tuple[int, int],
) -> AffineField | None:  # fmt: skip
    """Field of a sheet that was turned, from small pieces of windows; None if they do not agree.

    Parameters
    ----------
    windows, grains : sequence
        Windows of the first scan and their grain, shading removed.
    seen : callable
        Grain of the other scan in a window.
    start : callable
        Rough displacement by row and column.
    size : (rows, columns)
        Of the other scan.
    """
    field: AffineField | None = None
    for side, reach in STAGES:
        found = [
            pair
            for window, grain in zip(windows, grains, strict=True)
            for pair in _pieces(window, grain, seen, field or start, (side, reach), size)
        ]
        if len(found) < FEWEST_PIECES:
            return None
        places, shifts = (np.array([pair[at] for pair in found]) for at in (0, 1))
        field, scatter = fitted(places, shifts)
    if field is None or scatter > AGREE_PX or not field.is_a_turn:
        return None
    return field


def inside(window: Window, field: Callable[..., Point], size: tuple[int, int]) -> Window:
    """Window of the other scan about where the paper of a window lies, moved into the image."""
    rows, columns = field(window.row + (window.height - 1) / 2, window.col + (window.width - 1) / 2)
    row = int(np.clip(window.row + round(rows), 0, size[0] - window.height))
    col = int(np.clip(window.col + round(columns), 0, size[1] - window.width))
    return Window(row, col, window.height, window.width)


def _around(window: Window, by: int, size: tuple[int, int]) -> Window:
    """A window wider by so much on each side, as far as the image goes."""
    row, col = max(window.row - by, 0), max(window.col - by, 0)
    bottom = min(window.row + window.height + by, size[0])
    right = min(window.col + window.width + by, size[1])
    return Window(row, col, bottom - row, right - col)


def _pieces(
    window: Window,
    grain: Floats,
    seen: Seen,
    field: Callable[..., Point],
    stage: tuple[int, int],
    size: tuple[int, int],
) -> list[tuple[Point, Point]]:
    """Places of pieces of a window and their displacements, where these can be seen."""
    side, reach = stage
    there = _around(inside(window, field, size), reach + MARGIN_PX, size)
    other = seen(there)
    out: list[tuple[Point, Point]] = []
    for row in range(0, window.height - side + 1, side):
        for col in range(0, window.width - side + 1, side):
            middle = window.row + row + (side - 1) / 2, window.col + col + (side - 1) / 2
            shift = tuple(round(each) for each in field(*middle))
            top = window.row + row + shift[0] - there.row - reach
            left = window.col + col + shift[1] - there.col - reach
            end = side + 2 * reach
            if min(top, left) < 0 or top + end > there.height or left + end > there.width:
                continue
            piece, patch = grain[row : row + side, col : col + side], other[top:, left:]
            found = _match(piece, patch[:end, :end], fine=stage != STAGES[0])
            if found is not None:
                by = shift[0] + found[0] - reach, shift[1] + found[1] - reach
                out.append((middle, by))
    return out


def _match(piece: Floats, patch: Floats, *, fine: bool) -> Point | None:
    """Where a piece lies in a larger patch, by the clearest peak of their covariance.

    Clouds show from afar where to look, fine grain shows to a part of a sample where it is.
    """
    from scipy.ndimage import uniform_filter

    if fine:
        piece, patch = (plane - uniform_filter(plane, CLOUDS_PX) for plane in (piece, patch))
    bare = piece - piece.mean()
    surface = correlation(patch, bare)
    row, column = divmod(int(np.argmax(surface)), surface.shape[1])
    if not (0 < row < surface.shape[0] - 1 and 0 < column < surface.shape[1] - 1):
        return None
    chance = float(np.linalg.norm(bare)) * float(np.std(patch))
    if surface[row, column] < CLEAR * max(chance, 1e-12):
        return None
    at = peak(surface, row, column)
    return at[0], at[1]


def in_place_of_moved(
    ones: Sequence[Floats], others: Sequence[Floats], window: Window, field: AffineField
) -> Floats | None:
    """What planes of one window of both scans share in place, the paper's clouds taken off.

    Clouds are wide: what they share in place they share in the next columns but one too, a pattern
    of columns does not. None where most of the paper lies hardly moved.
    """
    by = places(window, window, field) - np.indices(ones[0].shape)
    far = np.hypot(*by)[:, BESIDE_PX:-BESIDE_PX] > NEAR_PX
    if far.mean() < CLEAR_SHARE:
        return None
    middle = np.s_[:, BESIDE_PX:-BESIDE_PX]
    out = []
    for one, other in zip(ones, others, strict=True):
        beside = (other[:, : -2 * BESIDE_PX] + other[:, 2 * BESIDE_PX :]) / 2
        out.append(float(np.mean((one[middle] * (other[middle] - beside))[far])))
    return np.array(out)


def places(window: Window, there: Window, field: AffineField) -> Floats:
    """Row and column in the other window of each pixel of a window, (2, rows, columns)."""
    row, column = np.mgrid[: window.height, : window.width].astype(np.float64)
    at = np.array([row + window.row, column + window.col])
    by = field.at_nought[:, None, None] + np.einsum("axy,ab->bxy", at, field.slopes)
    return np.asarray(at + by - np.array([there.row, there.col])[:, None, None], np.float64)
