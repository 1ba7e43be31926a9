"""The fleet's proof, by hand: ``python -m tests.fleet --write`` (some ten minutes).

Three hundred scanners are checked each month for five years (`tests.fleet.lives`), ten of them with
a fault that sets in at some month; each month the whole fleet is looked at as it is known by then.
Then healthy ones alone, under scatter that the charts do not assume.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path

from tests.fleet.lives import kind_of
from tests.fleet.pool import read_pool
from tests.fleet.trial import Played, draw, play

README = Path(__file__).with_name("README.md")
MARK = "<!-- made by python -m tests.fleet --write -->"
SCANNERS, MONTHS, SICK = 300, 60, 10
SEED = 300
SOON = 6  # checks
CASES: tuple[tuple[str, dict[str, float]], ...] = (
    ("as simulated", {}),
    ("each check's scatter follows the one before by 0.3 (season, paper lots)", {"slow": 0.3}),
    ("tails of Student's t with 5 degrees of freedom", {"tails": 5.0}),
)


def rows() -> Iterator[tuple[str, str, str, str]]:
    """What was asked, what was found, and whether it holds."""
    kinds = [kind_of(pool) for pool in read_pool().values()]
    for at, (words, more) in enumerate(CASES):
        start = time.monotonic()
        played = play(draw(kinds, SCANNERS, MONTHS, SEED + at, sick=SICK, **more))  # type: ignore[arg-type]
        rate, low, high = played.rate()
        yield (
            f"{SCANNERS} scanners, {MONTHS} months, {words}: false calls a quarter",
            "at most 1",
            f"{rate:.2f} ({low:.2f} to {high:.2f}), {len(played.false)} in "
            f"{played.quarters:.0f} quarters{_by_what(played)}",
            "yes" if high <= 1 else "**no**",
        )
        found = [delay for _, delay in played.delays.values() if delay]
        soon = sum(delay <= SOON for delay in found)
        yield (
            f"the same: {SICK} sick ones found; within {SOON} checks",
            f"{SICK}; 8",
            f"{len(found)}; {soon} ({_delays(played)})",
            "yes" if len(found) == SICK and soon >= 8 else "**no**",
        )
        took = time.monotonic() - start
        print(f"{words}: {took:.0f} s", played.false, flush=True)


def _by_what(played: Played) -> str:
    names = sorted({name for _, _, some in played.false for name in some})
    return f" ({', '.join(names)})" if names else ""


def _delays(played: Played) -> str:
    by_fault: dict[str, list[str]] = {}
    for fault, delay in played.delays.values():
        by_fault.setdefault(fault, []).append(str(delay) if delay else "never")
    return "; ".join(f"{fault}: {' and '.join(some)}" for fault, some in by_fault.items())


def main() -> None:
    table = ["| what | asked | found | holds |", "| --- | --- | --- | --- |"]
    for row in rows():
        table.append(f"| {' | '.join(row)} |")
        print(table[-1], flush=True)
    if "--write" in sys.argv:
        said, mark, _ = README.read_text("utf-8").partition(MARK)
        README.write_text(f"{said}{mark}\n\n{chr(10).join(table)}\n", "utf-8")


if __name__ == "__main__":
    main()
