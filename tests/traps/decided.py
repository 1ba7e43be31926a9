"""How often a use gets a word, by set-up and unit, and that no word is wrong.

Run by hand (minutes for each unit)::

    python -m tests.traps.decided --write           # into tests/traps/decided.md
    python -m tests.traps.decided --units 3 --write  # as many units of each kind

The truth comes from the scanner's own parameters, not from the measures: its Gaussian optics and
pixel aperture give the response (closed form), its lines, falloff and colour shifts are given.
"""

from __future__ import annotations

import argparse
import math
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from scanqa.model import Told, UseVerdict
from scanqa.qualification import qualify
from scanqa.scans.save import save_tiff
from scanqa.simulate import one_thread, scan
from scanqa.simulate.device_faults import Streak
from scanqa.simulate.scanner import Optics, Scanner, Sensor
from scanqa.simulate.scenes import BlankScene, BookScene, Paper, Printer, Scene, SheetScene
from scanqa.words.of_uses import use_word
from tests.findings.faults import SHEET

TABLE = Path(__file__).with_suffix(".md")
DPI = 300.0
PAPER = Paper(seed=5)
SPINE = Told(book_edge="left")
LASER = Printer(edge_roughness_um=9.0)

SETUPS: dict[str, tuple[str, ...]] = {
    "two blanks": ("blank-1", "blank-2"),
    "with a plain sheet": ("blank-1", "blank-2", "plain"),
    "with an edge card": ("blank-1", "blank-2", "cut"),
    "everything": ("blank-1", "blank-2", "cut", "book-1", "book-2"),
}
USES = ("text", "fine line drawings", "halftone pictures", "covers", "bound pages to the spine")

HEAD = """# How often a use gets a word

Made by `python -m tests.traps.decided --write`; do not edit by hand. Simulated units at 300 dpi,
each with the scans of four set-ups. *word*: fit, limited or unfit; *two*: two neighbouring words,
the third excluded, with the scan that settles most; *open*: neither. Truth is the scanner's own
parameters: Gaussian optics and pixel aperture give the effective dpi in closed form, lines,
evenness and colour shifts are those that were set. A word is wrong if the truth gives another.

"""
WHY = """
What physics forbids:

- *Two blanks* show no edge: text and fine lines rest on effective dpi, bound pages on a book, so
  that only halftone pictures and covers can have a word: 2 of 5. A gross line alone makes text and
  fine lines unfit, too.
- *A plain sheet* adds printed edges, whose own blur is not known: they give "at least". A scanner
  that is sharp enough by them is *fit*; one that is not may be *fit or limited* until a cut edge
  tells.
- *An edge card* bounds the print's share but not what the paper's edge itself loses
  (published-values, light spread in paper); no book was laid: bound pages stay open, so that 4 of 5
  is the most.
- *Everything* holds a book too, laid twice; whether its pages come out rests on how they lift.
"""


@dataclass(frozen=True)
class Unit:
    """A scanner and the words that its parameters give."""

    kind: str
    scanner: Scanner
    truth: Mapping[str, str]


def effective_dpi(sigma_um: float) -> float:
    """Dpi whose half is the frequency at 10 % of response, at most the sampling's own.

    Gaussian exp(−2 π² σ² f²) times the aperture sinc(f p) of a square pixel of the pitch p
    (ISO 12233: the limiting resolution is where the response falls to 10 %).
    """
    pitch = 25.4 / DPI
    sigma = sigma_um / 1000

    def response(f: float) -> float:
        aperture = math.sin(math.pi * f * pitch) / (math.pi * f * pitch)
        return math.exp(-2 * (math.pi * sigma * f) ** 2) * aperture

    low, high = 1e-3, 1 / pitch * 0.999
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if response(middle) > 0.1 else (low, middle)
    return min(2 * low * 25.4, DPI)


def word(value: float, fit: float, limited: float, *, rising: bool) -> str:
    """The word that a true value has by the limits of ``uses.toml``."""
    sign = 1 if rising else -1
    return (
        "fit"
        if sign * (value - fit) >= 0
        else "limited"
        if sign * (value - limited) >= 0
        else "unfit"
    )


def worst(*words: str) -> str:
    """The worst of some words."""
    return max(words, key=("fit", "limited", "unfit").index)


def units(count: int) -> Iterator[Unit]:
    """Sound, mildly and gravely faulty ones; each next of a kind a little worse."""
    for n in range(count):
        for kind, sigma, line, shift in (
            ("sound", 24.0, 0.0, 0.05),
            ("mildly faulty", 62.0, 1.4, 0.3),
            ("gravely faulty", 175.0, 9.0, 1.6),
        ):
            sigma_um, line_percent = sigma * (1 + 0.05 * n), line * (1 + 0.1 * n)
            lines = (Streak(88.0, 300.0, -line_percent / 100),) if line else ()
            scanner = Scanner(
                "unit",
                optics=Optics(sigma_um, sigma_um),
                streaks=lines,
                sensor=Sensor(red_px=(0.0, shift), blue_px=(0.0, -shift)),
            )
            yield Unit(f"{kind} {n + 1}", scanner, _truth(sigma_um, line_percent, shift))


def _truth(sigma_um: float, line_percent: float, shift_px: float) -> dict[str, str]:
    dpi = effective_dpi(sigma_um)
    tones = word(line_percent, 0.5, 3, rising=False)
    return {
        "text": worst(word(dpi, 273, 123, rising=True), word(line_percent, 10, 50, rising=False)),
        "fine line drawings": worst(
            word(dpi, 256, 171, rising=True), word(line_percent, 5, 30, rising=False)
        ),
        "halftone pictures": worst(tones, word(shift_px, 0.8, 1.2, rising=False)),
        "covers": worst(tones, word(shift_px, 0.5, 1.0, rising=False)),
    }


def scenes() -> dict[str, Scene]:
    """Every scan of every set-up."""
    book = BookScene("left", lift_mm=1.0, length_mm=10.0)
    return {
        "blank-1": BlankScene(PAPER),
        "blank-2": BlankScene(PAPER, moved_mm=(3.2, -4.1), turn_deg=0.4),
        "plain": SheetScene(SHEET, (3.0, 1.4), 0.35, printer=LASER),
        "cut": SheetScene(SHEET, (3.0, 1.4), 0.35, printer=LASER, windows_cut=True),
        "book-1": book,
        "book-2": book,
    }


def verdicts(unit: Unit, folder: Path) -> Iterator[tuple[str, UseVerdict]]:
    """The verdicts of each set-up."""
    import numpy as np

    files = {}
    for at, (name, scene) in enumerate(scenes().items()):
        simulated = scan(scene, unit.scanner, dpi=DPI, rng=np.random.default_rng([9, at]))
        files[name] = folder / f"{name}.tif"
        save_tiff(files[name], simulated.pixels, simulated.dpi)
    for setup, names in SETUPS.items():
        found = qualify([files[name] for name in names], scanner="unit", told=SPINE).record
        print(unit.kind, setup, [use_word(use) for use in found.outcome.uses], flush=True)
        for use in found.outcome.uses:
            yield setup, use


def _is_wrong(unit: Unit, verdict: UseVerdict) -> bool:
    """Whether a word, or the exclusion of one, contradicts the truth where it is known.

    In set-ups that do not measure colour or evenness a word counts for what was measured: better
    than the truth by what was not measured is no error, worse is.
    """
    truth = unit.truth.get(verdict.use)
    said = verdict.between or (verdict.fitness,)
    if truth is None or said == ("not judged",) or truth in said:
        return False
    gap = any(each.value is None for each in verdict.conditions)
    order = ("fit", "limited", "unfit").index
    return not gap or min(map(order, said)) > order(truth)


def rows(count: int) -> Iterator[str]:
    """Lines of the table: shares of words, then each unit's words."""
    shares: dict[tuple[str, str], Counter[str]] = {}
    lines, wrong = [], 0
    for unit in units(count):
        with tempfile.TemporaryDirectory() as folder:
            found = list(verdicts(unit, Path(folder)))
        for setup in SETUPS:
            cells = []
            for use in (each for at, each in found if at == setup):
                kind = "word" if use.fitness != "not judged" else "two" if use.between else "open"
                key = setup, unit.kind.rpartition(" ")[0]
                shares.setdefault(key, Counter())[kind] += 1
                bad = _is_wrong(unit, use)
                wrong += bad
                cells.append(
                    use_word(use).replace("not judged", "open") + (" **wrong**" if bad else "")
                )
            lines.append(f"| {unit.kind} | {setup} | {' | '.join(cells)} |")
            print(lines[-1], flush=True)
    yield "| set-up | unit | word | two | open |\n| --- | --- | --- | --- | --- |"
    for (setup, kind), counts in sorted(shares.items()):
        total = sum(counts.values())
        parts = (f"{100 * counts[name] / total:.0f} %" for name in ("word", "two", "open"))
        yield f"| {setup} | {kind} | {' | '.join(parts)} |"
    for setup in SETUPS:
        every = sum((counts for (at, _), counts in shares.items() if at == setup), Counter())
        share = 100 * every["word"] / sum(every.values())
        yield f"\n{setup.capitalize()}: {share:.0f} % of {sum(every.values())} have a word."
    yield f"\nWrong words: {wrong}.\n\n| unit | set-up | {' | '.join(USES)} |"
    yield "| --- | --- | --- | --- | --- | --- | --- |"
    yield from lines


def main(given: Sequence[str] | None = None) -> int:
    """Run, print, write; 1 if a word is wrong."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--units", type=int, default=1, help="of each kind")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args(given)
    one_thread()
    text = "\n".join(rows(options.units))
    print(text)
    if options.write:
        TABLE.write_text(f"{HEAD}{text}\n{WHY}", "utf-8")
    return int("**wrong**" in text)


if __name__ == "__main__":
    sys.exit(main())
