"""Time of histories and of the quick check, by hand: ``python -m tests.benchmarks.records``.

10,000 records of one scanner, and of twenty; each holds the values of two blank scans as measured
on the demo's first month, with normal scatter. ``scanqa history`` must answer in 2 s in a process
of its own. The quick check is ``scanqa qualify`` of two blank A4 scans at 300 dpi, and of two A3
scans at 600 dpi, for a scanner with two years on record: under 10 s. Run it on an idle machine.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np

from scanqa.demo import HERON, MONTHS, checked_months, heron_in, write_check
from scanqa.model import Record
from scanqa.records import store
from scanqa.records.database import open_store
from scanqa.scans.save import save_tiff

SEED = 10_000
RECORDS = 10_000
A3_600_PX = (9921, 7016)


def run(*words: str, records: Path) -> tuple[float, float]:
    """Seconds on the wall and of computing that a scanqa command takes, in a process of its own."""
    environment = {**os.environ, "SCANQA_RECORDS": f"sqlite:///{records}"}
    start = time.monotonic()
    child = subprocess.Popen(
        [sys.executable, "-m", "scanqa", *words], env=environment, stdout=subprocess.DEVNULL
    )
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        raise SystemExit(f"scanqa {' '.join(words)} failed")
    return time.monotonic() - start, usage.ru_utime + usage.ru_stime


def best(*words: str, records: Path) -> str:
    """The best of three runs, in words."""
    wall, computing = (
        min(row) for row in zip(*(run(*words, records=records) for _ in range(3)), strict=True)
    )
    return f"{wall:.2f} s ({computing:.2f} s of computing), best of 3"


def fill(path: Path, scanners: int) -> None:
    """10,000 records, a working day apart, of as many scanners."""
    rng = np.random.default_rng(SEED)
    first = checked_months(today=date(2026, 11, 25))[0]
    first = replace(first, findings=(), actions=())  # to fill the disk with numbers, not with words
    with open_store(str(path)) as engine:
        for number in range(RECORDS):
            store.add(engine, varied(first, rng, number, scanners))


def varied(first: Record, rng: np.random.Generator, number: int, scanners: int) -> Record:
    """The record of another check: the same measures, scattered."""
    when = datetime(1999, 1, 4, 9, tzinfo=UTC) + timedelta(days=number // scanners)
    known = [m for m in first.measures if m.value is not None and m.status == "ok"]
    scatter = rng.normal(0, 1, len(known))
    measures = (
        replace(m, value=m.value + z * (m.uncertainty or 0.01 * abs(m.value)))
        for m, z in zip(known, scatter, strict=True)
    )
    scans = (replace(first.scans[0], sha256=f"{number:064x}"), *first.scans[1:])
    return replace(
        first, scanner=f"scanner-{number % scanners}", scans=scans, measures=tuple(measures),
        conditions={"date": when.isoformat()},
    )  # fmt: skip


def histories(folder: Path) -> None:
    """Both ways to have 10,000 records."""
    for scanners in (1, 20):
        path = folder / f"records-{scanners}.sqlite"
        start = time.monotonic()
        fill(path, scanners)
        filled = time.monotonic() - start
        size = path.stat().st_size / 1e6
        print(
            f"{RECORDS} records, {scanners} scanner(s), {size:.0f} MB, filled in {filled:.0f} s: "
            f"scanqa history in {best('history', 'scanner-0', records=path)}",
            flush=True,
        )


def quick_checks(folder: Path) -> None:
    """Two blanks against two years."""
    path = folder / "years.sqlite"
    with open_store(str(path)) as engine:
        for record in checked_months(today=date.today()):
            store.add(engine, record)
    small, large = folder / "a4", folder / "a3"
    small.mkdir()
    large.mkdir()
    write_check(small, heron_in(MONTHS - 1), seed=[SEED])
    rng = np.random.default_rng(SEED)
    for number in (1, 2):
        pixels = np.empty((*A3_600_PX, 3), np.uint8)
        for row in range(0, len(pixels), 512):
            strip = pixels[row : row + 512]
            strip[:] = np.clip(rng.normal(236, 1.5, strip.shape), 0, 255)
        save_tiff(large / f"blank-{number}.tif", pixels, 600)
    for words, scans in (("A4 at 300 dpi", small), ("A3 at 600 dpi", large)):
        common = ("qualify", str(scans), "--scanner", HERON.name, "--out", str(folder))
        print(f"quick check, two blanks {words}: {best(*common, records=path)}", flush=True)


def main() -> None:
    with tempfile.TemporaryDirectory(dir="/var/tmp") as name:
        quick_checks(Path(name))
        histories(Path(name))


if __name__ == "__main__":
    main()
