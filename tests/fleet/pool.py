"""How healthy checks scatter: ``python -m tests.fleet.pool`` simulates and measures them anew.

Two sound scanners, one with a lens and a cold-cathode lamp, one with a contact sensor, are checked
as a workshop does it each month: two blanks on a paper of their own that moves between them, the
bed sheet and the edge strips, laid anew by hand each time. All of it goes through `scanqa.qualify`.
What is kept in ``checks.json.gz`` are the numbers of each check as a history reads them: how they
scatter together is drawn from here by `tests.fleet.lives`.
"""

from __future__ import annotations

import gzip
import multiprocessing
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np

from scanqa.demo import HERON, PRINTER, WREN, write_check
from scanqa.model import Told
from scanqa.qualification import qualify
from scanqa.records.series import Value, values
from scanqa.records.store import Line, lines_of
from scanqa.scans.save import save_tiff
from scanqa.sheets import sheet
from scanqa.simulate import one_thread, scan
from scanqa.simulate.scenes import SheetScene, StripsScene

SEED = 7016
DPI = 200
CHECKS = 36  # of each scanner
SOUND = {
    "lens": replace(HERON, name="lens", streaks=(), marks=()),
    "contact": replace(WREN, name="contact", streaks=(), marks=()),
}
FILE = Path(__file__).with_name("checks.json.gz")


class Checked(msgspec.Struct):
    """The numbers of one check."""

    values: tuple[Value, ...]
    lines: tuple[Line, ...]


def check(job: tuple[str, int]) -> Checked:
    """One check of a sound scanner, simulated and measured."""
    name, number = job
    seed = [SEED, list(SOUND).index(name), number]
    rng = np.random.default_rng(seed)
    strips = sheet("edge-strip-a4")
    at = (float(rng.uniform(2.0, 4.0)), float(rng.uniform(0.8, 2.0)))
    scenes = {
        "bed-sheet": SheetScene(
            sheet("bed-sheet-a4"), at, float(rng.uniform(-0.5, 0.5)), printer=PRINTER,
            windows_cut=True,
        ),
        "edge-strips": StripsScene(
            strips, {piece.name: piece.name.removeprefix("strip-") for piece in strips.pieces},
            printer=PRINTER,
        ),
    }  # fmt: skip
    with tempfile.TemporaryDirectory() as folder:
        files = write_check(Path(folder), SOUND[name], seed=[*seed, 1], dpi=DPI)
        for words, scene in scenes.items():
            made = scan(scene, SOUND[name], dpi=DPI, rng=rng)
            files.append(Path(folder) / f"{words}.tif")
            save_tiff(files[-1], made.pixels, made.dpi)
        told = Told(book_edge="left", print_label="the Society's own", paper="office")
        record = qualify(files, scanner=name, told=told).record
    kept = tuple(values(record.measures, record.scans))
    return Checked(kept, tuple(lines_of(record.streaks)))


def read_pool() -> dict[str, list[Checked]]:
    """The checks of each sound scanner."""
    return msgspec.json.decode(gzip.decompress(FILE.read_bytes()), type=dict[str, list[Checked]])


def main() -> None:
    count = int(sys.argv[1]) if sys.argv[1:] else CHECKS
    jobs = [(name, number) for name in SOUND for number in range(count)]
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, spawn, one_thread) as pool:
        made = list(pool.map(check, jobs))
    pool_of = {
        name: [m for m, job in zip(made, jobs, strict=True) if job[0] == name] for name in SOUND
    }
    packed = gzip.compress(msgspec.json.encode(pool_of), 9, mtime=0)
    FILE.write_bytes(packed)
    print(f"{FILE}: {len(made)} checks, {len(packed)} bytes")


if __name__ == "__main__":
    main()
