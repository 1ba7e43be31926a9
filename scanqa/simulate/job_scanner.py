"""A scanner at work on a job: pages become codes, with faults that come and go.

Columns are the scanner's: their pattern, and a line of dirt, stay where they are while pages
change. A page that lies upside down on the glass (every second one of a book at the book edge) is
turned in the file afterwards, so that it is read upright; the scanner's columns turn with it.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from scanqa.model import MM_PER_INCH, Array, Pixels

_LEVELS = 16384
_CODES = np.linspace(0, 1, _LEVELS)
_SRGB = np.where(
    _CODES <= 0.0031308, 12.92 * _CODES, 1.055 * np.maximum(_CODES, 1e-9) ** (1 / 2.4) - 0.055
)
TILE = 1024  # of the paper's texture, laid anew for each page


@dataclass(frozen=True, slots=True)
class DirtLine:
    """A line of dirt: its place on the glass, width and contrast (negative: dark)."""

    at_mm: float
    width_mm: float
    contrast: float


@dataclass(frozen=True, slots=True)
class JobScanner:
    """The unit.

    Attributes
    ----------
    pattern : float
        Deviation of a column from its neighbours, of the light.
    noise, texture : float
        Of a sample, of the light: the sensor's, and the paper's.
    """

    dpi: float = 200.0
    size_mm: tuple[float, float] = (210.0, 297.0)
    pattern: float = 0.001
    noise: float = 0.006
    texture: float = 0.005
    blur_px: float = 0.6
    exposure: float = 1.05
    seed: int = 0


@dataclass(frozen=True, slots=True)
class State:
    """What is wrong while a page is scanned, and how it lies.

    Attributes
    ----------
    soft : (left, right)
        Factor on the blur at the two sides.
    gutter : float
        Light lost right at the spine (the left edge of the glass).
    upside_down : bool
        The page lies turned by 180°, and its file is turned back.
    """

    lines: tuple[DirtLine, ...] = ()
    light: float = 1.0
    soft: tuple[float, float] = (1.0, 1.0)
    gutter: float = 0.0
    gutter_mm: float = 12.0
    upside_down: bool = False


def scanned(
    paper: Array, scanner: JobScanner, state: State, seed: int, *, colour: bool = False
) -> Pixels:
    """Codes of a page, (rows, columns, 1 or 3) uint8, upright.

    Parameters
    ----------
    paper : (rows, columns, 3)
        Reflectance of the page as it is read.
    scanner : JobScanner
        The unit.
    state : State
        What is wrong with it, how the page lies.
    seed : int
        Of noise and texture.
    """
    rng = np.random.default_rng((scanner.seed, seed))
    light = paper if colour else np.ascontiguousarray(paper.mean(axis=2, keepdims=True))
    if state.upside_down:
        light = np.ascontiguousarray(light[::-1, ::-1])
    height, width = light.shape[:2]
    light = light * _texture(rng, scanner, (height, width))
    light = _blurred(light, scanner, state).reshape(height, width, -1)
    gain = (scanner.exposure * state.light * _columns(scanner, state, width)).astype(np.float32)
    light *= gain[:, None]
    noise = rng.standard_normal(light.shape, np.float32)
    light += np.float32(scanner.noise) * np.sqrt(np.maximum(light, 0.01)) * noise
    codes = encode(light)
    return np.ascontiguousarray(codes[::-1, ::-1]) if state.upside_down else codes


def encode(light: Array) -> Pixels:
    """Light to 8-bit sRGB codes (IEC 61966-2-1)."""
    table = np.rint(255 * _SRGB).astype(np.uint8)
    index = np.rint(np.clip(light, 0, 1) * (_LEVELS - 1)).astype(np.uint16)
    return np.asarray(table[index])


def pattern(scanner: JobScanner, width: int) -> Array:
    """Response of the columns: the same for every page."""
    rng = np.random.default_rng((scanner.seed, 99))
    return 1 + scanner.pattern * rng.standard_normal(width)


def _columns(scanner: JobScanner, state: State, width: int) -> Array:
    """Light of each column of the glass."""
    x_mm = (np.arange(width) + 0.5) * MM_PER_INCH / scanner.dpi
    level = pattern(scanner, width)
    half = MM_PER_INCH / scanner.dpi / 2
    for line in state.lines:
        low, high = line.at_mm - line.width_mm / 2, line.at_mm + line.width_mm / 2
        covered = np.minimum(x_mm + half, high) - np.maximum(x_mm - half, low)
        level = level * (1 + line.contrast * np.clip(covered / (2 * half), 0, 1))
    if state.gutter:
        level = level * (1 - state.gutter * np.exp(-x_mm / state.gutter_mm))
    return level


def _texture(rng: np.random.Generator, scanner: JobScanner, shape: tuple[int, int]) -> Array:
    """Texture of paper: fibres of some samples, a tile of them laid anew for each page."""
    tile = rng.standard_normal((TILE, TILE), np.float32)
    tile = cv2.GaussianBlur(tile, (0, 0), 0.9) * 2.2 + cv2.GaussianBlur(tile, (0, 0), 4.0) * 4.0
    tile *= np.float32(scanner.texture) / tile.std()
    rows, columns = (-(-n // TILE) + 1 for n in shape)
    whole = np.tile(tile, (rows, columns))
    y, x = rng.integers(0, TILE, 2)
    return 1 + whole[y : y + shape[0], x : x + shape[1], None]


def _blurred(light: Array, scanner: JobScanner, state: State) -> Array:
    """Seen through the optics, unlike at the two sides if the state says so."""
    usual = cv2.GaussianBlur(light, (0, 0), scanner.blur_px)
    if state.soft == (1.0, 1.0):
        return usual
    width = light.shape[1]
    made = usual.reshape(light.shape).copy()
    for side, factor in enumerate(state.soft):
        if factor != 1.0:
            part = slice(0, width // 2) if side == 0 else slice(width // 2, width)
            softer = cv2.GaussianBlur(light, (0, 0), scanner.blur_px * factor)
            made[:, part] = softer.reshape(light.shape)[:, part]
    return made
