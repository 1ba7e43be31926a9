"""How often one unit is said to differ from itself, with other paper, print and laying.

Run by hand::

    python -m tests.coverage.equals 40      # pairs; some half minute each
    python -m tests.coverage.equals 20 blur # a second unit, 8 % blurrier, on one rough print

Each side is one check: two blanks of a paper of its own, a black card, a printed sheet and strips
laid anew. All that compares is compared, the family-wise error being that of `compare` (5 %).
"""

from __future__ import annotations

import sys
from collections import Counter
from dataclasses import replace

import numpy as np

from scanqa.model import Told
from scanqa.records.comparison import compare
from scanqa.sheets import sheet
from scanqa.simulate.device_faults import Falloff, Shadow
from scanqa.simulate.scanner import Output
from scanqa.simulate.scenes import BlankScene, DarkScene, SheetScene, StripsScene
from tests.coverage.hard import drawn, measured, moved, paper, printer, scanned
from tests.records.builders import facts, qualification

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


def false_claims(pairs: int) -> None:
    """Pairs of checks of one unit, and what is claimed of them."""
    claimed, rows, what = 0, 0, Counter()
    for number in range(pairs):
        rng = np.random.default_rng([SEED, number])
        at, unit = unit_of(rng)
        one, other = (check(at, unit, rng) for _ in range(2))
        result = compare([one], [replace(other, scanner="other")], names=("one", "other"))
        said = [r for r in result.rows if "better" in r.verdict or r.verdict == "different"]
        rows += sum(r.difference is not None for r in result.rows)
        claimed += bool(said)
        what.update(r.key.name for r in said)
        words = [f"{r.key.name} {r.difference:+.3g} ({r.low:.3g} to {r.high:.3g})" for r in said]
        print(number, *words, sep="; ", flush=True)
    print(f"{claimed} of {pairs} pairs with a false difference, {rows} rows compared: {dict(what)}")


def blur_found(pairs: int) -> None:
    """Two units on one rough print, the second with an SFR50 that is 8 % lower."""
    told = 0
    for number in range(pairs):
        rng = np.random.default_rng([SEED, 1, number])
        at, unit = unit_of(rng)
        sigma = at.optics.blur_across_um
        pixel = 25400 / at.dpi / np.sqrt(12)  # the aperture's own blur, which both have
        wider = np.sqrt((BLURRIER * np.hypot(sigma, pixel)) ** 2 - pixel**2)
        optics = replace(at.optics, blur_across_um=float(wider), blur_travel_um=float(wider))
        sharp = replace(unit, optics=replace(at.optics, blur_travel_um=sigma))
        rough = replace(printer(rng), edge_roughness_um=ROUGH_UM)
        how = {"families": ("sharpness",), "print_label": "one sheet", "own_print": rough}
        one = check(at, sharp, rng, **how)
        other = check(at, replace(unit, optics=optics), rng, **how)
        result = compare([one], [replace(other, scanner="other")])
        rows = [r for r in result.rows if r.key.name == "sharpness.sfr50"]
        told += any(r.verdict == "first is better" for r in rows)
        print(number, *(f"{r.key.direction} {r.key.edge_kind} {r.verdict} {r.gap}" for r in rows),
              sep="; ", flush=True)  # fmt: skip
    print(f"{told} of {pairs} found")


if __name__ == "__main__":
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    (blur_found if "blur" in sys.argv[2:] else false_claims)(number)
