"""Second looks: a fault is stated only once a scan differs in what else could be the cause."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

from scanqa.model import Told
from scanqa.simulate.device_faults import Banding, Dust, Falloff, Flicker, Shadow, Streak
from scanqa.simulate.scanner import Lamp, Output, Scanner, Sensor
from scanqa.simulate.scenes import Paper
from tests.findings.faults import PRINTED, bed
from tests.traps.case import Case
from tests.traps.scenes import (
    GLASS,
    PAPER,
    Box,
    flecks,
    lines_across,
    lines_along,
    scans,
    written,
)

SOUND = Scanner("bench", glass_mm=GLASS)
DARK_LINE = replace(SOUND, streaks=(Streak(41.3, 150.0, -0.03),))
BRIGHT_LINE = replace(SOUND, streaks=(Streak(63.8, 300.0, 0.03),))
BANDS = replace(SOUND, banding=Banding(0.006, 2.5))
FLICKERS = replace(SOUND, flicker=Flicker(0.006, 31.0))
DEEP = replace(SOUND, shadows={"left": Shadow(14.0)})
FALLS = replace(SOUND, falloff={"right": Falloff(0.12, 40.0)})
ELEMENT = replace(SOUND, streaks=(Streak(50.1, 127.0, -0.06, channels=("green",)),))
SPECK = replace(SOUND, marks=(Dust((32.0, 48.0), 420.0, -0.3),))
FAINT = replace(SOUND, lamp=Lamp(level=0.2))
GROSS = replace(SOUND, streaks=(Streak(41.3, 400.0, -0.12),))
FALSE_DPI = Scanner("bench", output=Output(native_dpi=(150.0, 150.0)))
OUT_OF_STEP = Scanner("bench", sensor=Sensor(red_px=(0.0, 0.5), blue_px=(0.0, -0.5)))

NO_ALARM = ("severity:fault", "severity:warning", "seller", "sure:moving-dirt", "sure:drive-steps")
NO_FAULT = ("severity:fault", "seller")
WAYS = ("first", "moved")


def copied(make: Callable[[Path], Sequence[Path]]) -> Callable[[Path], Sequence[Path]]:
    """The one scan twice, under two names."""

    def twice(folder: Path) -> Sequence[Path]:
        (file,) = make(folder)
        return file, Path(shutil.copy(file, folder / "again.tif"))

    return twice


def ugly(name: str, boxes: tuple[tuple[Box, float], ...], paper: Paper = PAPER) -> Case:
    """A sound unit behind paper that is not plain."""
    return Case(
        f"a sound unit, {name}",
        scans(WAYS, boxes=boxes, scanner=SOUND, paper=paper),
        NO_ALARM,
        ("role:blank",),
        fast=False,
    )


# Browned by up to 12 % over the last 40 mm, in steps of 2 mm.
BROWNED = tuple(
    ((68.0 + 2 * n, -300.0, 70.0 + 2 * n if n < 19 else 400.0, 500.0), 1 - 0.006 * (n + 1))
    for n in range(20)
)

CASES = [
    # ------------------------------------------------------------------------------- lines, marks
    Case("a dark line of the unit, one blank", scans(("first",), scanner=DARK_LINE),
         (*NO_FAULT, "sure:*"), ("look:paper-moved",), fast=True),
    Case("a dark line of the unit, two blanks, the paper moved", scans(WAYS, scanner=DARK_LINE),
         ("look:*",), ("sure:moving-dirt", "fault:moving-dirt"), fast=True),
    Case("a dark line of the unit, two blanks, the paper not moved",
         scans(("first", "first"), scanner=DARK_LINE), (*NO_FAULT, "sure:*"),
         ("look:paper-moved",), fast=True),
    Case("a dark line of the unit, the same file twice",
         copied(scans(("first",), scanner=DARK_LINE)), (*NO_FAULT, "sure:*"),
         ("look:paper-moved",)),
    Case("a dark line of the unit, the paper turned by half",
         scans(("first", "half"), scanner=DARK_LINE), ("look:*",), ("sure:moving-dirt",)),
    Case("a bright line of the unit, one blank", scans(("first",), scanner=BRIGHT_LINE),
         (*NO_FAULT, "sure:*"), ("look:paper-moved",)),
    Case("a bright line of the unit, two blanks, the paper moved",
         scans(WAYS, scanner=BRIGHT_LINE), ("sure:dead-element",), ("sure:white-strip-dirt",)),
    Case("a dead element, one blank", scans(("first",), scanner=ELEMENT, dpi=200),
         (*NO_FAULT, "sure:*"), ("look:paper-moved",)),
    Case("a dead element, two blanks, the paper moved", scans(WAYS, scanner=ELEMENT, dpi=200),
         ("cause:white-strip-dirt",), ("fault:dead-element",)),
    Case("a speck on the glass, one blank", scans(("first",), scanner=SPECK), NO_FAULT,
         ("measure:glass.marks:not-measurable",)),
    Case("a speck on the glass, two blanks, the paper moved", scans(WAYS, scanner=SPECK),
         ("severity:fault",), ("sure:glass-dust",), fast=True),
    # -------------------------------------------------------------------------------- bands, light
    Case("bands of the drive, one blank", scans(("first",), scanner=BANDS),
         (*NO_FAULT, "sure:*"), ("look:paper-turned",), fast=True),
    Case("bands of the drive, two blanks, the paper moved", scans(WAYS, scanner=BANDS),
         (*NO_FAULT, "sure:*"), ("look:paper-turned",)),
    Case("bands of the drive, the paper turned by a quarter",
         scans((*WAYS, "quarter"), scanner=BANDS), ("look:*",), ("sure:drive-steps",), fast=True),
    Case("bands of the drive, the paper turned by half", scans(("first", "half"), scanner=BANDS),
         (*NO_FAULT, "sure:*"), ("look:paper-turned",)),
    Case("flicker of the light, two blanks, the paper moved", scans(WAYS, scanner=FLICKERS),
         (*NO_FAULT, "sure:*"), ("look:paper-turned",), told=Told(line_time_ms=4.0)),
    Case("flicker of the light, the paper turned by a quarter",
         scans((*WAYS, "quarter"), scanner=FLICKERS), ("look:*",), ("sure:flicker",),
         told=Told(line_time_ms=4.0)),
    Case("a shadow of 14 mm, one blank", scans(("first",), scanner=DEEP),
         (*NO_FAULT, "sure:*"), ("look:*",)),
    Case("a shadow of 14 mm, two blanks, the paper moved", scans(WAYS, scanner=DEEP), (),
         ("fault:*",)),
    Case("light that falls off to one side, two blanks, the paper moved",
         scans(WAYS, scanner=FALLS), ("severity:fault",),
         ("warning:light-falloff",)),
    Case("light that falls off to one side, the paper turned by half",
         scans((*WAYS, "half"), scanner=FALLS), ("look:*",), ("sure:light-falloff",)),
    Case("a fifth of the light, no earlier check", scans(WAYS, scanner=FAINT),
         ("severity:fault", "sure:worn-lamp", "seller"), ("cause:*",)),
    # ------------------------------------------------------------------------------- ugly paper
    ugly("a line down the paper, moved", (((40.0, -300.0, 40.2, 500.0), 0.97),)),
    ugly("a crease across the paper, moved", (((-300.0, 70.0, 400.0, 70.3), 0.96),)),
    # Strokes of a pen raise what is taken for grain: that may ask for another look, no more.
    Case("a sound unit, a stroke of a pen of 60 mm, moved",
         scans(WAYS, boxes=(((52.0, 30.0, 52.4, 90.0), 0.3),), scanner=SOUND),
         (*NO_FAULT, "sure:*"), ("note:paper",)),
    Case("a sound unit, paper browned toward its right edge, moved",
         scans(WAYS, boxes=BROWNED, scanner=SOUND), (*NO_FAULT, "sure:*"), ("role:blank",)),
    ugly("chain lines every 25 mm, moved", lines_along(25.0, 0.4, 0.99)),
    ugly("faint ruling every 8 mm, moved", lines_across(8.0, 0.25, 0.985)),
    ugly("400 flecks, moved", flecks(400, 3)),
    ugly("cloudy formation, moved", (), paper=replace(PAPER, texture=0.02, cloud_mm=2.5)),
    Case("a sound unit, wire lines of laid paper every 2.5 mm, moved",
         scans(WAYS, boxes=lines_across(2.5, 1.2, 0.988), scanner=SOUND),
         (*NO_FAULT, "sure:*"), ("role:blank",)),
    # The quarter turn shows that nothing of it is the scanner's: there is nothing to note.
    Case("a sound unit, wire lines of laid paper every 2.5 mm, turned by a quarter",
         scans(("first", "quarter"), boxes=lines_across(2.5, 1.2, 0.988), scanner=SOUND),
         (*NO_ALARM, "cause:drive-steps", "cause:flicker"), ("role:blank",)),
    # ------------------------------------------------------------------------------------ sheets
    Case("made-up dpi, the bed sheet alone", written(PRINTED, FALSE_DPI, dpi=300),
         (*NO_FAULT, "sure:false-dpi"), ("look:another-original",)),
    Case("colours out of step, printed edges alone", written(PRINTED, OUT_OF_STEP, dpi=150),
         (*NO_FAULT, "sure:colour-lines"), ("look:another-edge",)),
    Case("colours out of step, printed and cut edges", written(bed(), OUT_OF_STEP, dpi=150),
         ("look:another-edge",), ("sure:colour-lines",)),
    # -------------------------------------------------------------------------------------- uses
    Case("a sound unit, two blanks: no word on text and books",
         scans(WAYS, scanner=SOUND), (*NO_ALARM, "outcome:fit", "use:text:fit"),
         ("outcome:partly judged", "use:halftone pictures:fit", "use:covers:fit",
          "use:bound pages to the spine:not judged"), fast=True),
    Case("a line of 12 %, two blanks: covers are unfit whatever else is",
         scans(WAYS, scanner=GROSS), ("outcome:fit", "outcome:unfit"),
         ("use:covers:unfit", "use:halftone pictures:unfit", "outcome:partly judged")),
    Case("a line of 12 %, one blank: it may be the paper's",
         scans(("first",), scanner=GROSS), (*NO_FAULT, "use:covers:unfit", "use:covers:fit"),
         ("look:paper-moved",)),
]  # fmt: skip
