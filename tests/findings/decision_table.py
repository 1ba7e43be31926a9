"""Planted fault × decision, made afresh: printed or written as Markdown.

Run by hand (some twenty minutes on one core)::

    python -m tests.findings.decision_table --write         # all rows, into decisions.md
    python -m tests.findings.decision_table haze --write    # rows whose words hold "haze"

What is expected stands here and was written before a row was first run: at the first look; with all
scans; with all scans and ten days left to return the unit.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

from scanqa.model import Identity, Record
from scanqa.simulate import one_thread
from scanqa.standing import decided
from tests.findings.faults import CASES, Case, answer
from tests.tables import is_asked_for, written_rows

TABLE = Path(__file__).with_name("decisions.md")
CLEAN = ("too-little", "clean", "clean")
FLAW = ("too-little", "ask-seller", "return")
MEND = ("too-little", "repair", "ask-seller")
SETTING = ("too-little", "too-little", "too-little")
DESIGN = ("too-little", "open", "open")  # of all of its kind, or not the unit's: the rest is open
QUIET = ("open", "open", "open")
EXPECTED: dict[str, tuple[str, str, str]] = {
    "dirt on the sensor window": CLEAN,
    "dirt on the white strip": CLEAN,
    "dead element": FLAW,
    "contact sensor, joins": DESIGN,
    "a line in the paper": DESIGN,
    "two specks of dust": ("open", "clean", "clean"),
    "a scratch of 14 mm": QUIET,  # it harms no use that blanks can judge
    "haze: 8 %": CLEAN,
    "haze: 15 %": CLEAN,
    "shadow 4 mm deep": DESIGN,
    "light source ends too soon": DESIGN,  # it harms no use
    "optics seated wrongly": MEND,
    "worn lamp, 25 %": QUIET,
    "worn lamp, 60 %": QUIET,  # it is told, and works still
    "cold lamp: 8 %": SETTING,
    "inverter flickers at 31 Hz": MEND,
    "lamp flickers at twice the mains": MEND,
    "inverter flickers irregularly": MEND,
    "belt: bands": MEND,
    "motor steps": MEND,
    "red and blue 0.5 px": DESIGN,
    "out of focus all over": FLAW,
    "tilted optics: soft at the right, sheet scanned twice": DESIGN,  # text is fit all the same
    "tilted optics, sheet scanned once": SETTING,
    "the sheet curls": DESIGN,
    "false dpi: 150 native": ("too-little", "ask-seller", "ask-seller"),
    "false dpi along travel only": ("too-little", "ask-seller", "ask-seller"),
    "software sharpens": SETTING,
    "software stretches levels": SETTING,
    "brightness too high": SETTING,
    "software smooths grain": SETTING,
    "JPEG of quality 60": SETTING,
    "software crops": ("open", "too-little", "too-little"),
    "rough print": QUIET,
    "sheet printed 1.2 % too large, bars": QUIET,
    "sheet printed 1.2 % too large, no rule": QUIET,
    "scanner's scale off": QUIET,
    "noisy electronics": QUIET,
    "a book that lifts": QUIET,
    "haze of 10 % and dirt": CLEAN,
    "out of focus, colours out of step and dust": FLAW,
    "false dpi, sharpening and bands": ("too-little", "ask-seller", "ask-seller"),
    "cold lamp, dirt on the white strip": CLEAN,
    "sound CCD unit": QUIET,
    "sound contact-sensor unit": QUIET,
    "cheap but honest": QUIET,
}
HEAD = """# Planted faults and what is decided

Made by `python -m tests.findings.decision_table --write`; do not edit by hand. Each row is
simulated, written to TIFF, measured and judged as in [faults.md](faults.md). What is expected was
written before a row was first run: at the first look, with all scans, and with ten days left to
return the unit; a row that differs says how. Most sets hold no book and not all sheets, so that
much stays open.

| planted | expected | first look | all scans | ten days left | title | as expected |
| --- | --- | --- | --- | --- | --- | --- |
"""


def expected_of(case: Case) -> tuple[str, str, str]:
    """What was written beforehand."""
    (found,) = [words for name, words in EXPECTED.items() if case.planted.startswith(name)]
    return found


def decisions(case: Case) -> tuple[tuple[str, str, str], str]:
    """At the first look, with all scans, with ten days left; the title with all scans."""
    with tempfile.TemporaryDirectory() as folder:
        first = decided(answer(case.at_first, Path(folder)).record)
    with tempfile.TemporaryDirectory() as folder:
        record = answer(case, Path(folder)).record
    whole = decided(record)
    days = decided(record, identity=_with_ten_days(record))
    found = (first.decision.decision, whole.decision.decision, days.decision.decision)
    return found, f"{whole.decision.title}. {whole.decision.sentence}"


def _with_ten_days(record: Record) -> Identity:
    from datetime import datetime, timedelta

    until = datetime.fromisoformat(record.created).date() + timedelta(days=10)
    return Identity(record.scanner, return_until=until.isoformat())


def row(case: Case) -> str:
    """A line of the table."""
    expected = expected_of(case)
    found, title = decisions(case)
    wrong = [
        f"{where}: {is_} for {was}"
        for where, is_, was in zip(
            ("first look", "all scans", "ten days"), found, expected, strict=True
        )
        if is_ != was
    ]
    verdict = "yes" if not wrong else f"**no**: {'; '.join(wrong)}"
    cells = (case.planted, ", ".join(expected), *found, title.replace("|", "/"), verdict)
    return "| " + " | ".join(cells) + " |"


def main() -> int:
    """Make the rows asked for; the number that is not as expected."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("words", nargs="*", help="only cases whose words hold one of these")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args()
    one_thread()
    planted = {case.planted for case in CASES}
    known = {name: line for name, line in written_rows(TABLE).items() if name in planted}
    wrong = 0
    for case in CASES:
        if not is_asked_for(case.planted, options.words):
            continue
        known[case.planted] = row(case)
        print(known[case.planted], flush=True)
        wrong += not known[case.planted].endswith("| yes |")
        if options.write:
            rows = [known[each.planted] for each in CASES if each.planted in known]
            good = sum(line.endswith("| yes |") for line in rows)
            text = HEAD + "\n".join(rows) + f"\n\nAs expected: {good} of {len(rows)} rows run.\n"
            TABLE.write_text(text, "utf-8")
    return wrong


if __name__ == "__main__":
    sys.exit(main())
