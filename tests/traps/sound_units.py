"""Sound units behind ugly paper: no fault, no warning about the unit, no page for a seller.

Run by hand (some minutes)::

    python -m tests.traps.sound_units --write    # 200 sets, into sound_units.md beside it
    python -m tests.traps.sound_units --sets 20

Each set is one sheet on a small sound scanner, scanned twice, moved between. The papers are painted
here, each with random numbers of its own: they share no code with the measures.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np

from scanqa.qualification import qualify
from scanqa.report.evidence import worth_a_page
from scanqa.simulate import one_thread
from scanqa.simulate.scanner import Scanner
from scanqa.simulate.scenes import BlankScene, Paper
from tests.traps.scenes import Box, MarkedPaper, flecks, lines_across, lines_along, written

TABLE = Path(__file__).with_suffix(".md")
GLASS = (84.0, 110.0)
DPI = 150.0
Boxes = tuple[tuple[Box, float], ...]


def _crease(rng: np.random.Generator) -> Boxes:
    y = float(rng.uniform(20, 90))
    return (((-300.0, y, 400.0, y + 0.3), float(rng.uniform(0.94, 0.985))),)


def _line(rng: np.random.Generator) -> Boxes:
    x = float(rng.uniform(15, 70))
    return (((x, -300.0, x + 0.2, 500.0), float(rng.uniform(0.94, 0.99))),)


def _pen(rng: np.random.Generator) -> Boxes:
    x, y = float(rng.uniform(15, 70)), float(rng.uniform(10, 40))
    return (((x, y, x + 0.35, y + float(rng.uniform(10, 50))), 0.3),)


PAPERS: dict[str, Callable[[np.random.Generator], tuple[Paper, Boxes]]] = {
    "recycled, flecks": lambda rng: (_plain(rng), flecks(300, int(rng.integers(1 << 30)))),
    "laid, chain lines": lambda rng: (
        _plain(rng), lines_along(float(rng.uniform(22, 28)), 0.4, float(rng.uniform(0.985, 0.995))),
    ),
    "laid, wire lines": lambda rng: (
        _plain(rng), lines_across(float(rng.uniform(1, 2.5)), 0.5, float(rng.uniform(0.99, 0.997))),
    ),
    "cloudy": lambda rng: (
        Paper(texture=float(rng.uniform(0.01, 0.025)), cloud_mm=float(rng.uniform(1, 3)),
              seed=int(rng.integers(1 << 30))), (),
    ),
    "faint ruling": lambda rng: (
        _plain(rng), lines_across(float(rng.uniform(5, 10)), 0.25, float(rng.uniform(0.97, 0.99))),
    ),
    "a line down it": lambda rng: (_plain(rng), _line(rng)),
    "a crease": lambda rng: (_plain(rng), _crease(rng)),
    "a stroke of a pen": lambda rng: (_plain(rng), _pen(rng)),
}  # fmt: skip


def _plain(rng: np.random.Generator) -> Paper:
    return Paper(texture=float(rng.uniform(0.003, 0.008)), seed=int(rng.integers(1 << 30)))


def words(seed: int, name: str, folder: Path) -> Iterator[str]:
    """What is said of one set that must not be."""
    rng = np.random.default_rng([4711, seed])
    paper, boxes = PAPERS[name](rng)
    away = (float(rng.uniform(2, 8)), float(rng.uniform(-8, -2)))
    ways = (BlankScene(paper), BlankScene(paper, moved_mm=away, turn_deg=float(rng.uniform(-1, 1))))
    laid = {f"blank-{at}": MarkedPaper(way, boxes) for at, way in enumerate(ways, 1)}
    make = written(dict(laid), Scanner("sound", glass_mm=GLASS), dpi=DPI, seed=seed)
    record = qualify(list(make(folder)), scanner="sound").record
    for found in record.diagnoses:
        if found.severity in ("fault", "warning"):
            sure = "sure" if found.confirmed else "look again"
            yield f"{found.severity} ({sure}): {found.cause}"
    if worth_a_page(record):
        yield "seller's page"


def main() -> int:
    """Run, print, write; 1 if anything was said that must not be."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--sets", type=int, default=200)
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args()
    one_thread()
    said: Counter[tuple[str, str]] = Counter()
    sets: Counter[str] = Counter()
    for seed in range(options.sets):
        name = list(PAPERS)[seed % len(PAPERS)]
        sets[name] += 1
        with tempfile.TemporaryDirectory() as folder:
            for each in words(seed, name, Path(folder)):
                said[name, each] += 1
                print(seed, name, each, flush=True)
    lines = [f"| {name} | {count} | {_words_of(name, said)} |" for name, count in sets.items()]
    text = "\n".join(("| paper | sets | said of the unit |", "| --- | --- | --- |", *lines))
    wrong = sum(said.values())
    text += f"\n\n{options.sets} sets, {wrong} words about the unit.\n"
    print(text)
    if options.write:
        TABLE.write_text(f"{HEAD}{text}", "utf-8")
    return int(wrong > 0)


def _words_of(name: str, said: Counter[tuple[str, str]]) -> str:
    mine = [f"{count} × {words}" for (paper, words), count in said.items() if paper == name]
    return ", ".join(mine) or "nothing"


HEAD = """# Sound units behind ugly paper

Made by `python -m tests.traps.sound_units --write`; do not edit by hand. One sheet, scanned twice,
moved by some millimetres and turned by up to a degree between, on a sound scanner at 150 dpi. No
fault, no warning about the unit and no page for a seller may come of it.

"""

if __name__ == "__main__":
    sys.exit(main())
