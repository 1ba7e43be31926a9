"""Time and memory that the project promises, by hand: ``python -m tests.benchmarks.promises``.

``scanqa --help`` under 0.4 s; one A3 blank at 600 dpi (8-bit TIFF, uncompressed) qualified under
3 s and 600 MB; ``scanqa demo`` under 60 s on two cores. Run it on an idle machine.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from scanqa.scans.save import save_tiff

SEED = 600
A3_600_PX = (9921, 7016)


def run(*words: str) -> tuple[float, float]:
    """Seconds and peak memory (MB) of a scanqa command in a process of its own."""
    start = time.monotonic()
    child = subprocess.Popen([sys.executable, "-m", "scanqa", *words], stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"scanqa {' '.join(words)} failed")
    return time.monotonic() - start, usage.ru_maxrss / 1024


def blank(path: Path) -> None:
    """White paper with 1 % noise, made in strips."""
    rng = np.random.default_rng(SEED)
    pixels = np.empty((*A3_600_PX, 3), np.uint8)
    for row in range(0, len(pixels), 512):
        strip = pixels[row : row + 512]
        strip[:] = np.clip(rng.normal(236, 1.5, strip.shape), 0, 255)
    save_tiff(path, pixels, 600)


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        seconds = min(run("--help")[0] for _ in range(5))
        print(f"scanqa --help: {seconds:.2f} s (best of 5)")
        blank(folder / "blank.tif")
        common = ("--scanner", "heron", "--no-keep", "--out", name)
        found = [run("qualify", str(folder / "blank.tif"), *common) for _ in range(3)]
        seconds, megabytes = min(s for s, _ in found), max(m for _, m in found)
        print(f"A3 600 dpi blank: {seconds:.2f} s (best of 3), {megabytes:.0f} MB at most")
        seconds, megabytes = run("demo", "--out", name, "--scans", str(folder / "scans"))
        print(f"scanqa demo: {seconds:.0f} s, {megabytes:.0f} MB in the main process")


if __name__ == "__main__":
    main()
