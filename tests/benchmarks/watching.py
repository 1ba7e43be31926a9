"""What a page of a job costs: time against decoding it, memory of a large page, of a long job.

By hand::

    python -m tests.benchmarks.watching --write   # into tests/watch/speed.md

Time is that of the processor, the least of some runs, one thread; the ratio is to what decoding the
same JPEG at full size takes, decoding included. Memory is the largest of a process of its own
(VmHWM: ru_maxrss of a child begins with what its parent held).
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

TABLE = Path(__file__).parents[1] / "watch/speed.md"
RUNS, LONG = 12, 10_000
MB = 1024  # kB

MEASURE = r"""
import re, sys
from pathlib import Path
from scanqa.watch.measure_page import measure_page
measure_page(Path(sys.argv[1]))
print(re.search(r"VmHWM:\s+(\d+)", Path("/proc/self/status").read_text())[1])
"""


def least(work: Callable[[], object]) -> float:
    """Seconds of processor time, the least of some runs."""
    taken = []
    for _ in range(RUNS):
        begun = time.process_time()
        work()
        taken.append(time.process_time() - begun)
    return min(taken)


def times(folder: Path) -> list[str]:
    """Rows of time: pages of A4 at 300 dpi as JPEG 90."""
    import cv2
    import pyvips

    from scanqa.freed_memory import keep_freed_memory
    from scanqa.scans.save import save_jpeg
    from scanqa.simulate.job_pages import Laid, reflectance
    from scanqa.simulate.job_scanner import JobScanner, State, scanned
    from scanqa.watch.judge import Job, advance
    from scanqa.watch.measure_page import measure_page

    cv2.setNumThreads(1)
    keep_freed_memory()  # as the command does
    rows = []
    scanner = JobScanner(dpi=300)
    for kind in ("text", "columns", "picture", "table"):
        for colour in (True, False):
            laid = Laid(kind, 3, shift_mm=(1.0, 0.5), turn_deg=0.2)
            paper = reflectance(laid, scanner.size_mm, 300)
            path = folder / "page.jpg"
            save_jpeg(path, scanned(paper, scanner, State(), 5, colour=colour), 300)
            decode = least(
                lambda path=path: pyvips.Image.jpegload(
                    str(path), access="sequential"
                ).write_to_memory()
            )
            page = measure_page(path)
            measure = least(lambda path=path: measure_page(path))
            job = Job()
            for _ in range(20):
                job = advance(job, page)
            judge = least(lambda job=job, page=page: advance(job, page))
            what = f"{kind}, {'colour' if colour else 'grey'}"
            ratio = (measure + judge) / decode
            cells = (decode, measure, judge)
            rows.append(
                f"| {what} | " + " | ".join(f"{1000 * c:.1f}" for c in cells) + f" | {ratio:.2f} |"
            )
            print(rows[-1], flush=True)
    return rows


def memory_of_a3(folder: Path) -> str:
    """Largest memory of a process that measures A3 at 600 dpi, in colour."""
    import numpy as np

    from scanqa.scans.save import save_jpeg, save_tiff

    rng = np.random.default_rng(1)
    names = {"page.tif": save_tiff, "page.jpg": save_jpeg}
    pixels = rng.integers(230, 235, (9921, 7016, 3), np.uint8)
    pixels[500:9000:60, 500:6500] = 30
    for name, save in names.items():
        save(folder / name, pixels, 600)
    made = []
    for name in names:
        done = subprocess.run(
            [sys.executable, "-c", MEASURE, str(folder / name)],
            capture_output=True,
            text=True,
            check=True,
            env=os.environ,
        )
        made.append(f"{name[-3:].upper()} {int(done.stdout) / MB:.0f} MB")
    return ", ".join(made)


def memory_of_many(folder: Path) -> str:
    """Memory of a process after 1,000 and after 10,000 pages of a job."""
    import resource

    from scanqa.watch.judge import Job, advance
    from scanqa.watch.measure_page import measure_page
    from tests.watch.jobs import Play, files

    play = Play(5, 30, ("text", "table"))
    pages = [measure_page(path) for path in files(folder, play, play.plan())]
    job, sizes = Job(), []
    for at in range(LONG):
        job = advance(job, replace(pages[at % len(pages)], file=f"{at:05d}.tif"))
        if at + 1 in (1000, LONG):
            sizes.append(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / MB)
    return f"{sizes[0]:.0f} MB after 1,000 pages, {sizes[1]:.0f} MB after {LONG:,}"


def main() -> int:
    """Run, print, write."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        many = memory_of_many(folder)
        print(many, flush=True)
        rows = times(folder)
        large = memory_of_a3(folder)
    text = "\n".join(
        [
            "# What watching costs",
            "",
            "Made by `python -m tests.benchmarks.watching --write`; do not edit by hand. A4 at 300",
            "dpi, JPEG 90, ms of processor time, the least of some runs; the ratio is (measuring +",
            "judging) to decoding at full size, and measuring holds the decoding.",
            "",
            "| page | decode | measure | judge | ratio |",
            "| --- | --- | --- | --- | --- |",
            *rows,
            "",
            f"Largest memory of a process that measures A3 at 600 dpi in colour: {large}.",
            f"Of one that judges a long job: {many}.",
            "",
        ]
    )
    print(text)
    if options.write:
        TABLE.write_text(text, "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
