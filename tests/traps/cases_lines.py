"""Lines, marks, bands, noise and the top of the scale: papers and files that imitate faults.

Truth is the scene: the scanner of the simulator is sound unless the case says what it has.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np

from scanqa.model import Told
from scanqa.scans.save import save_tiff
from scanqa.simulate import scan
from scanqa.simulate.device_faults import Streak
from scanqa.simulate.laid import Paper
from scanqa.simulate.scanner import Lamp, Output, Scanner, Sensor
from scanqa.simulate.scenes import BlankScene
from scanqa.simulate.ugly_paper import Clouds, Flecks, Lines, Stroke, Watermark
from tests.traps.case import Case
from tests.traps.scenes import scans
from tests.traps.sound_units import Set, scanned

DPI = 150
SOUND = Scanner("sound", glass_mm=(108.0, 150.0))
MOVED, TURNED = (3.2, -4.1), 0.4
UGLY = {
    "recycled paper": (Flecks(),),
    "paper full of flecks": (Flecks(15, (0.1, 0.4), (-0.03, -0.5)),),
    "laid paper, chain lines down": (Lines(), Lines(1.1, 0.4, -0.006, down=False)),
    "laid paper, chain lines across": (Lines(down=False), Lines(1.1, 0.4, -0.006)),
    "cloudy paper": (Clouds(),),
    "very cloudy paper": (Clouds(0.02, 6.0),),
    "faintly ruled paper": (Lines(8.0, 0.25, -0.02, down=False),),
    "squared paper": (Lines(5.0, 0.2, -0.02, down=False), Lines(5.0, 0.2, -0.02)),
    "paper with a watermark": (Watermark((50, 70)),),
    "a crease that moves with the paper": (Stroke((30, -10), (36, 170), 0.5, -0.04, 0.03),),
    "a pen mark that moves with the paper": (Stroke((60, 20), (61, 120), 0.4, -0.4),),
}
NO_FAULT = (
    "severity:fault",
    "seller",
    "cause:moving-dirt",
    "cause:white-strip-dirt",
    "warning:dead-element",
)


def pair(
    scanner: Scanner = SOUND,
    paper: Paper | None = None,
    *,
    turn_deg: float = TURNED,
    moved: bool = True,
) -> list[np.ndarray]:
    """Pixels of two scans of one paper."""
    paper = paper or Paper(seed=5)
    second = BlankScene(paper, MOVED, turn_deg) if moved else BlankScene(paper)
    return [
        scan(scene, scanner, dpi=DPI, rng=np.random.default_rng([7, at])).pixels
        for at, scene in enumerate((BlankScene(paper), second))
    ]


def as_tiff(make: Callable[[], Sequence[np.ndarray]]) -> Callable[[Path], Sequence[Path]]:
    """What writes them."""

    def write(folder: Path) -> Sequence[Path]:
        paths = []
        for at, pixels in enumerate(make()):
            paths.append(folder / f"blank-{at + 1}.tif")
            save_tiff(paths[-1], pixels, (DPI, DPI))
        return paths

    return write


def through_jpeg(quality: int) -> Callable[[], Sequence[np.ndarray]]:
    """Two scans that went through JPEG and lie in lossless files."""
    return lambda: pair(replace(SOUND, output=Output(jpeg_quality=quality)))


def as_jpeg(quality: int) -> Callable[[Path], Sequence[Path]]:
    """Two scans in JPEG files, which keep no dpi: the user says it."""

    def write(folder: Path) -> Sequence[Path]:
        paths = []
        for at, pixels in enumerate(pair()):
            paths.append(folder / f"blank-{at + 1}.jpg")
            cv2.imwrite(str(paths[-1]), pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
        return paths

    return write


def clipped(light: float) -> Callable[[], Sequence[np.ndarray]]:
    """Two scans in 16 bits whose paper comes out at so much of the scale, at a spread of codes."""

    def make() -> Sequence[np.ndarray]:
        scanner = replace(SOUND, white_reflectance=0.84 / light, output=Output(bits=16))
        rng = np.random.default_rng(3)
        return [
            np.where(pixels > 65532, rng.integers(65532, 65536, pixels.shape), pixels).astype(
                np.uint16
            )
            for pixels in pair(scanner)
        ]

    return make


def _ugly() -> list[Case]:
    return [
        Case(
            f"{name}, moved between two scans",
            as_tiff(lambda features=features: pair(paper=Paper(seed=5, features=features))),
            must_not=NO_FAULT,
            must=("role:blank", "measure:streaks.strongest_visible:at-most"),
            fast=name == "recycled paper",
        )
        for name, features in UGLY.items()
    ]


def _sound(name: str, paper: str, way: str, *must: str, **how: object) -> Case:
    """A sound unit behind a sheet of `sound_units`, with random numbers of its own."""
    usual = {"dpi": DPI, "shade": "white", "quality": None, "as_tiff": True, "whole": True}
    one = Set(paper, way, **(usual | how))
    seed = sum(name.encode())
    return Case(
        f"a sound unit, {name}",
        lambda folder: scanned(one, np.random.default_rng([9, seed]), folder, seed),
        must_not=("severity:fault", "severity:warning", "seller", "cause:moving-dirt", "rejected"),
        must=("role:blank", *must),
    )


# What went wrong when they were first run as sets of `sound_units`: bands from clouds and wire
# lines, little light from flecks that were taken for the sheet's place, shadows from clouds.
SETS = [
    _sound("clouds at 300 dpi, moved", "cloudy formation", "moved", dpi=300),
    _sound("clouds of grey paper, moved", "cloudy formation", "moved", shade="grey"),
    _sound("clouds, turned by half", "cloudy formation", "turned by half"),
    _sound("laid paper, turned by a quarter", "laid, chain and wire lines", "turned by a quarter"),
    _sound("flecks of grey paper at 300 dpi, turned by a quarter", "recycled, flecks",
           "turned by a quarter", dpi=300, shade="grey"),
    _sound("flecks and clouds, askew", "flecks and clouds", "askew by 1 to 3°", shade="yellowed"),
    _sound("a ruled leaf smaller than the glass", "faint ruling", "moved", whole=False),
    _sound("a cloudy leaf smaller than the glass", "cloudy formation", "moved", whole=False),
    _sound("a creased leaf smaller than the glass, askew", "a crease", "askew by 1 to 3°",
           whole=False),
    _sound("a watermark, askew", "watermark", "askew by 1 to 3°",
           "measure:streaks.strongest_visible:at-most"),
]  # fmt: skip
BRIGHT = replace(SOUND, streaks=(Streak(63.8, 300.0, 0.03),))
PATTERN = replace(SOUND, sensor=Sensor(column_pattern=0.0006))
FAINT_LINE = replace(PATTERN, streaks=(Streak(41.3, 170.0, -0.002),))
# Another sheet than that of the later check, its noise drawn anew.
BEFORE = scans(("first", "moved"), paper=Paper(seed=8), scanner=PATTERN, dpi=300, seed=11)
BESIDE = replace(SOUND, streaks=(Streak(3.2, 150.0, -0.03),))

CASES = [
    *_ugly(),
    *SETS,
    *(
        Case(
            f"clean paper in JPEG files of quality {quality}",
            as_jpeg(quality),
            must_not=(*NO_FAULT, "measure:streaks.strongest_visible:ok", "measure:glass.marks:ok"),
            must=("role:blank", "reason:compression"),
            told=Told(dpi=DPI),
        )
        for quality in (30, 90)
    ),
    Case(
        "a bright line at 75 dpi, whose width is no evidence",
        scans(("first", "moved"), scanner=BRIGHT, dpi=75),
        must_not=("cause:dead-element",),
        must=("sure:white-strip-dirt",),
    ),
    Case(
        "a dark line 3 mm from the left side",
        scans(("first", "moved"), scanner=BESIDE),
        must_not=("look:paper-moved",),
        must=("sure:moving-dirt", "fault:moving-dirt"),
    ),
    Case(
        "a line of 0.2 % over a column pattern of 0.06 %, an earlier check without it",
        scans(("first", "moved"), scanner=FAINT_LINE, dpi=300),
        must_not=(*NO_FAULT[:2], "severity:warning", "look:paper-moved"),
        must=("role:blank", "line:since", "sure:moving-dirt", "note:moving-dirt"),
        earlier=BEFORE,
    ),
    Case(
        "a column pattern of 0.06 %, an earlier check with a tenth more light",
        scans(("first", "moved"), scanner=replace(PATTERN, lamp=Lamp(level=0.9)), dpi=300),
        must_not=(*NO_FAULT, "line:since", "note:moving-dirt"),
        must=("role:blank", "measure:streaks.strongest_visible:at-most"),
        earlier=BEFORE,
    ),
    *(
        Case(
            f"clean paper through JPEG of quality {quality}, in TIFF files",
            as_tiff(through_jpeg(quality)),
            must_not=(
                *NO_FAULT,
                "measure:streaks.strongest_visible:ok",
                "measure:glass.marks:ok",
                "measure:banding.period:ok",
                "measure:noise.temporal:ok",
                "measure:streaks.column_pattern:ok",
            ),
            # 40 blocks of JPEG across so small a page: too few to be searched, so no bound either
            must=("measure:streaks.strongest_visible:not-measurable", "reason:compression"),
            fast=quality == 90,
        )
        for quality in (30, 75, 90)
    ),
    Case(
        "half of the paper at a spread of top codes of 16 bits",
        as_tiff(clipped(1.0)),
        must_not=(
            *NO_FAULT,
            "measure:streaks.strongest_visible:ok",
            "measure:glass.marks:ok",
            "measure:noise.temporal:ok",
            "measure:tone.white:ok",
            "measure:banding.amplitude:ok",
            "measure:shading.nonuniformity:ok",
        ),
        must=("reason:clipped", "measure:tone.white:at-least", "measure:noise.total:at-least"),
        fast=True,
    ),
    Case(
        "a twentieth of the paper at a spread of top codes of 16 bits",
        as_tiff(clipped(0.984)),
        must_not=(*NO_FAULT, "measure:streaks.strongest_visible:ok", "measure:noise.total:ok"),
        must=("reason:clipped",),
    ),
    Case(
        "one scan and its copy",
        as_tiff(lambda: pair()[:1] * 2),
        must_not=(
            "measure:noise.temporal:ok",
            "measure:noise.snr:ok",
            "measure:glass.marks:ok",
            "severity:fault",
            "seller",
        ),
        must=("reason:unlike",),
        fast=True,
    ),
    # At first these had to refuse the noise, which was 20 to 36 % too high; it is followed over the
    # turn now, and its value proved in tests/measures/test_noise.py. Refused beyond some 4°.
    *(
        Case(
            f"the paper turned by {turn_deg:g}° between two scans",
            as_tiff(lambda turn_deg=turn_deg: pair(turn_deg=turn_deg)),
            must_not=(*NO_FAULT, "severity:warning"),
            must=(f"measure:noise.temporal:{status}", "measure:streaks.strongest_visible:at-most"),
        )
        for turn_deg, status in ((1.5, "ok"), (2.0, "ok"), (8.0, "not-measurable"))
    ),
]
