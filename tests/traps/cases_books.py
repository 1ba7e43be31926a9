"""Books and what imitates them; no light without a page, no page without a spine.

Painted with Pillow and numpy: lines of print, set in the font that Pillow carries, and the light of
a gutter written down as exp of the distance.
"""

from __future__ import annotations

import functools
from bisect import bisect_right
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFont
from scipy import ndimage
from skimage import data

from scanqa.model import Told
from tests.traps.case import Case
from tests.traps.small_paper import write_light

SHAPE, DPI, MM = (1100, 800), 100, 25.4
PAPER = 0.8
LEFT, RIGHT = Told(book_edge="left"), Told(book_edge="right")
FROM_SPINE = Told(book_edge="left", dead_margins_mm={"left": 0.0})
Make = Callable[[Path], Sequence[Path]]

NO_FAULT = ("severity:fault", "seller", "rejected")
NO_GUTTER = (*NO_FAULT, "measure:gutter.delta_L_at_5mm:ok", "use:bound pages to the spine:fit",
             "use:bound pages to the spine:unfit")  # fmt: skip


WORDS = (
    "The Tarn Pippin bears early and keeps until March; grafts on dwarf stock crop in the third "
    "year and want a warm wall. Sent out from the nursery at Low Beck, carriage paid. "
) * 3


@functools.cache
def print_of_page() -> np.ndarray:
    """Share of the paper's light: lines of 10 pt, drawn three times as fine."""
    fine = 3
    page = Image.new("L", (SHAPE[1] * fine, SHAPE[0] * fine), 255)
    pen, font = ImageDraw.Draw(page), ImageFont.load_default(size=10 / 72 * DPI * fine)
    margin, pitch = round(14 / MM * DPI * fine), round(4.2 / MM * DPI * fine)
    for number, y in enumerate(range(margin, page.height - margin, pitch)):
        start = 7 * number % 40
        line = WORDS[start:]
        lengths = range(len(line) + 1)
        room = page.width - 2 * margin
        fits = bisect_right(lengths, room, key=lambda n, line=line: pen.textlength(line[:n], font))
        pen.text((margin, y), line[: fits - 1], 15, font)
    ink = np.asarray(page, float).reshape(SHAPE[0], fine, SHAPE[1], fine).mean(axis=(1, 3)) / 255
    return np.asarray(ink)


def gutter(depth: float = 0.7, reach_mm: float = 6.0, at_mm: float = 0.0):
    """Light over the columns of a page that lifts at a place."""
    x = (np.arange(SHAPE[1]) + 0.5) * MM / DPI
    return 1 - depth * np.exp(-np.abs(x - at_mm) / reach_mm)


def book(change: Callable[[np.ndarray], np.ndarray]) -> Make:
    """A printed page, changed."""

    def make(folder: Path) -> Sequence[Path]:
        light = PAPER * print_of_page()
        light = ndimage.gaussian_filter(change(light), 0.5)
        light = light + 0.004 * np.random.default_rng(2).standard_normal(SHAPE)
        return [write_light(folder / "book.tif", np.clip(light, 0, 1), dpi=DPI)]

    return make


def stretched(make: Make) -> Make:
    """Levels pulled apart after digitising, in 8 bits: empty codes, clipped paper."""

    def change(folder: Path) -> Sequence[Path]:
        paths = make(folder)
        for path in paths:
            codes = np.asarray(Image.open(path), float)
            codes = np.clip((codes - 40) * 255 / 170, 0, 255).round().astype(np.uint8)
            Image.fromarray(codes).save(path, dpi=(DPI, DPI))
        return paths

    return change


def pictures(light: np.ndarray) -> np.ndarray:
    """Photographs along nine tenths of the spine's side, as far as 90 mm from it."""
    out = light.copy()
    photo = np.asarray(Image.fromarray(data.camera()).resize((330, 320)), float) / 255
    for top in (40, 390, 740):
        out[top : top + 320, 15:345] = PAPER * (0.06 + 0.9 * photo)
    return out * gutter()


def dark_strip(light: np.ndarray) -> np.ndarray:
    """A flat dark strip of 12 mm at the side: card, cloth, a lid."""
    out = light.copy()
    out[:, : round(12 / MM * DPI)] = 0.12
    return out


def ends_early(light: np.ndarray) -> np.ndarray:
    """The page ends 25 mm before the image does; black beyond."""
    out = light * gutter(0.2, 4.0, 25.0)
    out[:, : round(25 / MM * DPI)] = 0.015
    return out


def _middle() -> np.ndarray:
    """The middle of the image, all but a heading and a foot line."""
    rows = np.arange(SHAPE[0])[:, np.newaxis]
    return (rows > 0.12 * SHAPE[0]) & (rows < 0.9 * SHAPE[0])


CASES = [
    Case("a printed page with its spine at the side", book(lambda p: p * gutter()),
         NO_FAULT, ("role:open-book", "measure:gutter.delta_L_at_5mm:ok"), FROM_SPINE, fast=True),
    Case("the spine told to lie at the other side", book(lambda p: p * gutter()), NO_GUTTER,
         ("reason:not-found",), RIGHT, fast=True),
    Case("a page without a gutter, a spine told", book(lambda p: p), NO_GUTTER,
         ("reason:not-found",), LEFT),
    Case("a flat dark strip at the side, a spine told", book(dark_strip), NO_GUTTER,
         ("reason:not-found",), LEFT, fast=True),
    Case("a page that ends before the image does, a spine told", book(ends_early), NO_GUTTER,
         ("reason:not-found",), LEFT),
    Case("a page dark all over, a spine told", book(lambda p: 0.3 * p), NO_GUTTER,
         ("reason:not-found",), LEFT),
    Case("an open double page with the spine inside",
         book(lambda p: p * gutter(0.75, 6.0, SHAPE[1] / 2 / DPI * MM)), NO_FAULT,
         ("role:open-book", "measure:gutter.delta_L_at_5mm:ok"), fast=True),
    Case("pictures along most of the spine", book(pictures), NO_FAULT,
         ("role:open-book", "measure:gutter.delta_L_at_5mm:ok"), FROM_SPINE, fast=True),
    Case("a printed page, its side's dead margin not known", book(lambda p: p * gutter()),
         (*NO_FAULT, "measure:gutter.delta_L_at_5mm:ok", "use:bound pages to the spine:fit"),
         ("role:open-book", "measure:gutter.delta_L_at_5mm:at-least"), LEFT),
    Case("a book whose levels were stretched", stretched(book(lambda p: p * gutter())), NO_GUTTER,
         ("reason:software",), LEFT, fast=True),
    Case("a page of print without a book edge told, no spine", book(lambda p: p), NO_GUTTER,
         ("role:page",)),
    Case("a white page by its spine, not told", book(lambda p: PAPER * gutter(0.8, 8.0) + 0 * p),
         NO_GUTTER, ("role:page",), fast=True),
    Case("a page that is white in its middle, by its spine",
         book(lambda p: np.where(_middle(), PAPER, p) * gutter()),
         (*NO_FAULT, "role:blank"), ("role:open-book",), LEFT, fast=True),
]  # fmt: skip
