"""Sound units behind ugly paper: no fault, no warning about the unit, no page for a seller.

Run by hand (some minutes)::

    python -m tests.traps.sound_units --write    # 200 sets, into sound_units.md beside it
    python -m tests.traps.sound_units --sets 20 --first 200

Each set is one sheet on a small sound scanner, scanned twice and laid otherwise the second time.
Every paper is laid in every way; dpi, shade, file and size of the sheet are drawn at random for
each set. The scanner of the simulator is sound, so that whatever is said of it is wrong.
"""

from __future__ import annotations

import argparse
import struct
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

from scanqa.qualification import qualify
from scanqa.report.evidence.seller_page import worth_a_page
from scanqa.scans.save import save_tiff
from scanqa.simulate import one_thread, scan
from scanqa.simulate.scanner import Scanner
from scanqa.simulate.scenes import BlankScene, Paper
from scanqa.simulate.ugly_paper import Clouds, Feature, Flecks, Lines, Stroke, Watermark
from tests.traps.scenes import Box, MarkedPaper

TABLE = Path(__file__).with_suffix(".md")
GLASS = (84.0, 110.0)
Features = tuple[Feature, ...]
Random = np.random.Generator


def _flecks(rng: Random) -> Features:
    most = float(rng.uniform(-0.5, -0.2))
    return (Flecks(float(rng.uniform(2, 15)), (0.15, 0.5), (-0.05, most)),)


def _laid(rng: Random) -> Features:
    """Chain lines down the sheet and wire lines over it, or the other way about."""
    down = bool(rng.integers(2))
    chain = Lines(float(rng.uniform(22, 28)), 0.8, float(rng.uniform(-0.015, -0.005)), down=down,
                  wander_mm=float(rng.uniform(0, 0.4)))  # fmt: skip
    wire = Lines(float(rng.uniform(0.9, 2.2)), 0.4, float(rng.uniform(-0.01, -0.003)),
                 down=not down)  # fmt: skip
    return chain, wire


def _clouds(rng: Random) -> Features:
    return (Clouds(float(rng.uniform(0.006, 0.025)), float(rng.uniform(1, 6))),)


def _ruling(rng: Random) -> Features:
    down = bool(rng.integers(2))
    return (Lines(float(rng.uniform(5, 10)), 0.25, float(rng.uniform(-0.03, -0.008)), down=down),)


def _squares(rng: Random) -> Features:
    pitch, contrast = 5.0, float(rng.uniform(-0.03, -0.008))
    return Lines(pitch, 0.2, contrast), Lines(pitch, 0.2, contrast, down=False)


def _watermark(rng: Random) -> Features:
    at = float(rng.uniform(20, 60)), float(rng.uniform(30, 80))
    return (Watermark(at, float(rng.uniform(8, 25)), 1.5, float(rng.uniform(-0.02, 0.02))),)


def _crease(rng: Random) -> Features:
    """From one side of the sheet to the other, along or across it, more or less straight."""
    at, lean = float(rng.uniform(20, 64)), float(rng.uniform(-6, 6) * rng.integers(2))
    ends = (at, -200.0), (at + lean, 320.0)
    if rng.integers(2):
        ends = (-200.0, at), (320.0, at + lean)
    return (Stroke(*ends, 0.4, float(rng.uniform(-0.06, -0.015)), float(rng.uniform(0, 0.03))),)


def _pen(rng: Random) -> Features:
    x, y, lean = float(rng.uniform(15, 70)), float(rng.uniform(10, 40)), float(rng.uniform(-3, 3))
    return (Stroke((x, y), (x + lean, y + float(rng.uniform(10, 60))), 0.4, -0.5),)


def _line(rng: Random) -> Features:
    """One straight line down the whole of the sheet."""
    x = float(rng.uniform(15, 70))
    return (Stroke((x, -200.0), (x, 320.0), 0.25, float(rng.uniform(-0.05, -0.01))),)


def _much(rng: Random) -> Features:
    """Old recycled stock: flecks and clouds together."""
    return (*_flecks(rng), *_clouds(rng))


PAPERS: dict[str, Callable[[Random], Features]] = {
    "recycled, flecks": _flecks,
    "laid, chain and wire lines": _laid,
    "cloudy formation": _clouds,
    "faint ruling": _ruling,
    "faint squares": _squares,
    "watermark": _watermark,
    "a crease": _crease,
    "a stroke of a pen": _pen,
    "a line down it": _line,
    "flecks and clouds": _much,
}
WAYS = ("moved", "turned by half", "turned by a quarter", "askew by 1 to 3°")
SHADES = {
    "white": (0.84, (1.0, 0.995, 0.985)),
    "grey": (0.6, (1.0, 0.99, 0.98)),
    "yellowed": (0.76, (1.0, 0.95, 0.84)),
}


@dataclass(frozen=True)
class Set:
    """How a sheet was scanned twice."""

    paper: str
    way: str
    dpi: int
    shade: str
    quality: int | None  # of JPEG
    as_tiff: bool
    whole: bool  # whether the sheet covers the glass

    @property
    def words(self) -> tuple[str, ...]:
        """What the table counts by."""
        file = "TIFF" if self.quality is None else "JPEG in TIFF" if self.as_tiff else "JPEG"
        size = "covers the glass" if self.whole else "smaller than the glass"
        return self.paper, self.way, f"{self.dpi} dpi", self.shade, file, size


def drawn(seed: int) -> tuple[Set, Random]:
    """A set by its number: paper and way in turn, the rest at random."""
    rng = np.random.default_rng([4711, seed])
    quality = int(rng.integers(75, 93)) if rng.random() < 0.4 else None
    one = Set(
        paper=list(PAPERS)[seed % len(PAPERS)],
        way=WAYS[seed // len(PAPERS) % len(WAYS)],
        dpi=300 if rng.random() < 0.3 else 150,
        shade=list(SHADES)[int(rng.integers(3))],
        quality=quality,
        as_tiff=quality is None or rng.random() < 0.4,
        whole=rng.random() < 0.75,
    )
    return one, rng


def _second(way: str, rng: Random) -> tuple[tuple[float, float], float]:
    """Shift in mm and turn in degrees of the second laying."""
    shift = rng.uniform(2, 8, 2) * rng.choice([-1, 1], 2)
    turn = float(rng.uniform(-1, 1))
    if way == "turned by half":
        shift, turn = shift + np.array(GLASS), 180 + turn
    elif way == "turned by a quarter":
        shift, turn = shift + np.array([GLASS[0], 0.0]), 90 + turn
    elif way.startswith("askew"):
        turn = float(rng.uniform(1, 3) * rng.choice([-1, 1]))
    return (float(shift[0]), float(shift[1])), turn


def _sides(rng: Random) -> tuple[tuple[Box, float], ...]:
    """A dark lid round a sheet that ends inside the glass, on all sides or on two."""
    left, top = rng.uniform(3, 7, 2) * rng.integers(2, size=2)
    right, bottom = np.array(GLASS) - rng.uniform(3, 7, 2)
    far = 400.0
    lid = float(rng.uniform(0.03, 0.4))
    boxes: list[tuple[Box, float]] = [((float(right), -far, far, far), lid)]
    boxes.append(((-far, float(bottom), far, far), lid))
    if left:
        boxes.append(((-far, -far, float(left), far), lid))
    if top:
        boxes.append(((-far, -far, far, float(top)), lid))
    return tuple(boxes)


def scanned(one: Set, rng: Random, folder: Path, seed: int) -> list[Path]:
    """Two files."""
    reflectance, tint = SHADES[one.shade]
    paper = Paper(
        reflectance,
        tint,
        texture=float(rng.uniform(0.003, 0.008)),
        seed=int(rng.integers(1 << 30)),
        features=PAPERS[one.paper](rng),
    )
    shift, turn = _second(one.way, rng)
    boxes = () if one.whole else _sides(rng)
    scanner = Scanner("sound", glass_mm=GLASS, seed=int(rng.integers(1 << 30)))
    files = []
    for at, blank in enumerate((BlankScene(paper), BlankScene(paper, shift, turn))):
        scene = MarkedPaper(blank, boxes) if boxes else blank
        pixels = scan(scene, scanner, dpi=one.dpi, rng=np.random.default_rng([seed, at])).pixels
        files.append(_saved(pixels, one, folder / f"blank-{at + 1}"))
    return files


def _saved(pixels: np.ndarray, one: Set, stem: Path) -> Path:
    """The file: TIFF, JPEG, or TIFF of what was JPEG."""
    if one.quality is None:
        return _tiff(pixels, one.dpi, stem)
    how = [cv2.IMWRITE_JPEG_QUALITY, one.quality]
    data = cv2.imencode(".jpg", np.ascontiguousarray(pixels[..., ::-1]), how)[1]
    if one.as_tiff:
        return _tiff(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1], one.dpi, stem)
    file = stem.with_suffix(".jpg")
    head = bytes(data)
    # JFIF 1.02: unit 1 is dots per inch, in bytes 13 to 17 of the file.
    file.write_bytes(head[:13] + struct.pack(">BHH", 1, one.dpi, one.dpi) + head[18:])
    return file


def _tiff(pixels: np.ndarray, dpi: int, stem: Path) -> Path:
    file = stem.with_suffix(".tif")
    save_tiff(file, np.ascontiguousarray(pixels), (dpi, dpi))
    return file


def said_of(seed: int, folder: Path) -> Iterator[str]:
    """What is said of one set that must not be."""
    one, rng = drawn(seed)
    true = () if one.quality is None else ("compression",)  # said of the file, and right
    record = qualify(scanned(one, rng, folder, seed), scanner="sound").record
    for found in record.diagnoses:
        if found.severity in ("fault", "warning") and found.cause not in true:
            sure = "sure" if found.confirmed else "look again"
            yield f"{found.severity} ({sure}): {found.cause}"
    if worth_a_page(record):
        yield "seller's page"


def main() -> int:
    """Run, print, write; 1 if anything was said that must not be."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--sets", type=int, default=200)
    parser.add_argument("--first", type=int, default=0, help="number of the first set")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args()
    one_thread()
    started = time.monotonic()
    sets: Counter[str] = Counter()
    said: Counter[tuple[str, str]] = Counter()
    for seed in range(options.first, options.first + options.sets):
        one, _ = drawn(seed)
        sets.update(one.words)
        with tempfile.TemporaryDirectory() as folder:
            for each in said_of(seed, Path(folder)):
                said.update((word, each) for word in one.words)
                print(seed, *one.words, one.quality or "", each, sep=" | ", flush=True)
    text = _table(sets, said)
    wrong = sum(count for (word, _), count in said.items() if word in PAPERS)
    text += f"\n{options.sets} sets, {wrong} words about the unit.\n"
    print(text)
    print(f"{time.monotonic() - started:.0f} s", file=sys.stderr)
    if options.write:
        TABLE.write_text(f"{HEAD}{text}", "utf-8")
    return int(wrong > 0)


def _table(sets: Counter[str], said: Counter[tuple[str, str]]) -> str:
    words = [*PAPERS, *WAYS, "150 dpi", "300 dpi", *SHADES, "TIFF", "JPEG", "JPEG in TIFF"]
    words += ["covers the glass", "smaller than the glass"]
    lines = ["| sets with | sets | said of the unit |", "| --- | --- | --- |"]
    for word in words:
        mine = [f"{count} × {each}" for (of, each), count in said.items() if of == word]
        lines.append(f"| {word} | {sets[word]} | {', '.join(mine) or 'nothing'} |")
    return "\n".join(lines) + "\n"


HEAD = """# Sound units behind ugly paper

Made by `python -m tests.traps.sound_units --write`; do not edit by hand. One sheet, scanned twice
on a sound scanner, laid otherwise the second time: every paper in every way, the rest at random
(JPEG of quality 75 to 92). No fault, no warning about the unit and no page for a seller may come of
it. A set is counted in each row whose words hold for it.

"""

if __name__ == "__main__":
    sys.exit(main())
