"""Planted fault × first diagnosis × action, made afresh: printed or written as Markdown.

Run by hand (some ten minutes on two cores)::

    python -m tests.findings.fault_table --write     # into tests/findings/faults.md
    python -m tests.findings.fault_table haze        # rows whose words hold "haze", printed

The expected causes stand in `tests.findings.faults`, beside each case.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from scanqa.catalogue.causes import CAUSES
from scanqa.simulate import one_thread
from tests.findings.faults import COMBINED, HEALTHY, SEED, SINGLE, Answer, Case, answer

TABLE = Path(__file__).with_suffix("").with_name("faults.md")
HEAD = f"""# Planted faults and what is said of them

Made by `python -m tests.findings.fault_table --write` (seed {SEED}); do not edit by hand. Each row
is simulated, written to TIFF, measured by `qualify` and judged. What is expected was written before
the row was first run; a row that differs says how. Causes are ranked by the weights in
`scanqa/catalogue/causes.toml`; the share of the first is given.

Each unit is looked at twice. The scans of a *first look* leave open whether it is the paper, the
print or the original; all scans hold one that differs in that (paper moved or turned, sheet turned,
cut edges, another original, an earlier check). The words: *sure*, *look again*, *quiet* (neither a
warning nor a fault). Traces in the file itself (sharpening, levels, brightness, smoothing,
compression, cropping) need no second look.

Weights, signs and measures were mended until rows agreed; no expected cause was changed, but these
were planted anew after a first run: the cold lamp (with 25 % missing, calibrated once, the paper
ran into the top of the scale), the curl (at 0.8 mm no side was soft enough to be called so),
stretched levels (blank paper that is stretched is no longer recognised as such: the bed sheet alone
is used) and the scale of the print (two scans half a turn apart do not tell it, bars do; that cause
then got a row apart from that of rough print).

"""
COLUMNS = (
    "| planted | expected first | expected words | at the first look | said first | share "
    "| also said | to do | as expected |\n"
    "| --- | --- | --- | --- | --- | --- | --- | --- | --- |\n"
)


def rows(cases: tuple[Case, ...]) -> Iterator[tuple[str, bool]]:
    """A line of the table, and whether all was as expected, for each case."""
    for case in cases:
        with tempfile.TemporaryDirectory() as folder:
            given = answer(case, Path(folder))
        with tempfile.TemporaryDirectory() as folder:
            first = answer(case.at_first, Path(folder))
        wrong = given.faults_of(case) + first.faults_of_first_look(case)
        yield line(case, given, first, wrong), not wrong


def line(case: Case, given: Answer, at_first: Answer, wrong: list[str]) -> str:
    expected = "; ".join(map(_name, case.expected)) or "no warning, no fault"
    if case.alike:
        expected += f", hardly told from {_name(case.alike)}"
    looks = f"{case.once}, then {case.word}"
    first, share, also, action = "nothing", "", "", "nothing"
    if given.findings:
        finding = given.findings[0]
        first = f"**{finding.severity}**: {finding.title}"
        share = f"{finding.causes[0].share:.2f}"
        action = finding.action
        also = "; ".join(f"{f.severity}: {_name(f.cause)}" for f in given.findings[1:])
    verdict = "yes" if not wrong else f"**no**: {'; '.join(wrong)}"
    once = f"**{at_first.word}**"
    if at_first.findings and at_first.word != "quiet":
        once += f": {at_first.findings[0].title}"
    cells = (case.planted, expected, looks, once, first, share, also, action, verdict)
    return "| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |"


def _name(cause: str) -> str:
    return CAUSES[cause].name


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("words", nargs="*", help="only cases whose words hold one of these")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args()
    one_thread()
    started = time.monotonic()
    text, good, count = HEAD, 0, 0
    groups = (("One fault", SINGLE), ("Several faults", COMBINED), ("Sound units", HEALTHY))
    for title, cases in groups:
        chosen = tuple(
            case
            for case in cases
            if not options.words or any(word in case.planted for word in options.words)
        )
        if not chosen:
            continue
        text += f"## {title}\n\n{COLUMNS}"
        for row, as_expected in rows(chosen):
            print(row, flush=True)
            text += row + "\n"
            good, count = good + as_expected, count + 1
        text += "\n"
    text += f"As expected: {good} of {count}.\n"
    print(f"{good} of {count} as expected, {time.monotonic() - started:.0f} s", file=sys.stderr)
    if options.write:
        TABLE.write_text(text, "utf-8")
    return int(good < count)


if __name__ == "__main__":
    sys.exit(main())
