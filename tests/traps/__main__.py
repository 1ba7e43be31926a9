"""Every trap, run afresh: printed, or written as Markdown.

Run by hand (some minutes)::

    python -m tests.traps --write        # into tests/traps/README.md
    python -m tests.traps crease paper   # those whose names hold one of these, printed
    python -m tests.traps --write crease # their rows anew, the others as they are written

Cases stand in the modules ``cases_*.py`` beside this one, each with its list ``CASES``.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from scanqa.simulate import one_thread
from tests.tables import is_asked_for, written_rows
from tests.traps.case import Case, run, said_of, wrong_words
from tests.traps.gather import areas

TABLE = Path(__file__).with_name("README.md")
HEAD = """# Traps: scans that invite a wrong word

Made by `python -m tests.traps --write`; do not edit by hand. What must not be said and what must
be was written before a row was first run. `case.py` says what the ids mean. `said` lists roles,
diagnoses with their severity, second looks asked for, the outcome and what is decided: nothing
against a unit of which no fault must be said. Where no source of the truth is named it is the
scene that was laid on the simulated glass, which shares no code with the
measures. Rows that CI runs each time are marked *fast*.

"""
COLUMNS = (
    "| trap | must not be said | must be said | what is said | as it must be |\n"
    "| --- | --- | --- | --- | --- |\n"
)
SHOWN = (
    "role:",
    "fault:",
    "warning:",
    "note:",
    "look:",
    "outcome:",
    "decision:",
    "seller",
    "rejected",
)


def line(case: Case) -> tuple[str, bool]:
    """A row of the table, and whether all was said as it must be."""
    with tempfile.TemporaryDirectory() as folder:
        said = said_of(run(case, Path(folder)))
    wrong = wrong_words(case, said)
    asked = [each for each in case.must if each in said]
    shown = [each for each in said if each.startswith(SHOWN) or each in asked]
    cells = (
        _named(case),
        ", ".join(case.must_not),
        ", ".join(case.must),
        ", ".join(shown),
        f"**no**: {'; '.join(wrong)}" if wrong else "yes",
    )
    return "| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |", not wrong


def _named(case: Case) -> str:
    """The first cell of its row."""
    source = f" ({case.source})" if case.source else ""
    return (case.name + source + (" *fast*" if case.fast else "")).replace("|", "/")


def main() -> int:
    """Run, print, write; 1 if a row is not as it must be."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("words", nargs="*", help="only cases whose names hold one of these")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args()
    one_thread()
    started = time.monotonic()
    text, good, count = HEAD, 0, 0
    written = written_rows(TABLE)
    for area, cases in areas().items():
        text += f"## {area}\n\n{COLUMNS}"
        for case in cases:
            if is_asked_for(case.name, options.words):
                row, is_good = line(case)
                print(row, flush=True)
            elif _named(case) in written:
                row = written[_named(case)]
                is_good = row.endswith("| yes |")
            else:
                continue
            text += row + "\n"
            good, count = good + is_good, count + 1
        text += "\n"
    text += f"As it must be: {good} of {count}.\n"
    print(f"{good} of {count}, {time.monotonic() - started:.0f} s", file=sys.stderr)
    if options.write:
        TABLE.write_text(text, "utf-8")
    return int(good < count)


if __name__ == "__main__":
    sys.exit(main())
