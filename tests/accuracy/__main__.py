"""Run the accuracy modules and print, or write into DEVELOPERS.md, the table."""

from __future__ import annotations

import argparse
import importlib
import pkgutil
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import tests.accuracy
from tests.accuracy import Row

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
START, END = "<!-- accuracy: begin -->", "<!-- accuracy: end -->"


def modules() -> list[str]:
    names = (m.name for m in pkgutil.iter_modules(tests.accuracy.__path__))
    return sorted(name for name in names if not name.startswith("_"))


def table(names: list[str]) -> Iterator[str]:
    yield "| what | bound | measured | holds | scans made by | seed |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for name in names:
        for row in importlib.import_module(f"tests.accuracy.{name}").rows():
            yield line(row)


def line(row: Row) -> str:
    seed = "–" if row.seed is None else str(row.seed)
    holds = "yes" if row.passed else "**no**"
    return f"| {row.what} | {row.bound} | {row.measured} | {holds} | {row.path} | {seed} |"


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.accuracy", description=__doc__)
    parser.add_argument("names", nargs="*", help=f"which of: {', '.join(modules())} (default: all)")
    parser.add_argument("--write", action="store_true", help="replace the table in DEVELOPERS.md")
    options = parser.parse_args()
    started = time.monotonic()
    lines = []
    for text in table(options.names or modules()):
        print(text, flush=True)
        lines.append(text)
    print(f"\n{time.monotonic() - started:.0f} s", file=sys.stderr)
    if options.write:
        guide = GUIDE.read_text("utf-8")
        before, _, rest = guide.partition(START)
        _, _, after = rest.partition(END)
        GUIDE.write_text(before + START + "\n" + "\n".join(lines) + "\n" + END + after, "utf-8")
    return int(any("**no**" in text for text in lines))


if __name__ == "__main__":
    sys.exit(main())
