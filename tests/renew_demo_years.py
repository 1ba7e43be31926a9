"""Simulate and measure heron's two years anew: ``python -m tests.renew_demo_years`` (minutes).

Writes ``scanqa/demo_years.jsonl.gz``, the monthly qualifications that the demo puts on record.
Needed when a measure's method changes (`tests/test_demo.py` says so). Same code, same bytes, but
for the day of making.
"""

from __future__ import annotations

import gzip
import multiprocessing
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import scanqa
from scanqa.codec import to_json_line
from scanqa.demo import DEMO_LIGHT, HERON, MONTHS, YEARS_FILE, check_seed, heron_in, write_check
from scanqa.model import Record, Told
from scanqa.qualification import qualify
from scanqa.simulate import one_thread


def month(number: int, *, dpi: float | None = None) -> Record:
    """The qualification of one monthly check, simulated and measured now."""
    told = Told(conditions={"light": DEMO_LIGHT["heron"]})
    with tempfile.TemporaryDirectory() as name:
        sizes = {} if dpi is None else {"dpi": dpi}
        files = write_check(Path(name), heron_in(number), seed=check_seed(number), **sizes)
        return qualify(files, scanner=HERON.name, told=told).record


def main() -> None:
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(2, spawn, one_thread) as pool:
        lines = [to_json_line(made) for made in pool.map(month, range(MONTHS))]
    packed = gzip.compress("\n".join(lines).encode(), 9, mtime=0)
    path = Path(scanqa.__file__).parent / YEARS_FILE
    path.write_bytes(packed)
    print(f"{path}: {len(lines)} months, {len(packed)} bytes")


if __name__ == "__main__":
    main()
