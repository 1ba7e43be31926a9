"""Jobs in pixels, played afresh: printed, or written as Markdown.

Run by hand (some ten minutes)::

    python -m tests.watch --write          # into tests/watch/README.md
    python -m tests.watch crop softer      # those whose names hold one of these, printed
    python -m tests.watch --write softer   # their rows anew, the others as they are written
"""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from tests.tables import is_asked_for, written_rows
from tests.watch.cases import cases, row

TABLE = Path(__file__).with_name("README.md")
HEAD = """# Jobs of pages with planted faults, and traps

Made by `python -m tests.watch --write`; do not edit by hand. Each is a job of 60 pages (48 in
colour), A4 at 200 dpi, drawn, scanned and saved by the simulator, read and judged as they come; the
first is a blank; most faults begin at page 25. Truth is what was planted, which the watch does not
see. What must be found was written before a job was first run. `tests.watch.many_jobs` counts over
many jobs.

| job | what is said | as it must be |
| --- | --- | --- |
"""


def main() -> int:
    """Run, print, write; 1 if a job is not as it must be."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("words", nargs="*", help="only jobs whose names hold one of these")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args()
    started, written, rows, good = time.monotonic(), written_rows(TABLE), [], 0
    for case in cases():
        if is_asked_for(case.name, options.words):
            made = row(case)
            verdict = f"**no**: {'; '.join(made.wrong)}" if made.wrong else "yes"
            line = f"| {made.name} | {made.said} | {verdict} |"
            print(line, flush=True)
        elif case.name in written:
            line = written[case.name]
        else:
            continue
        rows.append(line)
        good += line.endswith("| yes |")
    text = HEAD + "\n".join(rows) + f"\n\nAs it must be: {good} of {len(rows)}.\n"
    print(f"{good} of {len(rows)}, {time.monotonic() - started:.0f} s", file=sys.stderr)
    if options.write:
        TABLE.write_text(text, "utf-8")
    return int(good < len(rows))


if __name__ == "__main__":
    sys.exit(main())
