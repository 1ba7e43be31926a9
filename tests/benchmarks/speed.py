"""What a qualification costs, as a ratio to reading the same files; before beside after.

By hand, best on an idle machine, some minutes::

    git worktree add --detach /tmp/before 4a6604b
    python -m tests.benchmarks.speed --before /tmp/before --write [WORDS…]  # into speed.md

*Reading* is ``tifffile.imread(file).mean(axis=(0, 1))`` over the files, its own import left out;
of PNG, JPEG and compressed TIFF it is decoding by libvips, and that mean. *Costs* is the command
``scanqa qualify`` from its start to its page. Runs of all kinds take turns, the least of each
counts; processor time is that of all processes together, and so is memory (proportional set size,
as the kernel shares pages out, sampled five times a second). Both trees are compiled to byte code
first, as pip does when it installs: where ``PYTHONDONTWRITEBYTECODE`` is set, each start would
compile them anew.

What is left of two blanks, seconds of processor time on one of the machines where it was measured:
0.45 until the first process is forked (0.30 of it NumPy, SciPy's filters, OpenCV and libvips), 0.5
placing (0.15 of it reading), 2.5 measuring (noise 0.9, lines 0.4, hidden processing 0.4), 0.5
libraries of the page loaded beside it (matplotlib 0.35), 0.5 drawing. The first part is on the wall
as it is, the others are halved by a second core: some 2.5 s, of which the libraries alone are 0.8.
"""

from __future__ import annotations

import argparse
import compileall
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

TABLE = Path(__file__).with_name("speed.md")
HERE = Path(__file__).parents[2]
SEED = 600
A4_MM, A3_MM = (210, 297), (297, 420)

READ = """
import sys, time
from pathlib import Path
import numpy, pyvips, tifffile
wall, cpu = time.perf_counter(), time.process_time()
for file in sorted(Path(sys.argv[1]).iterdir()):
    if "plain" in sys.argv:
        tifffile.imread(file).mean(axis=(0, 1))
    else:
        pyvips.Image.new_from_file(str(file), access="sequential").numpy().mean(axis=(0, 1))
print(time.perf_counter() - wall, time.process_time() - cpu)
"""


@dataclass(frozen=True)
class Cost:
    """Seconds on the wall and of processors, and megabytes at most."""

    wall_s: float
    cpu_s: float
    memory_mb: float = 0.0


def least(costs: list[Cost]) -> Cost:
    """The least of each time; the largest memory."""
    return Cost(
        min(c.wall_s for c in costs), min(c.cpu_s for c in costs), max(c.memory_mb for c in costs)
    )


def reading(folder: Path, kind: str) -> Cost:
    """Of reading the files of a folder."""
    done = subprocess.run(
        [sys.executable, "-c", READ, folder, kind], capture_output=True, text=True, check=True
    )
    return Cost(*map(float, done.stdout.split()))


def qualifying(folder: Path, tree: Path) -> Cost:
    """Of the command, by the package of a tree."""
    with tempfile.TemporaryDirectory() as out:
        words = ("qualify", str(folder), "--scanner", "heron", "--book-edge", "left", "--no-keep")
        begun, before = time.perf_counter(), os.times()
        child = subprocess.Popen(
            [sys.executable, "-m", "scanqa", *words, "--out", out],
            env={**os.environ, "PYTHONPATH": str(tree)}, cwd=tree, stdout=subprocess.DEVNULL,
        )  # fmt: skip
        most = 0.0
        while child.poll() is None:
            most = max(most, memory_mb(child.pid))
            time.sleep(0.2)
        if child.returncode:
            raise SystemExit(f"{tree}: scanqa qualify {folder} failed")
        wall, after = time.perf_counter() - begun, os.times()
    cpu = sum(
        getattr(after, name) - getattr(before, name)
        for name in ("children_user", "children_system")
    )
    return Cost(wall, cpu, most)


def memory_mb(process: int) -> float:
    """Of a process and its children, shared pages counted once."""
    total = 0.0
    try:
        children = Path(f"/proc/{process}/task/{process}/children").read_text().split()
        for number in (process, *children):
            text = Path(f"/proc/{number}/smaps_rollup").read_text()
            total += int(text.split("Pss:")[1].split()[0]) / 1024
    except (FileNotFoundError, ProcessLookupError, IndexError):
        pass  # it has just ended
    return total


# ------------------------------------------------------------------------------------- scans


def full_set(folder: Path) -> None:
    """Nine scans of the demo's old scanner, A4 at 300 dpi."""
    from scanqa import demo
    from scanqa.scans.save import save_tiff
    from scanqa.simulate import scan

    for at, (kind, scene) in enumerate(demo.scenes().items()):
        if kind != "edge-card":
            rng = np.random.default_rng([demo.SEED, 0, at])
            made = scan(scene, demo.HERON, dpi=300, rng=rng)
            save_tiff(folder / f"{kind}.tif", made.pixels, made.dpi)


def two_blanks(folder: Path) -> None:
    """Two blanks of the demo's old scanner, A4 at 300 dpi."""
    from scanqa import demo

    demo.write_check(folder, demo.HERON, seed=[SEED])


def blank(size_mm: tuple[int, int], dpi: int, suffix: str = "tif", **how: str):
    """White paper with noise of 1.5 codes, a few soft clouds, made in strips."""

    def make(folder: Path) -> None:
        from scanqa.scans.save import save_jpeg, save_png, save_tiff

        rng = np.random.default_rng(SEED)
        columns, rows = (round(mm / 25.4 * dpi) for mm in size_mm)
        pixels = np.empty((rows, columns, 3), np.uint8)
        for row in range(0, rows, 512):
            part = pixels[row : row + 512]
            part[:] = np.clip(rng.normal(236, 1.5, part.shape), 0, 255)
        save = {"tif": save_tiff, "png": save_png, "jpg": save_jpeg}[suffix]
        save(folder / f"blank.{suffix}", pixels, dpi, **how)

    return make


CASES: dict[str, tuple[Callable[[Path], None], str, str]] = {
    "full set, nine A4 300 dpi": (full_set, "plain", "≤ 10"),
    "two blanks A4 300 dpi": (two_blanks, "plain", "≤ 12"),
    "blank A3 600 dpi": (blank(A3_MM, 600), "plain", "≤ 2.4"),
    "blank A4 150 dpi": (blank(A4_MM, 150), "plain", ""),
    "blank A4 300 dpi": (blank(A4_MM, 300), "plain", ""),
    "blank A4 600 dpi": (blank(A4_MM, 600), "plain", ""),
    "blank A4 1200 dpi": (blank(A4_MM, 1200), "plain", "≤ 1.5 + overhead"),
    "blank A4 600 dpi PNG": (blank(A4_MM, 600, "png"), "packed", "≤ 1.5 + overhead"),
    "blank A4 600 dpi deflate": (
        blank(A4_MM, 600, compression="deflate"), "packed", "≤ 1.5 + overhead"),
    "blank A4 600 dpi JPEG": (blank(A4_MM, 600, "jpg"), "packed", "≤ 1.5 + overhead"),
}  # fmt: skip


def row(name: str, before: Path | None, runs: int) -> str:
    """A line of the table."""
    make, kind, aim = CASES[name]
    with tempfile.TemporaryDirectory(dir="/var/tmp") as made:
        folder = Path(made)
        make(folder)
        trees = [HERE] if before is None else [before, HERE]
        read: list[Cost] = []
        costs: dict[Path, list[Cost]] = {tree: [] for tree in trees}
        for _ in range(runs):
            read.append(reading(folder, kind))
            for tree in trees:
                costs[tree].append(qualifying(folder, tree))
            read.append(reading(folder, kind))
    base = least(read)
    cells = [f"{base.wall_s:.2f} / {base.cpu_s:.2f}"]
    for tree in trees:
        c = least(costs[tree])
        cells.append(f"{c.wall_s:.1f} / {c.cpu_s:.1f}")
        cells.append(f"{c.wall_s / base.wall_s:.1f} / {c.cpu_s / base.cpu_s:.1f}")
        cells.append(f"{c.memory_mb:.0f}")
    return f"| {name} | " + " | ".join(cells) + f" | {aim} |"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("words", nargs="*", help="only cases whose name holds one of these")
    parser.add_argument("--before", type=Path, help="another tree, measured in turn with this one")
    parser.add_argument("--runs", type=int, default=2)
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args()
    for tree in filter(None, (options.before, HERE)):
        compileall.compile_dir(tree / "scanqa", quiet=1)
    chosen = [n for n in CASES if not options.words or any(w in n for w in options.words)]
    parts = ["before", "after"] if options.before else ["this tree"]
    titles = ["scans", "reading, s"]
    for part in parts:
        titles += [f"{part}, s", f"{part}, × reading", f"{part}, MB"]
    lines = [f"| {' | '.join([*titles, 'aim, ×'])} |", "|" + " --- |" * (len(titles) + 1)]
    print("\n".join(lines), flush=True)
    for name in chosen:
        lines.append(row(name, options.before, options.runs))
        print(lines[-1], flush=True)
    load = " ".join(f"{part:.1f}" for part in os.getloadavg())
    said = [
        "# What a qualification costs",
        "",
        f"Made by `python -m tests.benchmarks.speed --before TREE --runs {options.runs} --write`, "
        "before being commit 4a6604b; its docstring says what is counted.",
        "Each cell: on the wall / of all processors. "
        f"{os.cpu_count()} cores; load of the machine at the end {load} (1, 5, 15 minutes).",
        "",
        *lines,
        "",
    ]
    if options.write:
        TABLE.write_text("\n".join(said), "utf-8")


if __name__ == "__main__":
    main()
