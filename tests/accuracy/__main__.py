"""Run the accuracy modules and print, or write into README.md beside this, the tables."""

from __future__ import annotations

import argparse
import multiprocessing
import os
import pkgutil
import re
import sys
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from pathlib import Path

import tests.accuracy
from tests.accuracy._table import made_and_timed

GUIDE = Path(__file__).with_name("README.md")
START, END = "<!-- accuracy: begin -->", "<!-- accuracy: end -->"


def modules() -> list[str]:
    names = (m.name for m in pkgutil.iter_modules(tests.accuracy.__path__))
    return sorted(name for name in names if not name.startswith("_"))


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__)
    parser.add_argument("names", nargs="*", help=f"which of: {', '.join(modules())} (default: all)")
    parser.add_argument("--write", action="store_true", help="replace these tables in README.md")
    options = parser.parse_args()
    if unknown := set(options.names) - set(modules()):
        parser.error(f"no such table: {', '.join(sorted(unknown))}")
    started = time.monotonic()
    names = options.names or modules()
    made: dict[str, list[str]] = {}
    # Two modules side by side, each on one thread: the threads of two would fight for two cores.
    os.environ.update(OMP_NUM_THREADS="1", OPENBLAS_NUM_THREADS="1")
    spawn = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(2, spawn) as pool:
        running = {pool.submit(made_and_timed, name): name for name in names}
        for future in as_completed(running):
            name = running[future]
            made[name], seconds = future.result()
            print("\n".join(made[name]), flush=True)
            print(f"{name}: {seconds:.0f} s", file=sys.stderr)
    print(f"{time.monotonic() - started:.0f} s in all", file=sys.stderr)
    if options.write:
        GUIDE.write_text(replaced(GUIDE.read_text("utf-8"), made), "utf-8")
    return int(any("**no**" in text for lines in made.values() for text in lines))


def replaced(guide: str, made: dict[str, list[str]]) -> str:
    """The guide with the tables of some modules made anew; those of the others stay."""
    before, _, rest = guide.partition(START)
    inside, _, after = rest.partition(END)
    names = re.findall(r"<!-- accuracy: (\w+) -->", inside)
    old = re.split(r"<!-- accuracy: \w+ -->", inside)[1:]
    kept = {name: f"<!-- accuracy: {name} -->{text}" for name, text in zip(names, old, strict=True)}
    new = {name: "\n".join(lines) + "\n" for name, lines in made.items()}
    tables = {**kept, **new}
    return before + START + "\n" + "".join(tables[name] for name in sorted(tables)) + END + after


if __name__ == "__main__":
    sys.exit(main())
