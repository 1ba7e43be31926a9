"""How often one unit is said to differ from itself, with other paper, print and laying.

Run by hand (each unit some two minutes; both write their part of equals.md)::

    python -m tests.coverage.equals 6 --write        # 6 units, 36 pairs of checks of each
    python -m tests.coverage.equals 13 blur --write  # an 8 % blurrier unit, on one rough print

Each check: two blanks of a paper of its own, a black card, a printed sheet and strips laid anew.
All that compares is compared, the family-wise error being that of `compare` (5 %). The checks of a
unit are paired crosswise: pairs of one unit are not independent of each other, units are. So the
share of units beside the share of pairs.
"""

from __future__ import annotations

import argparse
import itertools
import re
import sys
from collections import Counter
from dataclasses import replace
from pathlib import Path

import numpy as np

from scanqa.model import Told
from scanqa.records.comparison import compare
from scanqa.sheets import sheet
from scanqa.simulate import one_thread
from scanqa.simulate.device_faults import Falloff, Shadow
from scanqa.simulate.scanner import Output
from scanqa.simulate.scenes import BlankScene, DarkScene, SheetScene, StripsScene
from tests.coverage.hard import drawn, measured, moved, paper, printer, scanned
from tests.records.builders import facts, qualification

TABLE = Path(__file__).with_name("equals.md")
HEAD = """# Is a unit said to differ from itself?

Made by `python -m tests.coverage.equals N [blur] --write`; do not edit by hand. Checks of a unit
are paired crosswise, so that pairs of one unit are not independent; units are.

"""
SEED = 34
GLASS_MM = (216.0, 300.0)
SHEET, STRIPS = sheet("bed-sheet-a4"), sheet("edge-strip-a4")
HUNG = dict(zip((piece.name for piece in STRIPS.pieces), ("left", "top"), strict=False))
FAMILIES = (
    "streaks", "banding", "shading", "edges", "noise", "tone", "colour", "geometry", "glass",
    "veil",
)  # fmt: skip
ROUGH_UM = 25.0
BLURRIER = 1.08


def unit_of(rng):
    """A unit whose driver leaves its scans alone."""
    at = drawn(rng, dpi=(100,))
    at = replace(at, output=Output())
    unit = at.scanner(
        glass_mm=GLASS_MM,
        shadows={"left": Shadow(float(rng.uniform(1, 4)), float(rng.uniform(0.2, 0.5)))},
        falloff={"right": Falloff(float(rng.uniform(0.01, 0.05)), float(rng.uniform(20, 50)))},
        dead_margin_mm={"left": float(rng.uniform(0.3, 3)), "top": 0.4},
    )
    return at, unit


def check(at, unit, rng, *, families=FAMILIES, print_label="", own_print=None):
    """One check of a unit, with paper, print and laying of its own."""
    at = replace(
        at, paper=paper(rng, float(rng.uniform(0.72, 0.88)), float(rng.uniform(0, 0.1))),
        printer=own_print or printer(rng),
    )  # fmt: skip
    corner = (float(rng.uniform(1, 4)), float(rng.uniform(0.5, 1.5)))
    scenes = {
        "bed-sheet": SheetScene(
            SHEET, corner, float(rng.uniform(-0.7, 0.7)), paper=at.paper, printer=at.printer
        )
    }
    if families is FAMILIES:
        scenes |= {
            "blank-1": BlankScene(at.paper),
            "blank-2": BlankScene(at.paper, **moved(rng)),
            "dark": DarkScene(),
            "edge-strips": StripsScene(STRIPS, HUNG, paper=at.paper, printer=at.printer),
        }
    placements, scans = [], []
    for name, scene in scenes.items():
        found, _ = scanned(scene, unit, at, name)
        placements += found
        scans.append(
            facts(file=f"{name}.tif", role=found[0].role, dpi=(at.dpi, at.dpi), sha256=name)
        )
    found = measured(placements, Told(print_label=print_label), *families)
    options = {"print": print_label} if print_label else {}
    return qualification(scans, scanner=unit.name, measures=found.measurements, options=options)


def false_claims(number: int, laid: int = 9) -> str:
    """Checks of one unit in pairs, and what is claimed of them."""
    pairs, claimed, units, rows, what = 0, 0, 0, 0, Counter()
    for unit_number in range(number):
        rng = np.random.default_rng([SEED, unit_number])
        at, unit = unit_of(rng)
        checks = [check(at, unit, rng) for _ in range(laid)]
        before = claimed
        for one, other in itertools.combinations(checks, 2):
            result = compare([one], [replace(other, scanner="other")], names=("one", "other"))
            said = [r for r in result.rows if "better" in r.verdict or r.verdict == "different"]
            rows += sum(r.difference is not None for r in result.rows)
            pairs, claimed = pairs + 1, claimed + bool(said)
            what.update(r.key.name for r in said)
            for r in said:
                print(f"  {r.key.name} {r.difference:+.3g} ({r.low:.3g} to {r.high:.3g})")
        units += claimed > before
        print(f"{unit_number}: {claimed} of {pairs} pairs", flush=True)
    names = ", ".join(f"`{name}` {count}" for name, count in what.most_common()) or "none"
    return (
        f"One unit against itself, other paper, print and laying: {claimed} of {pairs} pairs "
        f"({100 * claimed / pairs:.1f} %, at most 5 %) with a false difference, in {units} of "
        f"{number} units; {rows / pairs:.0f} values compared a pair; claimed: {names}."
    )


def blur_found(number: int, laid: int = 4) -> str:
    """Two units on one rough print laid anew each time, the second's SFR50 8 % lower.

    Their files state their curves; of every fifth pair of units they do not.
    """
    pairs, told = Counter(), Counter()
    how = {"families": ("sharpness",), "print_label": "one sheet"}
    for unit_number in range(number):
        rng = np.random.default_rng([SEED, 1, unit_number])
        at, unit = unit_of(rng)
        at = replace(at, curve=None if unit_number % 5 == 4 else "srgb")
        sigma = at.optics.blur_across_um
        pixel = 25400 / at.dpi / np.sqrt(12)  # the aperture's own blur, which both have
        wider = float(np.sqrt((BLURRIER * np.hypot(sigma, pixel)) ** 2 - pixel**2))
        how["own_print"] = replace(printer(rng), edge_roughness_um=ROUGH_UM)
        sharp, soft = (
            [
                check(
                    at,
                    replace(
                        unit,
                        optics=replace(at.optics, blur_across_um=blur, blur_travel_um=blur),
                    ),
                    rng,
                    **how,
                )
                for _ in range(laid)
            ]
            for blur in (sigma, wider)
        )
        for one, other in itertools.product(sharp, soft):
            result = compare([one], [replace(other, scanner="other")])
            better = {r.key.direction for r in result.rows if r.verdict == "first is better"
                      and r.key.name == "sharpness.sheet_sfr50"}  # fmt: skip
            pairs[at.curve], told[at.curve] = pairs[at.curve] + 1, told[at.curve] + bool(better)
        print(f"{unit_number}: {dict(told)} of {dict(pairs)}", flush=True)
    return (
        f"A unit that is {100 * BLURRIER - 100:.0f} % blurrier, both on one print rough by "
        f"{ROUGH_UM:.0f} µm, laid anew: found in {told['srgb']} of {pairs['srgb']} pairs whose "
        f"files state their curve, in {told[None]} of {pairs[None]} where both curves are assumed: "
        "two scanners may have two, and 8 % of blur may be one of them."
    )


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.coverage.equals", description=__doc__)
    parser.add_argument("units", type=int, nargs="?", default=4)
    parser.add_argument("what", nargs="?", choices=["equals", "blur"], default="equals")
    parser.add_argument("--write", action="store_true")
    options = parser.parse_args()
    one_thread()
    said = {"equals": false_claims, "blur": blur_found}[options.what](options.units)
    print(said)
    if options.write:
        old = TABLE.read_text("utf-8") if TABLE.exists() else ""
        parts = dict(re.findall(r"^<!-- (\w+) -->\n(.*)$", old, re.MULTILINE)) | {
            options.what: said
        }
        body = "\n".join(f"<!-- {name} -->\n{parts[name]}\n" for name in sorted(parts))
        TABLE.write_text(HEAD + body, "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
