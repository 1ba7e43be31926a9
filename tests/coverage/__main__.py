"""Run modules of hard cases and print the table, or write it into README.md beside this.

Run by hand (all: about an hour on one core)::

    python -m tests.coverage gutter --cases 40   # printed
    python -m tests.coverage gutter --write      # their rows anew, the others as they are written
"""

from __future__ import annotations

import argparse
import pkgutil
import re
import statistics
import sys
import time
from importlib import import_module
from pathlib import Path

import numpy as np

import tests.coverage
from scanqa.simulate import one_thread
from scanqa.summary import ends
from tests.coverage import CASES, Tried

TABLE = Path(__file__).with_name("README.md")
NOT_MODULES = {"__main__", "equals", "hard"}
SIGMAS = 1.96
LEAST_HELD = 90.0  # per cent, as issue 12 asks
SEED = 12
BY_CURVE = " (curve "
HEAD = """# Coverage: do stated intervals hold the truth in hard cases?

Made by `python -m tests.coverage --write`; do not edit by hand. All that a set-up leaves open is
drawn anew for each case (`hard.py`), the truth is what was planted. *held*: share of the stated
values whose 95 % interval (1.96 standard uncertainties; of a bound the side that it leaves open)
holds the truth. A value that follows the tone curve has a row for all cases and one for each state
of knowledge of its curve. *width*: median half width of the intervals of values that are `ok`, or
*between* two ends (these and what lies beyond them by the uncertainty).

"""
COLUMNS = (
    "| quantity | stated | held | width | ok | bound | not measurable | as it must be |\n"
    "| --- | --- | --- | --- | --- | --- | --- | --- |\n"
)


def names() -> list[str]:
    found = (m.name for m in pkgutil.iter_modules(tests.coverage.__path__))
    return sorted(set(found) - NOT_MODULES)


def holds(tried: Tried) -> bool:
    """Whether the truth lies in the interval that is stated."""
    low, high = ends(tried.stated)
    room = SIGMAS * (tried.stated.uncertainty or 0.0)
    return low - room <= tried.truth <= high + room


def rows(name: str, cases: int, *, tell: bool = False) -> list[str]:
    """Lines of the table of one module."""
    module = import_module(f"tests.coverage.{name}")
    found: dict[str, list[Tried]] = {}
    for number in range(cases or getattr(module, "CASES", CASES)):
        rng = np.random.default_rng([SEED, number, *name.encode()])
        for tried in module.case(rng):
            for quantity in quantities(tried.quantity):
                found.setdefault(quantity, []).append(tried)
            if tell and tried.stated is not None and tried.stated.value is not None:
                m = tried.stated
                off = (m.value - tried.truth) / m.uncertainty if m.uncertainty else float("nan")
                print(f"{number} {tried.quantity} {m.value:.4g} ± {m.uncertainty or 0:.3g} "
                      f"{m.status}, true {tried.truth:.4g}: {off:+.1f} "
                      f"{'' if holds(tried) else 'MISSED'}", file=sys.stderr)  # fmt: skip
    return [row(quantity, each) for quantity, each in found.items()]


def quantities(quantity: str) -> list[str]:
    """Rows that a value counts in: one for all, and one for what is known of its curve."""
    whole, mark, _ = quantity.partition(BY_CURVE)
    return [whole, quantity] if mark else [quantity]


def row(quantity: str, each: list[Tried]) -> str:
    stated = [t for t in each if t.stated is not None and t.stated.value is not None]
    sound = [t for t in stated if t.stated.status == "ok"]
    held = 100 * sum(map(holds, stated)) / len(stated) if stated else float("nan")
    cells = [
        f"`{quantity}`", f"{len(stated)} of {len(each)}", f"{held:.0f} %",
        _width([t for t in stated if t.stated.status in ("ok", "between")]),
        *(f"{100 * n / len(each):.0f} %" for n in (
            len(sound), len(stated) - len(sound), len(each) - len(stated))),
        "yes" if held >= LEAST_HELD else "**no**",
    ]  # fmt: skip
    return "| " + " | ".join(cells) + " |"


def _width(sound: list[Tried]) -> str:
    if not sound:
        return "–"
    half = [
        SIGMAS * (t.stated.uncertainty or 0.0) + (ends(t.stated)[1] - ends(t.stated)[0]) / 2
        for t in sound
    ]
    if sound[0].relative:
        shares = [100 * w / abs(t.truth) for w, t in zip(half, sound, strict=True) if t.truth]
        return f"± {statistics.median(shares):.2g} %"
    return f"± {statistics.median(half):.2g} {sound[0].stated.unit}"


def main() -> int:
    parser = argparse.ArgumentParser(prog="python -m tests.coverage", description=__doc__)
    parser.add_argument("names", nargs="*", help=f"which of: {', '.join(names())} (default: all)")
    parser.add_argument("--cases", type=int, default=0, help="how many (default: each module's)")
    parser.add_argument("--write", action="store_true", help="replace these rows in README.md")
    parser.add_argument("--tell", action="store_true", help="each value beside its truth")
    options = parser.parse_args()
    one_thread()
    made = {}
    for name in options.names or names():
        started = time.monotonic()
        made[name] = rows(name, options.cases, tell=options.tell)
        print("\n".join(made[name]), flush=True)
        print(f"{name}: {time.monotonic() - started:.0f} s", file=sys.stderr)
    if options.write:
        old = _written(TABLE.read_text("utf-8")) if TABLE.exists() else {}
        TABLE.write_text(_text({**old, **made}), "utf-8")
    return int(any("**no**" in line for lines in made.values() for line in lines))


def _written(text: str) -> dict[str, list[str]]:
    parts = re.split(r"^## (\w+)$", text, flags=re.MULTILINE)[1:]
    return {
        name: [line for line in body.splitlines() if line.startswith("| `")]
        for name, body in zip(parts[::2], parts[1::2], strict=True)
    }


def _text(tables: dict[str, list[str]]) -> str:
    body = (
        f"## {name}\n\n{COLUMNS}" + "\n".join(tables[name]) + f"\n\n{_note(name)}"
        for name in sorted(tables)
    )
    return HEAD + "\n".join(body)


def _note(name: str) -> str:
    """What a module says of its widths, and of what it leaves out."""
    return str(getattr(import_module(f"tests.coverage.{name}"), "NOTE", ""))


if __name__ == "__main__":
    sys.exit(main())
