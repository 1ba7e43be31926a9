"""Scanners with one planted fault, with several, and with none: what should be said of each.

Each is looked at twice: with the scans of a first look, and with all, among which is one that
differs in what else could be the cause. The expected word of either was written before it was run:
*sure* (a warning or fault that a second look confirms, or whose trace is in the file), *look again*
(a warning that names the scan which settles it), *quiet* (neither). The
expected causes (rows of ``catalogue/causes.toml``) were written before the cases were run. Each
case goes the whole way: simulated scans, TIFF files, `qualify`, the findings of the record.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Literal

import numpy as np

from scanqa.catalogue.causes import CAUSES
from scanqa.demo import HERON, WREN
from scanqa.model import Diagnosis, Record, Told
from scanqa.qualification import qualify
from scanqa.scans.save import save_tiff
from scanqa.sheets import sheet
from scanqa.simulate import scan
from scanqa.simulate.coverage import Shape
from scanqa.simulate.device_faults import (
    Banding,
    Dust,
    Falloff,
    Flicker,
    Haze,
    Scratch,
    Shadow,
    Streak,
)
from scanqa.simulate.frames import inverse, rectangle
from scanqa.simulate.scanner import Lamp, Optics, Output, Scanner, Segments, Sensor
from scanqa.simulate.scenes import (
    BlankScene,
    BookScene,
    DarkScene,
    Laid,
    Lift,
    Paper,
    Printer,
    Scene,
    SheetScene,
    StripsScene,
)

Word = Literal["sure", "look again", "quiet"]
# Their traces are in the file itself: no second look is needed.
OF_THE_FILE = {"sharpening", "levels", "too-bright", "smoothing", "compression", "cropping"}
SEED = 6000
PAPER = Paper(seed=5)
LASER = Printer(edge_roughness_um=5.0)
HALF = (108.0, 150.0)  # a small bed, where blank paper is enough
A4 = (210.0, 297.0)
ONE, OTHER = (0.0, 0.0), (3.2, -4.1)  # mm, of the paper between two blank scans

SHEET = sheet("bed-sheet-a4")
STRIPS = sheet("edge-strip-a4")


@dataclass(frozen=True)
class LinedPaper:
    """Blank paper with a faint line along it, which moves with the paper."""

    blank: BlankScene
    at_mm: float

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        laid = self.blank.lay(glass_mm)
        line = rectangle(self.at_mm, -20.0, self.at_mm + 0.2, glass_mm[1] + 20)
        shape = Shape((line,), 0.97 * laid.base).moved(inverse(laid.to_paper))
        return replace(laid, shapes=(shape,))


@dataclass(frozen=True)
class CurledSheet:
    """A sheet whose one side stands off the glass by up to `height_mm`."""

    flat: SheetScene
    side: Any
    height_mm: float
    length_mm: float = 70.0

    def lay(self, glass_mm: tuple[float, float]) -> Laid:
        def rise(distance: Any) -> Any:
            return self.height_mm * np.clip(1 - np.asarray(distance) / self.length_mm, 0, 1)

        return replace(self.flat.lay(glass_mm), lift=Lift(self.side, rise))


def blanks(count: int = 2, *, still: bool = False) -> dict[str, Scene]:
    """Scans of plain paper; the paper moves between them unless it lies still."""
    return {
        f"blank-{n + 1}": BlankScene(PAPER)
        if still or n % 2 == 0
        else BlankScene(PAPER, moved_mm=OTHER, turn_deg=0.4)
        for n in range(count)
    }


def turned_blank(turn_deg: float, glass_mm: tuple[float, float] = HALF) -> dict[str, Scene]:
    """One more scan of the plain paper, turned by 90° or 180° so that it covers the glass again."""
    width, height = glass_mm
    moved = {90.0: (width + 2.0, -3.0), 180.0: (width + 2.0, height - 3.0)}[turn_deg]
    return {f"blank-{turn_deg:.0f}": BlankScene(PAPER, moved_mm=moved, turn_deg=turn_deg + 0.3)}


def bed(*, turned: bool = False, printer: Printer = LASER, cut: bool = True) -> dict[str, Scene]:
    """The bed sheet, and with `turned` a second scan of it turned by half."""
    scans: dict[str, Scene] = {
        "bed-sheet": SheetScene(SHEET, (3.0, 1.4), 0.35, printer=printer, windows_cut=cut)
    }
    if turned:
        scans["bed-sheet-turned"] = SheetScene(
            SHEET, (3.2, 1.6), 180.2, printer=printer, windows_cut=cut
        )
    return scans


def strips() -> dict[str, Scene]:
    sides: Any = {p.name: p.name.removeprefix("strip-") for p in STRIPS.pieces}
    return {"edge-strips": StripsScene(STRIPS, sides, printer=LASER)}


@dataclass(frozen=True)
class Case:
    """A scanner, what was scanned on it, and what should be said.

    Attributes
    ----------
    planted : str
        In words, with numbers.
    expected : tuple of str
        Causes that must each be the first cause of a finding, one of them that of the gravest.
        No other finding may be a warning or a fault.
    alike : str
        A cause that these scans can hardly tell from the first: the finding must say so.
    by_scan : mapping
        Another state of the scanner for some scans (a lamp that warms up).
    seconds : mapping
        When the files were written, for those.
    finish : callable or None
        Done to the pixels of each scan by name (cropping).
    earlier : Case or None
        An earlier check of the same scanner.
    word, once : str
        What is said with all scans and the earlier check, and at the first look.
    first : mapping or None
        The scans of the first look; the first of `scans` if None.
    """

    planted: str
    scanner: Scanner
    expected: tuple[str, ...]
    scans: Mapping[str, Scene] = field(default_factory=blanks)
    dpi: float = 150
    alike: str = ""
    told: Told = field(default_factory=Told)
    by_scan: Mapping[str, Scanner] = field(default_factory=dict)
    seconds: Mapping[str, float] = field(default_factory=dict)
    finish: Callable[[str, Any], Any] | None = None
    earlier: Case | None = None
    word: Word = "sure"
    once: Word = "look again"
    first: Mapping[str, Scene] | None = None

    @property
    def at_first(self) -> Case:
        """The same with the scans of the first look only."""
        name = next(iter(self.scans))
        scans = {name: self.scans[name]} if self.first is None else self.first
        return replace(self, scans=scans, earlier=None, word=self.once)


def case(planted: str, *expected: str, small: bool = False, **rest: Any) -> Case:
    """A case of a scanner that is sound but for the fields named (those of Scanner)."""
    of_case = {key: rest.pop(key) for key in list(rest) if key in Case.__dataclass_fields__}
    scanner = Scanner("bench", **({"glass_mm": HALF} if small else {}) | rest)
    return Case(planted, scanner, expected, **of_case)


def warming(name: str, on_for_s: float) -> Scanner:
    """A cold-cathode scanner that calibrated once, when it was switched on."""
    lamp = Lamp(warm_up=0.08, settle_s=70.0, on_for_s=on_for_s, calibrated_at_s=20.0)
    return Scanner(name, glass_mm=HALF, lamp=lamp)


def cropped(name: str, pixels: Any) -> Any:
    """As software does that looks for the paper: the sheet alone, to within a millimetre."""
    return pixels[10:-12, 20:-14] if name == "bed-sheet" else pixels


DIRT = Streak(41.3, 150.0, -0.02)
STRIP = Streak(63.8, 130.0, 0.02)
SPECKS = (Dust((32.0, 48.0), 420.0, -0.3), Dust((70.5, 114.0), 300.0, -0.22))
MISSEATED = {
    "shear_deg": 0.45,
    "dead_margin_mm": {"left": 4.5},
    "shadows": {"left": Shadow(2.5)},
    "optics": Optics(35.0, 40.0, tilt=(1.0, 0.0), tilt_um=140.0),
}
COLD = {f"blank-{n + 1}": 20.0 + 25.0 * n for n in range(6)}

NEW = case("the same unit, new", small=True)
QUARTER, HALF_TURN = turned_blank(90.0), turned_blank(180.0)
PRINTED = bed(cut=False)  # printed edges alone: what the print does is not told from the scanner
CURLED = {
    name: CurledSheet(scene, side, 1.6)
    for (name, scene), side in zip(bed(turned=True).items(), ("right", "left"), strict=True)
}
BOOK = BookScene("left", lift_mm=4.0, length_mm=22.0)
COLD_LAMP = {
    "small": True, "scans": blanks(6, still=True), "seconds": COLD,
    "by_scan": {name: warming("cold", at) for name, at in COLD.items()},
}  # fmt: skip

SINGLE: tuple[Case, ...] = (
    case("dirt on the sensor window: dark line, 150 µm, 2 %", "moving-dirt", small=True,
         streaks=(DIRT,)),
    case("dirt on the white strip: bright line, 130 µm, 2 %", "white-strip-dirt", small=True,
         streaks=(STRIP,), alike="kept-calibration"),
    case("dead element: one pixel, 4 %, green only", "dead-element", small=True, dpi=200,
         streaks=(Streak(50.1, 127.0, -0.04, channels=("green",)),)),
    case("contact sensor, joins every 9 mm of 2 %", "segment-joins", small=True,
         sensor=Sensor(segments=Segments(9.0, 0.001, 0.02))),
    case("a line in the paper", "paper", small=True, word="quiet",
         scans={name: LinedPaper(scene, 40.0) for name, scene in blanks().items()}),
    case("two specks of dust on the glass", "glass-dust", small=True, marks=SPECKS, once="quiet"),
    case("a scratch of 14 mm in the glass", "glass-scratch", small=True, dpi=200, once="quiet",
         marks=(Scratch((30.0, 40.0), (38.0, 51.5), 120.0, 0.25),)),
    case("haze: 8 % of the light strays over 8 mm", "haze", haze=Haze(0.08),
         scans=blanks() | bed(), first=PRINTED),
    case("haze: 15 % over 14 mm, dark frame", "haze", haze=Haze(0.15, 14.0),
         scans=blanks() | bed(), first=PRINTED),
    case("shadow 4 mm deep at the left edge", "frame-shade", small=True,
         shadows={"left": Shadow(4.0)}),
    case("light source ends too soon: 12 % lost to the right over 40 mm", "light-falloff",
         small=True, falloff={"right": Falloff(0.12, 40.0)}, scans=blanks() | HALF_TURN),
    case("optics seated wrongly: 0.45° out of square, soft at the right, 4.5 mm lost at the left",
         "mis-seated", scans=blanks() | bed(turned=True) | strips(), dpi=200, first=bed(),
         **MISSEATED),
    case("worn lamp, 25 % of its light; one qualification only", "worn-lamp", small=True,
         lamp=Lamp(level=0.25), alike="weak-design", word="quiet", once="quiet"),
    case("worn lamp, 60 % of the light of an earlier check", "worn-lamp", small=True,
         lamp=Lamp(level=0.6), earlier=NEW, once="quiet", first=blanks()),
    case("cold lamp: 8 % missing at switching on, six blanks 25 s apart", "cold-lamp",
         earlier=case("the same, cold too", **COLD_LAMP), first=blanks(6, still=True), **COLD_LAMP),
    case("inverter flickers at 31 Hz by 0.6 %; time of a line given", "flicker", small=True,
         flicker=Flicker(0.006, 31.0), told=Told(line_time_ms=4.0), scans=blanks() | QUARTER),
    case("lamp flickers at twice the mains by 0.6 %; time of a line given", "flicker", small=True,
         flicker=Flicker(0.006, 100.0), line_time_s=0.0013, told=Told(line_time_ms=1.3),
         scans=blanks() | QUARTER),
    case("inverter flickers irregularly by 0.6 %", "flicker", small=True,
         flicker=Flicker(0.006, 25.0, wander=0.8), scans=blanks() | QUARTER),
    case("belt: bands of 0.6 % every 2.5 mm", "drive-steps", small=True,
         banding=Banding(0.006, 2.5), scans=blanks() | QUARTER),
    case("motor steps: bands of 0.6 % every 0.53 mm", "drive-steps", small=True,
         banding=Banding(0.006, 0.53), scans=blanks() | QUARTER),
    case("red and blue 0.5 px out of step along travel", "colour-lines", first=PRINTED,
         sensor=Sensor(red_px=(0.0, 0.5), blue_px=(0.0, -0.5)), scans=blanks() | bed()),
    case("out of focus all over: sigma 0.16 mm", "focus", dpi=200, first=PRINTED,
         optics=Optics(160.0, 160.0), scans=blanks() | bed()),
    case("tilted optics: soft at the right, sheet scanned twice, turned", "tilt", dpi=200,
         first=PRINTED, optics=Optics(tilt=(1.0, 0.0), tilt_um=120.0),
         scans=blanks() | bed(turned=True)),
    case("tilted optics, sheet scanned once", "tilt", dpi=200, alike="not-flat",
         word="look again", first=PRINTED,
         optics=Optics(tilt=(1.0, 0.0), tilt_um=120.0), scans=blanks() | bed()),
    case("the sheet curls off the glass at one end, scanned twice, turned", "not-flat", dpi=200,
         word="quiet", first={"bed-sheet": CURLED["bed-sheet"]},
         optics=Optics(focus_um_per_mm=150.0), scans=blanks() | CURLED),
    case("false dpi: 150 native, 300 delivered", "false-dpi", dpi=300, first=PRINTED,
         output=Output(native_dpi=(150.0, 150.0)), scans=bed() | strips()),
    case("false dpi along travel only: 150 native, 300 delivered", "false-dpi", dpi=300,
         first=PRINTED, output=Output(native_dpi=(300.0, 150.0)), scans=bed() | strips()),
    case("software sharpens by 80 %", "sharpening", dpi=200, once="sure", first=PRINTED,
         output=Output(sharpen=0.8), scans=blanks() | bed()),
    case("software stretches levels of the sheet", "levels", dpi=200, once="sure",
         output=Output(auto_levels=(0.01, 0.05)), scans=bed()),
    case("brightness too high: a third of the page at the top", "too-bright", once="sure",
         white_reflectance=0.845, scans=blanks() | bed(), first=PRINTED),
    case("software smooths grain by sigma 1 px", "smoothing", dpi=200, once="sure",
         output=Output(smooth_sigma_px=1.0), scans=blanks() | bed()),
    case("JPEG of quality 60 inside a lossless file", "compression", dpi=200, once="sure",
         output=Output(jpeg_quality=60), scans=blanks() | bed()),
    case("software crops the sheet", "cropping", scans=blanks() | bed(), finish=cropped,
         once="quiet"),
    case("rough print: edges wander by 22 µm", "bad-print", dpi=300, word="quiet", once="quiet",
         scans=bed(printer=Printer(edge_roughness_um=22.0), cut=False)),
    case("sheet printed 1.2 % too large, bars measured", "print-scale", word="quiet", once="quiet",
         scans=blanks() | bed(printer=Printer(1.012, 1.012, edge_roughness_um=5.0)),
         told=Told(bars_mm=(182.2, 182.2))),
    case("sheet printed 1.2 % too large, no rule", "print-scale", alike="wrong-scale",
         word="quiet", once="quiet",
         scans=blanks() | bed(printer=Printer(1.012, 1.012, edge_roughness_um=5.0))),
    case("scanner's scale off by 1.2 %, bars measured", "wrong-scale", word="quiet", once="quiet",
         scale_error=(0.012, 0.012), scans=blanks() | bed(),
         told=Told(bars_mm=(180.0, 180.0))),
    case("noisy electronics: read noise of 500 electrons, two dark scans", "noisy-electronics",
         small=True, sensor=Sensor(read_noise_e=500.0), word="quiet", once="quiet",
         scans=blanks() | {"dark-1": DarkScene(), "dark-2": DarkScene()}),
    case("a book that lifts 4 mm off the glass", "page-lift", lamp=Lamp(half_height_mm=6.0),
         first=blanks() | {"open-book": BOOK},
         scans=blanks() | {"open-book": BOOK, "open-book-again": BOOK}),
)  # fmt: skip

COMBINED: tuple[Case, ...] = (
    case("haze of 10 % and dirt on the sensor window", "moving-dirt", "haze", haze=Haze(0.1),
         streaks=(DIRT,), scans=blanks() | bed(), first=blanks(1) | PRINTED),
    case("out of focus, colours out of step and dust", "focus", "colour-lines", "glass-dust",
         dpi=200, optics=Optics(160.0, 160.0), marks=SPECKS, first=blanks(1) | PRINTED,
         sensor=Sensor(red_px=(0.0, 0.5), blue_px=(0.0, -0.5)), scans=blanks() | bed()),
    case("false dpi, sharpening and bands of the belt", "false-dpi", "sharpening", "drive-steps",
         dpi=300, output=Output(native_dpi=(150.0, 150.0), sharpen=1.2), once="sure",
         banding=Banding(0.006, 2.5), first=blanks(1) | PRINTED,
         scans=blanks() | turned_blank(90.0, A4) | bed() | strips()),
    case("cold lamp, dirt on the white strip and a shadow", "white-strip-dirt", "cold-lamp",
         "frame-shade", small=True, first=blanks(6, still=True), seconds=COLD | {"moved": 175.0},
         scans=blanks(6, still=True) | {"moved": blanks()["blank-2"]},
         by_scan={name: replace(warming("cold", at), streaks=(STRIP,),
                                shadows={"left": Shadow(4.0)})
                  for name, at in (COLD | {"moved": 175.0}).items()}),
)  # fmt: skip

ALL_SCANS = blanks() | bed(turned=True) | strips() | {"dark": DarkScene()}
HEALTHY: tuple[Case, ...] = tuple(
    replace(each, word="quiet", once="quiet")
    for each in (
        Case(
            "sound CCD unit: lens and lamp as new, 200 dpi",
            Scanner("ccd", dead_margin_mm={"left": 0.4, "right": 0.3, "top": 0.3},
                    shadows={"left": Shadow(0.4, strength=0.2)},
                    marks=(Dust((60.0, 90.0), 120.0, -0.1),)),
            (), ALL_SCANS, 200,
        ),
        Case("sound contact-sensor unit (wren), 200 dpi",
             replace(WREN, falloff={}, optics=Optics(22.0, 26.0, focus_um_per_mm=130.0)),
             (), ALL_SCANS, 200),
        Case(
            "cheap but honest: lens good for 3/4 of its 300 dpi, colours 0.2 px off, little light",
            Scanner("cheap", optics=Optics(52.0, 58.0), lamp=Lamp(level=0.4, vignetting=0.45),
                    falloff={"right": Falloff(0.02, 30.0)},
                    sensor=Sensor(full_well_e=40_000, column_pattern=0.001, red_px=(0.2, 0.1)),
                    haze=Haze(0.015), scale_error=(0.001, -0.002), shear_deg=0.03),
            (), ALL_SCANS, 300,
        ),
    )
)  # fmt: skip

CASES = SINGLE + COMBINED + HEALTHY
DEMO = (HERON, WREN)


# ------------------------------------------------------------------------------------ running


@dataclass(frozen=True)
class Answer:
    """What was said of a case."""

    record: Record

    @property
    def findings(self) -> tuple[Diagnosis, ...]:
        """Diagnoses whose causes were weighed, the gravest first."""
        return tuple(each for each in self.record.diagnoses if each.causes)

    @property
    def alarms(self) -> tuple[str, ...]:
        """First causes of warnings and faults."""
        return tuple(f.cause for f in self.findings if f.severity in ("warning", "fault"))

    @property
    def word(self) -> Word:
        """The gravest word: one that is sure, or one that asks to look again."""
        grave = [f for f in self.findings if f.severity in ("warning", "fault")]
        if any(f.confirmed for f in grave):
            return "sure"
        return "look again" if grave else "quiet"

    def faults_of_first_look(self, asked: Case) -> list[str]:
        """What is wrong with the answer at the first look; nothing if all is as expected."""
        wrong = [] if self.word == asked.once else [f"first look: {self.word}, not {asked.once}"]
        for found in self.findings:
            if found.cause in OF_THE_FILE:
                continue
            if found.severity == "fault" or (found.severity == "warning" and found.confirmed):
                wrong.append(f"first look is sure of {found.cause}")
            if not found.confirmed and "return" in found.action + found.check_next:
                wrong.append(f"first look asks to return it for {found.cause}")
        return wrong

    def faults_of(self, asked: Case) -> list[str]:
        """What is wrong with the answer, in words; nothing if all is as expected."""
        wrong = [] if self.word == asked.word else [f"{self.word}, not {asked.word}"]
        causes = [finding.cause for finding in self.findings]
        for cause in asked.expected:
            if cause not in causes:
                wrong.append(f"{cause} is not named")
        extra = [cause for cause in self.alarms if cause not in asked.expected]
        if extra:
            wrong.append(f"false alarm: {', '.join(extra)}")
        if asked.expected and causes and causes[0] not in asked.expected:
            wrong.append(f"first comes {causes[0]}")
        if asked.alike and asked.expected:
            name = CAUSES[asked.alike].name
            said = [f for f in self.findings if f.cause == asked.expected[0]]
            if not any(
                asked.alike in f.alike and "hardly tell it from" in f.unsure and name in f.unsure
                for f in said
            ):
                wrong.append(f"not said to be like {asked.alike}")
        return wrong


def answer(asked: Case, folder: Path) -> Answer:
    """Simulate, write, qualify."""
    earlier = None
    if asked.earlier is not None:
        before = folder / "earlier"
        before.mkdir()
        earlier = answer(asked.earlier, before).record
    told = replace(asked.told, earlier=earlier)
    found = qualify(write(asked, folder), scanner="bench", told=told)
    assert not found.record.rejected, found.record.rejected
    return Answer(found.record)


def write(asked: Case, folder: Path) -> list[Path]:
    """The scans of a case as TIFF files."""
    files = []
    for number, (name, scene) in enumerate(asked.scans.items()):
        scanner = asked.by_scan.get(name, asked.scanner)
        rng = np.random.default_rng([SEED, sum(asked.planted.encode()), number])
        simulated = scan(scene, scanner, dpi=asked.dpi, rng=rng)
        pixels = asked.finish(name, simulated.pixels) if asked.finish else simulated.pixels
        files.append(folder / f"{name}.tif")
        save_tiff(files[-1], pixels, simulated.dpi)
        at = 1_700_000_000 + asked.seconds.get(name, 60.0 * number)
        os.utime(files[-1], (at, at))
    return files


__all__ = ["CASES", "COMBINED", "HEALTHY", "SINGLE", "Answer", "Case", "answer", "write"]
