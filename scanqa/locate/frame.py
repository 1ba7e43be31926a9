"""From refined tags to the affine map of each piece of a sheet on the glass.

Tags must agree: ids of one sheet, places that one map explains. A tag on its own is believed only
if its size fits the dpi that is known from elsewhere.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scanqa.locate.find_tags import FoundTag
from scanqa.model import MM_PER_INCH, Floats, Piece, Point, Sheet, Tag
from scanqa.numeric.linear_fit import robust_least_squares
from scanqa.sheets import by_tag

LONE_TAG_SIZE = 0.06  # a printer's scale, and ink spread on a small square
NEAR_SHARE = 0.5  # of a tag's side: how far a tag may lie from where another one predicts it,
FAR_SHARE = 0.03  # and of the distance between the two
LIFTED_MM = 1.0  # a tag this far from the common map lies on paper that is not flat
MOST_ANISOTROPY = 4.0  # dpi across over dpi along travel
MOST_SHEAR_DEG = 3.0


@dataclass(frozen=True, slots=True, eq=False)
class Frame:
    """A piece that was found.

    Attributes
    ----------
    to_px : (2, 3)
        Sheet mm to pixels.
    tags : tuple of FoundTag
        That the map was fitted to.
    residual_um : float
        Root-mean-square distance of their corners from the map, after the growth of all squares.
    growth_um : float or None
        How much each border lies outside its drawn place (ink spread and blur); None for a
        lone tag, where it cannot be told from scale.
    set_aside : int
        Tags of the piece that were found but do not agree.
    """

    sheet: Sheet
    piece: Piece
    to_px: Floats
    tags: tuple[FoundTag, ...]
    residual_um: float
    growth_um: float | None
    set_aside: int

    @property
    def dpi(self) -> Point:
        """Samples per inch across and along travel, from how far one step of a pixel goes."""
        steps_mm = np.linalg.inv(self.to_px[:, :2])
        across, travel = np.hypot(*steps_mm)
        return MM_PER_INCH / float(across), MM_PER_INCH / float(travel)

    @property
    def rotation_deg(self) -> int:
        """How the sheet lies, clockwise, to the nearest right angle."""
        steps_mm = np.linalg.inv(self.to_px[:, :2])
        turn = -math.degrees(math.atan2(steps_mm[1, 0], steps_mm[0, 0]))
        return round(turn / 90) * 90 % 360


def frames(tags: Sequence[FoundTag], dpi: Point | None) -> list[Frame]:
    """Pieces that the tags show, the one with most tags first.

    Parameters
    ----------
    tags : sequence of FoundTag
        Refined.
    dpi : (x, y) or None
        What is known from elsewhere; a lone tag needs it.
    """
    groups: dict[tuple[str, str], list[tuple[Tag, FoundTag]]] = defaultdict(list)
    known: dict[tuple[str, str], tuple[Sheet, Piece]] = {}
    for found in tags:
        place = by_tag(found.id)
        if place is None:
            continue
        sheet, piece, tag = place
        key = (sheet.id, piece.name)
        groups[key].append((tag, found))
        known[key] = (sheet, piece)
    out = [
        frame for key, pairs in groups.items() for frame in _of_one_piece(*known[key], pairs, dpi)
    ]
    return sorted(out, key=lambda frame: -len(frame.tags))


def _of_one_piece(
    sheet: Sheet, piece: Piece, pairs: list[tuple[Tag, FoundTag]], dpi: Point | None
) -> list[Frame]:
    """One frame for each copy of the piece on the glass."""
    copies: list[list[tuple[Tag, FoundTag]]] = []
    left = pairs
    while left:
        agreeing = _largest_agreement(left)
        if not agreeing:
            break
        left = [pair for pair in left if pair not in agreeing]
        # One tag alone is a stray if others of its piece are there.
        if len(agreeing) > 1 or (not copies and _sized(agreeing[0], dpi)):
            copies.append(agreeing)
    used = sum(map(len, copies))
    return [_fitted(sheet, piece, copy, len(pairs) - used) for copy in copies]


def _affine_of(pair: tuple[Tag, FoundTag]) -> Floats:
    """Map (2, 3) of a tag's own four corners."""
    tag, found = pair
    corners = np.column_stack([np.array(tag.corners_mm), np.ones(4)])
    return np.asarray(np.linalg.lstsq(corners, found.corners_px, rcond=None)[0].T)


def _plausible(to_px: Floats) -> bool:
    """Whether a map can be a scan of flat paper: not mirrored, not sheared, not too stretched."""
    matrix = to_px[:, :2]
    if np.linalg.det(matrix) <= 0:
        return False
    across, travel = np.linalg.inv(matrix).T
    lengths = np.hypot(*across), np.hypot(*travel)
    if max(lengths) > MOST_ANISOTROPY * min(lengths):
        return False
    cosine = abs(float(across @ travel)) / float(lengths[0] * lengths[1])
    return cosine < math.sin(math.radians(MOST_SHEAR_DEG))


def _largest_agreement(pairs: Sequence[tuple[Tag, FoundTag]]) -> list[tuple[Tag, FoundTag]]:
    """The most pairs that one of them predicts; more than half of them will do."""
    largest: list[tuple[Tag, FoundTag]] = []
    for seed in pairs:
        agreeing = _agreeing(seed, pairs)
        if len(agreeing) > len(largest):
            largest = agreeing
        if 2 * len(largest) > len(pairs):
            break
    return largest


def _agreeing(
    seed: tuple[Tag, FoundTag], pairs: Sequence[tuple[Tag, FoundTag]]
) -> list[tuple[Tag, FoundTag]]:
    """The pairs that lie where the seed's own map puts them, one for each id."""
    to_px = _affine_of(seed)
    if not _plausible(to_px):
        return []
    best: dict[int, tuple[float, tuple[Tag, FoundTag]]] = {}
    side = seed[1].side_px
    for pair in pairs:
        tag, found = pair
        expected = to_px[:, :2] @ np.array(tag.centre_mm) + to_px[:, 2]
        distance = float(np.hypot(*(found.corners_px.mean(axis=0) - expected)))
        lever = float(np.hypot(*(expected - seed[1].corners_px.mean(axis=0))))
        if distance < NEAR_SHARE * side + FAR_SHARE * lever and (
            tag.id not in best or distance < best[tag.id][0]
        ):
            best[tag.id] = (distance, pair)
    return [pair for _, pair in best.values()]


def _sized(pair: tuple[Tag, FoundTag], dpi: Point | None) -> bool:
    """Whether a lone tag's square has the size that the dpi gives it."""
    if dpi is None:
        return False
    steps_mm = np.hypot(*np.linalg.inv(_affine_of(pair)[:, :2]))
    return all(
        abs(MM_PER_INCH / step / expected - 1) < LONE_TAG_SIZE
        for step, expected in zip(steps_mm, dpi, strict=True)
    )


def _fitted(sheet: Sheet, piece: Piece, pairs: list[tuple[Tag, FoundTag]], set_aside: int) -> Frame:
    """Robust affine map of all corners, with one growth common to all squares."""
    while True:
        to_px, growth_px, distances = _fit([tag for tag, _ in pairs], [f for _, f in pairs])
        px_per_mm = math.sqrt(abs(float(np.linalg.det(to_px[:, :2]))))
        per_tag_mm = np.sqrt((distances**2).mean(axis=1)) / px_per_mm
        worst = int(per_tag_mm.argmax())
        if per_tag_mm[worst] < LIFTED_MM or len(pairs) <= 3:
            break
        pairs = pairs[:worst] + pairs[worst + 1 :]
        set_aside += 1
    return Frame(
        sheet,
        piece,
        to_px,
        tuple(found for _, found in pairs),
        1e3 * float(np.sqrt((distances**2).mean())) / px_per_mm,
        None if growth_px is None else 1e3 * growth_px / px_per_mm,
        set_aside,
    )


def _fit(tags: Sequence[Tag], found: Sequence[FoundTag]) -> tuple[Floats, float | None, Floats]:
    """Map (2, 3), growth in pixels, distance of each corner from the map (tags, 4)."""
    mm = np.array([tag.corners_mm for tag in tags]).reshape(-1, 2)
    px = np.array([tag.corners_px for tag in found]).reshape(-1, 2)
    outward = np.concatenate([_outward(tag.corners_px) for tag in found])
    origin = mm.mean(axis=0)
    n = len(mm)
    design = np.zeros((2 * n, 7 if len(tags) > 1 else 6))
    for axis in range(2):
        rows = slice(axis * n, (axis + 1) * n)
        design[rows, 3 * axis : 3 * axis + 2] = mm - origin
        design[rows, 3 * axis + 2] = 1
        if len(tags) > 1:
            design[rows, 6] = outward[:, axis]
    fit = robust_least_squares(design, px.T.ravel())
    to_px = fit.solution[:6].reshape(2, 3).copy()
    to_px[:, 2] -= to_px[:, :2] @ origin
    distances = np.hypot(*fit.residuals.reshape(2, n)).reshape(-1, 4)
    return to_px, float(fit.solution[6]) if len(tags) > 1 else None, distances


def _outward(corners: Floats) -> Floats:
    """Where each corner goes when all four borders move out by one pixel."""
    sides = np.roll(corners, -1, axis=0) - corners
    along = sides / np.hypot(*sides.T)[:, None]
    before = np.roll(along, 1, axis=0)
    return np.asarray(before - along)
