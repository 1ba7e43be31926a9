"""Every trap, run afresh: printed, or written as Markdown.

Run by hand (some minutes)::

    python -m tests.traps --write        # into tests/traps/README.md
    python -m tests.traps crease paper   # those whose names hold one of these, printed
    python -m tests.traps --write crease # their rows anew, the others as they are written
    python -m tests.traps --write --from "an upside-down sheet"   # go on there after a break

Cases stand in the modules ``cases_*.py`` beside this one, each with its list ``CASES``.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from itertools import dropwhile
from pathlib import Path

from scanqa.simulate import one_thread
from scanqa.whole import write_whole
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


def line(case: Case) -> str:
    """A row of the table."""
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
    return "| " + " | ".join(cell.replace("|", "/") for cell in cells) + " |"


def _named(case: Case) -> str:
    """The first cell of its row."""
    source = f" ({case.source})" if case.source else ""
    return (case.name + source + (" *fast*" if case.fast else "")).replace("|", "/")


def all_cases() -> list[Case]:
    """Every trap, in the order of the table."""
    return [case for cases in areas().values() for case in cases]


def table_of(rows: dict[str, str]) -> str:
    """The whole table from its rows by their first cell; a trap without one is left out."""
    text, shown = HEAD, []
    for area, cases in areas().items():
        of_area = [rows[_named(case)] for case in cases if _named(case) in rows]
        text += f"## {area}\n\n{COLUMNS}" + "".join(row + "\n" for row in of_area) + "\n"
        shown += of_area
    good = sum(row.endswith("| yes |") for row in shown)
    return text + f"As it must be: {good} of {len(shown)}.\n"


def main() -> int:
    """Run, print, write; 1 if a row is not as it must be."""
    names = [case.name for case in all_cases()]
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("words", nargs="*", help="only cases whose names hold one of these")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    parser.add_argument("--from", dest="start", choices=names, metavar="TRAP", help="begin there")
    options = parser.parse_args()
    one_thread()
    started = time.monotonic()
    rows = written_rows(TABLE)
    asked = [case for case in all_cases() if is_asked_for(case.name, options.words)]
    for case in dropwhile(lambda case: case.name != (options.start or case.name), asked):
        rows[_named(case)] = line(case)
        print(rows[_named(case)], flush=True)
        if options.write:  # each row as it is made: a break loses one
            write_whole(TABLE, table_of(rows))
    shown = [rows[_named(case)] for case in all_cases() if _named(case) in rows]
    good = sum(row.endswith("| yes |") for row in shown)
    print(f"{good} of {len(shown)}, {time.monotonic() - started:.0f} s", file=sys.stderr)
    return int(good < len(shown))


if __name__ == "__main__":
    sys.exit(main())
