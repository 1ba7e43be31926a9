"""What does the scan show? Real files, paper smaller than the glass, pages that are no blank."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw

from scanqa.model import Told
from tests.independent import srgb_encode
from tests.traps.case import Case
from tests.traps.small_paper import Bed, light_of_bed, write_light

REAL = Path(__file__).parents[1] / "real"
Make = Callable[[Path], Sequence[Path]]

NO_WORD = ("severity:fault", "seller", "rejected", "use:bound pages:fit", "role:blank")
NO_BOOK = (*NO_WORD, "role:open-book", "cause:sharpening", "cause:smoothing")
SOUND = ("severity:fault", "seller", "rejected", "cause:frame-shade", "cause:moving-dirt")
SMALL = (*SOUND, "measure:edges.usable_width:ok", "measure:edges.shadow_right:ok")


def real(name: str) -> Make:
    """A file of tests/real."""
    return lambda folder: [Path(shutil.copy(REAL / name, folder / name))]


def beds(*laid: Bed, dpi: float = 100.0) -> Make:
    """Plain paper laid so, one scan for each."""

    def make(folder: Path) -> Sequence[Path]:
        return [
            write_light(folder / f"bed-{n}.tif", light_of_bed(bed, dpi=dpi, seed=40 + n), dpi=dpi)
            for n, bed in enumerate(laid)
        ]

    return make


def drawn(
    draw: Callable[[ImageDraw.ImageDraw, tuple[int, int]], None], bed: Bed | None = None
) -> Make:
    """Something drawn on a bed of plain paper at 100 dpi."""

    def make(folder: Path) -> Sequence[Path]:
        light = light_of_bed(bed or Bed(paper=(-9.0, -9.0, 230.0, 310.0)), seed=7)
        ink = Image.new("L", light.shape[::-1], 255)
        draw(ImageDraw.Draw(ink), ink.size)
        light = light * (0.08 + 0.92 * np.asarray(ink, float) / 255)
        return [write_light(folder / "drawn.tif", light)]

    return make


def ruling(pen: ImageDraw.ImageDraw, size: tuple[int, int]) -> None:
    """Ruled paper, 8 mm."""
    for y in range(60, size[1], 31):
        pen.line((0, y, size[0], y), fill=190, width=2)


def heading(pen: ImageDraw.ImageDraw, size: tuple[int, int]) -> None:
    """A letter head: lines of words near the top."""
    for y in range(20, 90, 12):
        for x in range(150, size[0] - 150, 9):
            pen.line((x, y, x + 4, y + (x % 5)), fill=20, width=3)


def leaf(pen: ImageDraw.ImageDraw, size: tuple[int, int]) -> None:
    """A plant's leaf with its ribs."""
    width, height = size
    pen.ellipse((0.2 * width, 0.2 * height, 0.7 * width, 0.8 * height), fill=90)
    for y in np.linspace(0.3, 0.7, 9):
        pen.line((0.45 * width, y * height, 0.65 * width, (y - 0.05) * height), fill=140, width=2)


def words(pen: ImageDraw.ImageDraw, size: tuple[int, int]) -> None:
    """A printed page: lines of strokes over all of it."""
    rng = np.random.default_rng(5)
    for y in range(110, size[1] - 260, 17):
        x = 80
        while x < size[0] - 110:
            run = int(rng.integers(12, 40))
            for stroke in range(x, x + run, 5):
                pen.line((stroke, y, stroke + 2, y + 7), fill=10, width=2)
            x += run + 9


def half_dpi(make: Make, dpi: tuple[float, float]) -> Make:
    """The same pixels under another dpi tag."""

    def wrong(folder: Path) -> Sequence[Path]:
        files = make(folder)
        for file in files:
            Image.open(file).save(file, dpi=dpi)
        return files

    return wrong


def as_pdf(folder: Path) -> Sequence[Path]:
    """A PDF by the name of a scan."""
    path = folder / "scan.pdf"
    Image.fromarray(np.full((300, 200), 230, np.uint8)).save(path, "PDF")
    return [path]


def grey_palette(folder: Path) -> Sequence[Path]:
    """A PNG whose palette holds nothing but greys."""
    light = light_of_bed(Bed(paper=(-9.0, -9.0, 230.0, 310.0)), seed=3)
    image = Image.fromarray(np.rint(255 * srgb_encode(light)).astype(np.uint8))
    image.putpalette([v for grey in range(256) for v in (grey, grey, grey)])
    image.save(folder / "grey.png", dpi=(100, 100))
    return [folder / "grey.png"]


ON_A3 = (297.0, 420.0)
BLACK_BED = Bed(ON_A3, (12.0, 15.0, 222.0, 312.0), 0.5)
EXPLAINED = "see tests/real/README.md"

CASES = [
    Case("film strips on white", real("film-strips-crop.tif"), NO_BOOK, ("role:picture",),
         fast=True, source=EXPLAINED),
    Case("a loose ruled note leaf", real("notesA1.jpg"), NO_BOOK, ("role:page",), source=EXPLAINED),
    Case("an agar plate", real("p1_53.jpg"), (*NO_BOOK, "role:page"), ("role:picture",),
         source=EXPLAINED),
    Case("plankton, no dpi", real("2_ISTRIA02_FEB_6_obj01752_raw.png"), NO_BOOK,
         ("role:picture", "measure:tone.clipped:ok"), fast=True, source=EXPLAINED),
    Case("a real page that falls toward the spine", real("w91frag.jpg"), NO_WORD,
         ("role:open-book", "measure:gutter.delta_L_at_10mm:at-least"),
         Told(dpi=150, book_edge="right"), fast=True, source=EXPLAINED),
    Case("a real page, the wrong side told", real("w91frag.jpg"),
         (*NO_WORD, "measure:gutter.delta_L_at_10mm:ok"), ("reason:not-found",),
         Told(dpi=150, book_edge="left"), fast=True, source=EXPLAINED),
    Case("an open double page on black", real("binding-example.45.jpg"), NO_WORD,
         ("role:open-book", "measure:gutter.delta_L_at_2mm:ok"), fast=True, source=EXPLAINED),
    Case("a book page without dpi", real("contrast-orig-60.jpg"),
         (*NO_WORD, "measure:gutter.delta_L_at_2mm:ok"), ("role:open-book",), fast=True,
         source=EXPLAINED),
    Case("A4 on a glass of 216 mm, lid open", beds(Bed(), Bed(paper=(1.5, 0.0, 211.5, 297.0))),
         SMALL, ("role:blank", "reason:too-small"), fast=True),
    Case("A4 on a glass of 216 mm, grey lid",
         beds(Bed(lid=0.4), Bed(paper=(1.5, 0.0, 211.5, 297.0), lid=0.4)), SMALL,
         ("role:blank", "reason:too-small")),
    Case("A4 on A3, lid open", beds(BLACK_BED, Bed(ON_A3, (18.0, 20.0, 228.0, 317.0), -0.4)),
         SMALL, ("role:blank", "measure:shading.nonuniformity:at-least")),
    Case("A4 on A3, white lid",
         beds(Bed(ON_A3, (12.0, 15.0, 222.0, 312.0), 0.5, 0.88, 0.1),
              Bed(ON_A3, (18.0, 20.0, 228.0, 317.0), -0.4, 0.88, 0.1)),
         SMALL, ("role:blank", "measure:shading.nonuniformity:at-least")),
    Case("paper over the whole glass", beds(Bed(paper=(-9.0, -9.0, 230.0, 310.0)),
                                            Bed(paper=(-5.0, -6.0, 230.0, 310.0))),
         ("rejected", "measure:edges.shadow_left:not-measurable"),
         # the lamp's light falls by 6 % toward both sides: where a shadow on it ends is a range
         ("role:blank", "measure:edges.shadow_left:between")),
    Case("a plain leaf of A5 on an open lid",
         beds(Bed(paper=(30.0, 40.0, 178.0, 250.0), turn_deg=4.0)),
         (*SOUND, "role:edge-card", "measure:sharpness.effective_dpi:between",
          "measure:sharpness.effective_dpi:ok"), ("role:blank",), fast=True),
    Case("ruled paper", drawn(ruling), NO_BOOK, ("role:page",), fast=True),
    Case("headed paper", drawn(heading), NO_BOOK, ("role:page",), fast=True),
    Case("a printed page on black", drawn(words, Bed(ON_A3)), NO_BOOK, ("role:page",)),
    Case("a leaf on a white lid in the frame's shadow",
         drawn(leaf, Bed(paper=(-9.0, -9.0, 230.0, 310.0), frame=0.8)), NO_BOOK,
         ("role:picture",), fast=True),
    Case("a white lid in the frame's shadow", beds(Bed(paper=(-9.0, -9.0, 230.0, 310.0),
                                                       frame=0.8)),
         ("role:open-book", "severity:fault", "seller"), (), fast=True),
    Case("a dpi tag that makes the bed 30 mm high",
         half_dpi(beds(Bed(paper=(-9.0, -9.0, 230.0, 310.0))), (1000, 1000)),
         ("severity:fault", "rejected", "measure:streaks.strongest_visible:ok"),
         ("measure:tone.clipped:ok",), fast=True),
    Case("a dpi tag that is wildly unlike between the axes",
         half_dpi(beds(Bed(paper=(-9.0, -9.0, 230.0, 310.0))), (100, 600)),
         ("severity:fault", "rejected", "measure:streaks.strongest_visible:ok"),
         ("measure:tone.clipped:ok",), fast=True),
    Case("a PDF", as_pdf, ("role:blank",), ("rejected",), fast=True),
    Case("a PNG with a palette of greys", grey_palette, ("rejected",), ("role:blank",), fast=True),
]  # fmt: skip
