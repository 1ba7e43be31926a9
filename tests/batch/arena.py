"""A small archive, batches over it as a user starts them, and all rows of a database to compare."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import psutil
import sqlalchemy as sa

from scanqa.records.database import open_store
from scanqa.records.schema import metadata
from scanqa.scans.save import save_tiff
from scanqa.simulate import scan
from scanqa.simulate.scanner import Lamp, Scanner
from scanqa.simulate.scenes import BlankScene, Paper

SMALL = (100, (60.0, 80.0))  # dpi, glass in mm: enough for records
LARGER = (150, (90.0, 120.0))  # enough to tell how much light is left
LAMP_A_MONTH = 0.19  # of the light goes each month, so that later checks are told from the first
ROOT = Path(__file__).parents[2]


def make_archive(folder, *, scanners=("heron", "wren"), months=3, size=SMALL):
    """A folder for each scanner, in it one for each month, in it two blanks."""
    dpi, glass_mm = size
    for number, name in enumerate(scanners):
        for month in range(months):
            made = folder / name / f"2026-{month % 12 + 1:02d}-{month // 12 + 1:02d}"
            made.mkdir(parents=True)
            lamp = Lamp(level=(1 - LAMP_A_MONTH) ** month)
            unit = Scanner(name, glass_mm=glass_mm, lamp=lamp)
            for page in (1, 2):
                rng = np.random.default_rng([number, month, page])
                paper = BlankScene(Paper(seed=5), moved_mm=(3.0 * page, 0.0))
                found = scan(paper, unit, dpi=dpi, rng=rng)
                save_tiff(made / f"blank-{page}.tif", found.pixels, found.dpi)
    return folder


def rows(url):
    """Every row of every table by what it is of, without what each run has anew: ids, `created`."""
    found = {}
    with open_store(url) as engine, engine.connect() as connection:
        key = {}
        for row in connection.execute(sa.select(metadata.tables["record"])).mappings():
            key[row["id"]] = (row["scanner"], row["scans_key"])
            kept = {name: row[name] for name in row if name not in ("id", "created")}
            kept["document"] = {n: v for n, v in row["document"].items() if n != "created"}
            found["record", *key[row["id"]]] = kept
        for name in ("value", "streak"):
            table = metadata.tables[name]
            for row in connection.execute(sa.select(table)).mappings():
                of = tuple(row[c.name] for c in table.primary_key if c.name != "record_id")
                kept = {n: v for n, v in row.items() if n != "record_id"}
                found[name, *key[row["record_id"]], *of] = kept
        for row in connection.execute(sa.select(metadata.tables["scanner"])).mappings():
            found["scanner", row["scanner"]] = dict(row)
    return found


def unlike(ours, theirs):
    """Keys of rows that differ, or that one side alone has."""
    return sorted(key for key in ours.keys() | theirs.keys() if ours.get(key) != theirs.get(key))


def begin(*arguments, **environment):
    """Start ``scanqa`` as a user does, in a process group of its own."""
    return subprocess.Popen(
        [sys.executable, "-P", "-m", "scanqa", *map(str, arguments)],
        env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )


def end(process, *, within_s=300):
    """Wait for it: exit status, what it said, and the lines of what was wrong."""
    out, err = process.communicate(timeout=within_s)
    return process.returncode, out, err.splitlines()


def batch(*arguments, **environment):
    """Run ``scanqa batch`` to its end."""
    return end(begin("batch", *arguments, **environment))


def workers_of(process):
    """Its processes that measure."""
    try:
        inside = psutil.Process(process.pid).children(recursive=True)
        return [each for each in inside if "spawn_main" in " ".join(each.cmdline())]
    except psutil.NoSuchProcess:
        return []


def kill_one(process, rng):
    """Kill a worker, whatever it is at; whether there was one."""
    found = workers_of(process)
    if not found:
        return False
    victim = found[rng.integers(len(found))]
    try:
        os.kill(victim.pid, signal.SIGKILL)
    except ProcessLookupError:
        return False
    return True


def until(condition, *, within_s=60.0, every_s=0.05):
    """Wait until something holds."""
    deadline = time.monotonic() + within_s
    while not condition():
        assert time.monotonic() < deadline, "it never came to that"
        time.sleep(every_s)
