"""Pages of a job as reflectance: print of many kinds on paper, drawn fast, each page another.

The print is invented: catalogues of the Tarn Valley Orchard Society, varieties and all. A page
lies on the glass a little differently each time. Nothing here knows how pages are measured.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from scanqa.model import MM_PER_INCH, Array

Kind = Literal[
    "text", "columns", "picture", "ruled", "ledger", "table", "coloured", "tinted", "blank"
]
KINDS: tuple[Kind, ...] = (
    "text", "columns", "picture", "ruled", "ledger", "table", "coloured", "tinted",
)  # fmt: skip
INK = 0.06
_WORDS = [
    "Tarnbell",
    "Quillet",
    "Hobbin's",
    "Russet",
    "Marrowick",
    "Pippin",
    "Sallowdene",
    "Amberthwaite",
    "Crozzle",
    "Duxmere",
    "Fennelby",
    "Seedling",
    "Oldwife's",
    "Keeper",
    "Pellmoor",
    "Brindlecote",
    "Wanehope",
    "Costard",
    "Larkenby",
    "Greengage",
    "Ullathorpe",
    "Damson",
    "pear",
    "plum",
    "on",
    "quince",
    "stock,",
    "maiden",
    "or",
    "two",
    "years",
    "trained,",
    "per",
    "dozen,",
    "crops",
    "late",
    "and",
    "keeps",
    "to",
    "March;",
    "flesh",
    "crisp,",
    "skin",
    "flushed,",
    "spurs",
    "freely,",
    "hardy",
    "in",
    "the",
    "valley",
]
_FACES = (cv2.FONT_HERSHEY_COMPLEX, cv2.FONT_HERSHEY_TRIPLEX, cv2.FONT_HERSHEY_SIMPLEX)


@dataclass(frozen=True, slots=True)
class Laid:
    """How a page is printed and lies.

    Attributes
    ----------
    side : str
        Front or back of its leaf: margins (and rules near them) are mirrored.
    shift_mm : (x, y)
        Of the print on the glass, from where it usually is.
    rule_mm : float or None
        A vertical rule in the print, from the outer edge of the page.
    holes : bool
        Punched holes near one edge.
    """

    kind: Kind
    seed: int
    side: Literal["front", "back"] = "front"
    shift_mm: tuple[float, float] = (0.0, 0.0)
    turn_deg: float = 0.0
    rule_mm: float | None = None
    rule_ink: float = INK
    rule_bleeds: bool = False
    holes: bool = False
    paper: float = 0.82


def reflectance(page: Laid, size_mm: tuple[float, float], dpi: float) -> Array:
    """Reflectance of a page, (rows, columns, 3) float32, as it would be read.

    Parameters
    ----------
    page : Laid
        Its print.
    size_mm : (width, height)
        Of what is scanned.
    dpi : float
        Samples per inch.
    """
    rng = np.random.default_rng((page.seed, 7))
    px = dpi / MM_PER_INCH
    width, height = (round(side * px) for side in size_mm)
    ink = np.zeros((height, width), np.uint8)  # 255: full ink
    _print(ink, page, px, rng)
    if page.rule_mm is not None:
        _rule(ink, page, px)
    ink = _moved(ink, page, px)
    density = ink.astype(np.float32)[..., None] * np.float32((page.paper - INK) / 255)
    sheet = np.full((1, 1, 3), page.paper, np.float32)
    if page.kind == "tinted":
        sheet = np.array([[[0.80, 0.74, 0.60]]], np.float32) * np.float32(page.paper / 0.82)
    made = np.repeat(sheet, height, 0).repeat(width, 1) - density
    if page.kind in ("coloured", "picture"):
        _pictures(made, page, px, rng)
    if page.holes:
        for y in (0.3, 0.7):
            at = (round(9 * px), round(y * height))
            cv2.circle(made, at, round(3 * px), (0.02, 0.02, 0.02), -1)
    return np.maximum(made, np.float32(0.02))


def _print(ink: Array, page: Laid, px: float, rng: np.random.Generator) -> None:
    height, width = ink.shape
    left, right = (18 * px, width - 14 * px)
    if page.side == "back":
        left, right = width - right, width - left
    top, bottom = 20 * px, height - 18 * px
    if page.kind == "blank":
        return
    if page.kind in ("text", "tinted", "coloured"):
        _lines(ink, (left, right), (top, bottom), px, rng)
    elif page.kind == "columns":
        middle = (left + right) / 2
        _lines(ink, (left, middle - 4 * px), (top, bottom), px, rng)
        _lines(ink, (middle + 4 * px, right), (top, bottom), px, rng)
        cv2.line(ink, _at(middle, top), _at(middle, bottom), 220, max(round(0.25 * px), 1))
    elif page.kind == "picture":
        _lines(ink, (left, right), (top + 0.55 * (bottom - top), bottom), px, rng)
    elif page.kind == "ruled":
        for y in np.arange(top, bottom, 8 * px):
            cv2.line(ink, _at(0, y), _at(width, y), 90, max(round(0.2 * px), 1))
        _lines(ink, (left, left + 0.7 * (right - left)), (top, top + 60 * px), px, rng)
    else:
        _grid(ink, (left, right), (top, bottom), page, px, rng)


def _lines(
    ink: Array,
    across: tuple[float, float],
    down: tuple[float, float],
    px: float,
    rng: np.random.Generator,
) -> None:
    """Lines of words of one size, with paragraphs that end early."""
    size_mm = float(rng.choice([1.9, 2.3, 2.8]))
    face = _FACES[int(rng.integers(len(_FACES)))]
    scale = size_mm * px / 21
    weight = max(round(0.10 * size_mm * px), 1)
    step = 2.1 * size_mm * px
    y = down[0] + step
    while y < down[1]:
        share = 1.0 if rng.random() > 0.15 else rng.uniform(0.2, 0.8)
        x, end = across[0], across[0] + share * (across[1] - across[0])
        while True:
            word = _WORDS[int(rng.integers(len(_WORDS)))]
            (wide, _), _ = cv2.getTextSize(word, face, scale, weight)
            if x + wide > end:
                break
            cv2.putText(ink, word, _at(x, y), face, scale, 255, weight, cv2.LINE_AA)
            x += wide + 0.8 * size_mm * px
        y += step * (1.0 if share == 1 else 1.4)


def _grid(
    ink: Array,
    across: tuple[float, float],
    down: tuple[float, float],
    page: Laid,
    px: float,
    rng: np.random.Generator,
) -> None:
    """Ledger (rules that bleed) or table (rules of the type area), numbers in some cells."""
    height = len(ink)
    ends = (0, height) if page.kind == "ledger" else down
    places = np.array([0, 0.12, 0.5, 0.64, 0.78, 0.9, 1.0])
    xs = across[0] + places * (across[1] - across[0])
    if page.side == "back":
        xs = np.sort(across[0] + across[1] - xs)
    for x in xs:
        cv2.line(ink, _at(x, ends[0]), _at(x, ends[1]), 150, max(round(0.2 * px), 1))
    for y in np.arange(down[0], down[1], 7 * px):
        cv2.line(ink, _at(across[0], y), _at(across[1], y), 110, max(round(0.15 * px), 1))
        for left, right in itertools.pairwise(xs.tolist()):
            if rng.random() < 0.6:
                words = f"{rng.integers(1, 9999)}" if right - left < 40 * px else "Duxmere plum"
                at = _at(left + 2 * px, y + 5 * px)
                cv2.putText(ink, words, at, _FACES[2], 2.2 * px / 21, 230, 1, cv2.LINE_AA)


def _rule(ink: Array, page: Laid, px: float) -> None:
    height, width = ink.shape
    x = float(page.rule_mm or 0.0) * px
    x = width - x if page.side == "front" else x
    ends = (0.0, float(height)) if page.rule_bleeds else (21 * px, height - 19 * px)
    dark = round(255 * (1 - page.rule_ink))
    cv2.line(ink, _at(x, ends[0]), _at(x, ends[1]), dark, max(round(0.2 * px), 1))


def _pictures(made: Array, page: Laid, px: float, rng: np.random.Generator) -> None:
    """A smooth picture, or areas of colour, over the upper part."""
    height, width = made.shape[:2]
    top, bottom = round(22 * px), round(height * (0.52 if page.kind == "picture" else 0.3))
    left, right = round(25 * px), round(width - 25 * px)
    coarse = rng.uniform(0.08, 0.75, (9, 7, 3)).astype(np.float32)
    if page.kind == "picture":
        coarse = coarse.mean(axis=2, keepdims=True).repeat(3, 2)
    made[top:bottom, left:right] = cv2.resize(
        coarse, (right - left, bottom - top), interpolation=cv2.INTER_CUBIC
    ).clip(0.04, 0.8)


def _moved(ink: Array, page: Laid, px: float) -> Array:
    """The print where it lies."""
    if page.turn_deg == 0 and page.shift_mm == (0.0, 0.0):
        return ink
    height, width = ink.shape
    turn = cv2.getRotationMatrix2D((width / 2, height / 2), page.turn_deg, 1.0)
    map_to = np.asarray(turn, np.float64)
    map_to[:, 2] += np.array(page.shift_mm) * px
    return cv2.warpAffine(ink, map_to, (width, height), flags=cv2.INTER_LINEAR)


def _at(x: float, y: float) -> tuple[int, int]:
    return math.floor(x), math.floor(y)
