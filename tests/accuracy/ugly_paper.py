"""False lines, marks and bands behind papers that have lines, flecks and clouds of their own."""

from __future__ import annotations

from collections.abc import Iterable

from tests.accuracy import Row
from tests.measures.test_ugly_paper import KINDS, of_the_scanner, pair

SEED = 4000
SETS_EACH = 20  # of ten papers: 200


def rows() -> Iterable[Row]:
    """One row of all papers together, and one for each that went wrong."""
    total = 0
    for kind in KINDS:
        found = [sum(map(len, of_the_scanner(pair(kind, SEED + at)))) for at in range(SETS_EACH)]
        total += sum(found)
        if sum(found):
            what = f"{kind}: lines, marks, bands put down to the scanner, {SETS_EACH} moved pairs"
            yield Row(what, "0", str(sum(found)), False, SEED, "simulator")
    sets = SETS_EACH * len(KINDS)
    yield Row(
        f"lines, marks, bands put down to the scanner, {sets} moved pairs of ten ugly papers",
        "0", str(total), total == 0, SEED, "simulator",
    )  # fmt: skip
