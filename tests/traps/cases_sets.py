"""Sets and files: scales, sizes, hands, strange pixel formats, words of the user that are wrong.

What is drawn here is drawn with Pillow and numpy on simulated or painted beds.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import tifffile
from PIL import Image, ImageDraw
from skimage import data

from scanqa.model import Told
from scanqa.sheets import sheet
from scanqa.simulate.laid import Paper
from scanqa.simulate.printing import Printer
from scanqa.simulate.scanner import Scanner
from scanqa.simulate.scenes import BlankScene, SheetScene
from tests.independent import srgb_encode
from tests.traps.case import Case
from tests.traps.cases_roles import words
from tests.traps.scenes import written
from tests.traps.small_paper import Bed, light_of_bed, write_light

Make = Callable[[Path], Sequence[Path]]

UNIT = Scanner("bench", glass_mm=(216.0, 300.0))
NARROWER = replace(UNIT, glass_mm=(210.0, 297.0))
NO_ALARM = ("severity:fault", "seller", "rejected")
NO_CROP = (*NO_ALARM, "cause:cropping")
WHOLE = Bed(paper=(-9.0, -9.0, 230.0, 310.0))
PLAIN = Paper(seed=5)
MOVED = BlankScene(PLAIN, moved_mm=(6.0, -5.0), turn_deg=0.4)


def printed(scale: float = 1.0) -> dict[str, SheetScene]:
    """The bed sheet, printed at a scale."""
    printer = Printer(scale_x=scale, scale_y=scale)
    return {"bed-sheet": SheetScene(sheet("bed-sheet-a4"), (2.0, 1.0), 0.4, printer=printer)}


def together(*makes: Make) -> Make:
    """Scans of several makers, each in a folder of its own and named after it."""

    def make(folder: Path) -> Sequence[Path]:
        paths = []
        for at, each in enumerate(makes):
            inner = folder / f"set-{at}"
            inner.mkdir()
            for file in each(inner):
                paths.append(folder / f"{at}-{file.name}")
                shutil.move(file, paths[-1])
        return paths

    return make


def with_a_hand(make: Make) -> Make:
    """A hand over the scans: a dark, soft, warm shape from the right side to the middle."""

    def covered(folder: Path) -> Sequence[Path]:
        paths = make(folder)
        for path in paths:
            pixels = tifffile.imread(path)
            with tifffile.TiffFile(path) as tiff:
                dpi = tiff.pages[0].tags["XResolution"].value
            height, width = pixels.shape[:2]
            mask = Image.new("L", (width, height), 0)
            pen = ImageDraw.Draw(mask)
            pen.ellipse((0.62 * width, 0.3 * height, 1.1 * width, 0.62 * height), fill=255)
            for finger in range(4):
                y = (0.32 + 0.07 * finger) * height
                box = (0.42 * width, y, 0.75 * width, y + 0.05 * height)
                pen.rounded_rectangle(box, 0.025 * height, fill=255)
            hand = np.asarray(mask)[..., np.newaxis] > 0
            top = np.iinfo(pixels.dtype).max
            skin = (np.array([0.75, 0.5, 0.42]) * top).astype(pixels.dtype)
            tifffile.imwrite(
                path, np.where(hand, skin, pixels), photometric="rgb", metadata=None,
                resolution=(dpi[0] / dpi[1], dpi[0] / dpi[1]), resolutionunit="inch",
            )  # fmt: skip
        return paths

    return covered


def page_of_words(folder: Path) -> Sequence[Path]:
    """A bed whose upper two thirds hold print; the rest is plain."""
    light = light_of_bed(WHOLE, seed=9)
    ink = Image.new("L", light.shape[::-1], 255)
    words(ImageDraw.Draw(ink), (ink.size[0], ink.size[1] * 2 // 3 + 260))
    light = light * (0.08 + 0.92 * np.asarray(ink, float) / 255)
    return [write_light(folder / "words.tif", light)]


def tall(folder: Path) -> Sequence[Path]:
    """Plain paper whose tag of half the dpi makes the bed 594 mm long."""
    return [write_light(folder / "tall.tif", light_of_bed(WHOLE, seed=4), dpi=50.0)] and _retag(
        folder / "tall.tif", 50.0
    )


def _retag(path: Path, dpi: float) -> Sequence[Path]:
    tifffile.imwrite(
        path, tifffile.imread(path), resolution=(dpi, dpi), resolutionunit="inch", metadata=None
    )
    return [path]


def as_format(name: str, **options: object) -> Make:
    """Plain paper as another kind of file or pixel."""

    def make(folder: Path) -> Sequence[Path]:
        grey = np.rint(255 * srgb_encode(light_of_bed(WHOLE, seed=6))).astype(np.uint8)
        image = Image.fromarray(grey)
        mode = str(options.get("mode", "L"))
        if mode != "L":
            image = image.convert("RGB").convert(mode) if mode != "1" else image.convert("1")
        path = folder / name
        keep = {key: value for key, value in options.items() if key != "mode"}
        if keep.pop("pages", 1) == 2:
            keep |= {"save_all": True, "append_images": [image.rotate(180)]}
        image.save(path, dpi=(100, 100), **keep)
        return [path]

    return make


def enlarged_ten_times(folder: Path) -> Sequence[Path]:
    """A photograph of 1/10 of the pixels, enlarged, as JPEG: its 8 × 8 grid is no 4/3."""
    image = Image.fromarray(data.astronaut()[60:310, 60:310])
    path = folder / "photo.jpg"
    image.resize((2500, 2500), Image.Resampling.BICUBIC).save(path, quality=85, dpi=(300, 300))
    return [path]


CASES = [
    # --------------------------------------------------------------------------- sizes, scales
    Case("a sheet printed at 97 %", written(printed(0.97), UNIT, dpi=100), NO_CROP,
         ("role:bed-sheet", "cause:print-scale"), fast=True),
    Case("a sheet printed at 97 % beside a blank of the whole bed",
         written({"blank": BlankScene(PLAIN)} | printed(0.97), UNIT, dpi=100),
         (*NO_CROP, "sure:wrong-scale"), ("role:bed-sheet", "cause:print-scale")),
    Case("two dpi in one set",
         together(written({"blank": BlankScene(PLAIN)}, UNIT, dpi=100),
                  written({"blank": MOVED}, UNIT, dpi=150)), NO_CROP, ("role:blank",)),
    Case("scans of two scanners in one set",
         together(written({"blank": BlankScene(PLAIN)}, UNIT, dpi=100),
                  written({"blank": MOVED}, NARROWER, dpi=100)),
         (*NO_ALARM, "sure:cropping"), ("role:blank",), fast=True),
    Case("a hand over the sheet", with_a_hand(written(printed(), UNIT, dpi=150)),
         (*NO_ALARM, "severity:warning"), ("role:bed-sheet",), fast=True),
    Case("a hand over plain paper in one of two scans",
         together(written({"blank": BlankScene(PLAIN)}, UNIT, dpi=100),
                  with_a_hand(written({"blank": MOVED}, UNIT, dpi=100))),
         (*NO_ALARM, "severity:warning"), ("role:blank",), fast=True),
    # -------------------------------------------------------------------------- the user's word
    Case("a page of print, told to be blank", page_of_words,
         (*NO_ALARM, "severity:warning", "measure:edges.shadow_top:ok"),
         ("role:blank", "measure:streaks.strongest_visible:at-most"),
         Told(roles={Path("words.tif"): "blank"}), fast=True),
    Case("a photograph, told to be blank", enlarged_ten_times,
         (*NO_ALARM, "severity:warning", "role:blank"), ("role:picture",),
         Told(roles={Path("photo.jpg"): "blank"})),
    # ----------------------------------------------------------------------------------- files
    Case("a dpi tag that makes the bed 600 mm high", tall,
         (*NO_ALARM, "measure:streaks.strongest_visible:ok"), ("measure:tone.clipped:ok",)),
    Case("a photograph enlarged ten times, as JPEG", enlarged_ten_times,
         (*NO_ALARM, "sure:false-dpi", "measure:claim.factor:ok"), ("role:picture",)),
    Case("a scan in 1 bit", as_format("bits.tif", mode="1"), ("role:blank", "severity:fault"),
         ("rejected",)),
    Case("a scan in CMYK", as_format("ink.tif", mode="CMYK"), ("role:blank", "severity:fault"),
         ("rejected",)),
    Case("a JPEG in CMYK", as_format("ink.jpg", mode="CMYK"), ("role:blank", "severity:fault"),
         ("rejected",)),
    Case("two pages in one TIFF", as_format("pages.tif", pages=2), ("severity:fault", "seller"),
         ("rejected",)),
    Case("a scan with an alpha channel", as_format("alpha.png", mode="RGBA"),
         ("severity:fault", "seller"), ("rejected",)),
]  # fmt: skip
