"""How often a use gets a word, by set-up and unit, and that no word is wrong.

Run by hand (a minute or two for each unit)::

    python -m tests.traps.decided --write             # into tests/traps/decided.md
    python -m tests.traps.decided --write grain soft  # only units whose names hold one of these

What was said of a unit is kept in ``decided.json`` as soon as it was run, and the table made anew:
a stop loses nothing, and a few units can be run again. With OPENBLAS_NUM_THREADS=1 it takes half
the time. The units and the truth about them:
`decided_units`. Each scan is simulated once and serves every set-up that holds it.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path

import numpy as np

from scanqa.model import Record, Role, Told, UseVerdict
from scanqa.qualification import qualify
from scanqa.scans.save import save_tiff
from scanqa.simulate import one_thread, scan
from scanqa.simulate.scenes import BlankScene, BookScene, Paper, Printer, Scene, SheetScene
from scanqa.words.of_uses import use_word
from tests.findings.faults import SHEET
from tests.traps.decided_units import (
    LIFT_MM,
    LIFTED_MM,
    PAPER_LIGHT,
    UNITS,
    Unit,
    limits,
    word,
    worst,
)

TABLE = Path(__file__).with_suffix(".md")
KEPT = Path(__file__).with_suffix(".json")
DPI = 300.0
PAPER = Paper(PAPER_LIGHT, seed=5)
LASER = Printer(edge_roughness_um=9.0)
# The units' curve is known (issue 12's doubt of an unknown one has its own table, tests.coverage),
# and the sheet is of coated paper: the simulated cut edges are ideal, which lies within its spread.
KNOWN = Told(curve="srgb", paper="coated")
SPINE = replace(KNOWN, book_edge="left")
ALL_TOLD = replace(SPINE, line_time_ms=4.0, dead_margins_mm={"left": 0.0})

BLANKS = ("blank-1", "blank-2")
SETUPS: dict[str, tuple[tuple[str, ...], Told]] = {
    "two blanks": (BLANKS, SPINE),
    "with a plain sheet": ((*BLANKS, "plain"), SPINE),
    "with an edge card": ((*BLANKS, "cut"), SPINE),
    "everything": (
        (*BLANKS, "blank-turned", "cut", "cut-turned", "plain-again", "book-1", "book-2"),
        ALL_TOLD,
    ),
}
GOALS = {"with a plain sheet": 50, "with an edge card": 70, "everything": 90}  # % of uses
FROM_BLANKS = {  # always decided from two blanks
    "lines": "streaks.strongest_visible",
    "shade": "shading.nonuniformity",
    "noise": "noise.total",
    "marks": "glass.marks",
}
OPEN = "**undecided**"
SHOWN_BY = {  # the scan that shows a family of measures
    "streaks": "blank",
    "shading": "blank",
    "sharpness": "bed sheet",
    "gutter": "book",
}
SCANS_OF = {"blank-1": "blank", "plain": "bed sheet", "cut": "bed sheet", "book-1": "book"}


def scenes(width: float) -> dict[str, Scene]:
    """Every scan of every set-up; the second print is another one, the book is laid anew."""
    other = Printer(edge_roughness_um=6.0)
    book = BookScene("left", LIFT_MM, LIFTED_MM)
    again = BookScene("left", LIFT_MM, LIFTED_MM, seed=2)
    return {
        "blank-1": BlankScene(PAPER),
        "blank-2": BlankScene(PAPER, moved_mm=(3.2, -4.1), turn_deg=0.4),
        "blank-turned": BlankScene(PAPER, moved_mm=(width + 2.0, -3.0), turn_deg=90.3),
        "plain": SheetScene(SHEET, (-50.0, -50.0), 0.35, printer=LASER),
        "cut": SheetScene(SHEET, (-50.0, -50.0), 0.35, printer=LASER, windows_cut=True),
        "cut-turned": SheetScene(SHEET, (-23.0, -185.0), 180.3, printer=LASER, windows_cut=True),
        "plain-again": SheetScene(SHEET, (-185.0, -50.0), 90.3, printer=other),
        "book-1": book,
        "book-2": again,
    }


def scanned(unit: Unit, folder: Path, names: Sequence[str], dpi: float = DPI) -> dict[str, Path]:
    """Scans of some scenes on a unit, as files."""
    files = {}
    for at, (name, scene) in enumerate(scenes(unit.glass[0]).items()):
        if name in names:
            simulated = scan(scene, unit.scanner(), dpi=dpi, rng=np.random.default_rng([9, at]))
            files[name] = folder / f"{name}.tif"
            save_tiff(files[name], simulated.pixels, simulated.dpi)
    return files


@dataclass(frozen=True)
class Said:
    """The word on one use in one set-up: which it is, and whether truth gives another."""

    use: str
    words: str
    outcome: str  # word, two or open
    is_wrong: bool


@dataclass(frozen=True)
class Row:
    """What was said of one unit in one set-up; of two blanks, also each quantity they decide."""

    unit: str
    kind: str
    setup: str
    uses: list[Said]
    quantities: dict[str, str] = field(default_factory=dict)

    @property
    def is_bad(self) -> bool:
        """Whether a word is wrong, or a quantity that blanks decide stays open."""
        return any(said.is_wrong for said in self.uses) or "**" in "".join(self.quantities.values())


def rows_of(unit: Unit, setups: Sequence[str] = tuple(SETUPS), dpi: float = DPI) -> Iterator[Row]:
    """A unit in each set-up."""
    names = {name for setup in setups for name in SETUPS[setup][0]}
    truth = unit.truth(dpi)
    with tempfile.TemporaryDirectory() as folder:
        files = scanned(unit, Path(folder), sorted(names), dpi)
        for setup in setups:
            chosen, told = SETUPS[setup]
            if unit.grain:  # taken for pictures: the user says what they are
                told = replace(told, roles={files[name]: _role(name) for name in chosen})
            found = qualify([files[name] for name in chosen], scanner="unit", told=told).record
            uses = [_said(use, truth) for use in found.outcome.uses]
            from_blanks = dict(_quantities(found)) if setup == "two blanks" else {}
            yield Row(unit.name, unit.kind, setup, uses, from_blanks)


def _role(name: str) -> Role:
    """What a scan of `scenes` shows."""
    begins: dict[str, Role] = {"blank": "blank", "book": "open-book"}
    return begins.get(name.partition("-")[0], "bed-sheet")


def _said(use: UseVerdict, truth: Mapping[str, float]) -> Said:
    outcome = "word" if use.fitness != "not judged" else "two" if use.between else "open"
    words = use_word(use) if outcome != "open" else "open"
    return Said(use.use, words, outcome, is_wrong(use, truth))


def is_wrong(verdict: UseVerdict, truth: Mapping[str, float]) -> bool:
    """Whether a word, or the exclusion of one, contradicts the truth.

    A word holds for what it names as measured and for what the use requires: an optional measure
    without a value (colours, from blanks alone) is named as missing and does not count.
    """
    said = verdict.between or (verdict.fitness,)
    if said == ("not judged",):
        return False
    known = {each.measure for each in verdict.conditions if each.value is not None}
    counted = [
        condition
        for condition in limits()[verdict.use]
        if condition.get("required") or condition["measure"] in known
    ]
    return worst([word(truth[str(each["measure"])], each) for each in counted]) not in said


def _quantities(record: Record) -> Iterator[tuple[str, str]]:
    """Lines, shade, noise and marks from two blanks: value and word, or that it is undecided."""
    for what, name in FROM_BLANKS.items():
        judged = [c for use in record.outcome.uses for c in use.conditions if c.measure == name]
        found = [m for m in record.measures if m.name == name]
        if any(m.reason_kind == "software" for m in found):
            yield what, "falsified by the driver"
        elif not judged and any(m.reason_kind == "uneven" for m in found):
            yield what, "hidden by grain"
        elif not judged:
            yield what, f"{found[0].value:.0f}" if found and found[0].value is not None else OPEN
        else:
            words = dict.fromkeys(" or ".join(each.between) or each.fitness for each in judged)
            value = "" if judged[0].value is None else f"{judged[0].value:.2f} "
            yield what, OPEN if "not judged" in words else value + "/".join(words)


# ------------------------------------------------------------------------------- the table


HEAD = """# How often a use gets a word

Made by `python -m tests.traps.decided --write`; do not edit by hand. Simulated units at 300 dpi on
a small glass (84 × 118 mm; 142 × 150 mm where made-up dpi must be told), each with the scans of
four set-ups:

- two blanks, the paper moved between them;
- a plain bed sheet besides;
- in its place one with its windows cut out on black card (the edge card);
- everything: a blank turned by 90°, the cut sheet twice, turned by 180°, another print turned by
  90°, a stiff book laid twice, `--book-edge`, `--line-time`, `--dead-margin`.

Blanks of grainy units are taken for pictures on so small a glass; there `--role` names them.
*word*: fit, limited or unfit; *two*: two neighbouring words, the third excluded, with the scan that
settles most; *open*: neither. Truth follows from the scanner's parameters in closed form
(`decided_units.py`): Gaussian optics, pixel aperture and colours out of step give the effective
dpi; line, falloff, grain, shift and light above the glass are those that were set. A word is wrong
if the truth gives another by what was measured and what the use requires.

"""
WHY = """
What physics forbids:

- *Two blanks* show no edge and no book. A gross line makes text or fine lines unfit without either;
  a lesser one excludes *fit*. Grain that the driver smoothed, or made up with the dpi, says nothing
  of the scanner's noise: falsified, not undecided. Grain that two scans share by chance hides
  marks fainter than it.
- *A plain sheet* shows printed edges, whose own blur is not known: they give "at least". A scanner
  that is sharp enough by them is *fit*; one far softer than they are rough is judged, too; one
  between may be *fit or limited*, or is open, until
  an edge of another kind tells.
- *An edge card* gives sharpness between two ends, since light is lost at the face of its paper,
  too: words of soft units between limits become *two*. The curve of all units is told; where nobody
  states it, what an S-curve would change is open, and fewer words are given.
- *Everything*: what stays open is uncertain by more than its distance from a limit, or is named in
  the row.
"""


def table(rows: Sequence[Row]) -> str:
    """All of the page between its head and its foot, from the units that were run so far."""
    missing = [unit.name for unit in UNITS if unit.name not in {row.unit for row in rows}]
    lines = [f"**Not whole**: not run are {'; '.join(missing)}.\n"] if missing else []
    lines += ["| set-up | units | uses | word | two | open |", "| --- " * 6 + "|"]
    for setup in SETUPS:
        here = [row for row in rows if row.setup == setup]
        for kind in dict.fromkeys(row.kind for row in rows):
            lines.append(f"| {setup} | {kind} {_shares([r for r in here if r.kind == kind])}")
        lines.append(f"| **{setup}** | all {_shares(here)}")
    lines.append("")
    lines += [_against_goal(rows, setup) for setup in SETUPS]
    wrong = sum(said.is_wrong for row in rows for said in row.uses)
    lines.append(f"\nWrong words: {wrong}.\n")
    lines += [f"| unit | set-up | {' | '.join(limits())} |", "| --- " * (len(limits()) + 2) + "|"]
    lines += [_line(row) for row in rows]
    lines += [
        "\nFrom two blanks: lines (%), shade (%), noise (L*) and the words they give; marks.\n"
    ]
    lines += [f"| unit | {' | '.join(FROM_BLANKS)} |", "| --- " * (len(FROM_BLANKS) + 1) + "|"]
    lines += [f"| {r.unit} | {' | '.join(r.quantities.values())} |" for r in rows if r.quantities]
    return "\n".join(lines) + "\n"


def _against_goal(rows: Sequence[Row], setup: str) -> str:
    """What share has a word, what the goal is, and which uses no scan of the set-up shows."""
    goal = f"; the goal is {GOALS[setup]} %" if setup in GOALS else ""
    unseen = unseen_uses(setup)
    why = (
        f"; {len(unseen)} of {len(limits())} rest on what no scan of it shows ({', '.join(unseen)})"
    )
    share = f"{decided(rows, setup):.0f} % have a word{goal}"
    return f"- {setup.capitalize()}: {share}{why if unseen else ''}."


def unseen_uses(setup: str) -> list[str]:
    """Uses that need a measure which no scan of a set-up shows."""
    shown = {SCANS_OF[name] for name in SETUPS[setup][0] if name in SCANS_OF}
    return [
        use
        for use, conditions in limits().items()
        if any(
            SHOWN_BY[str(each["measure"]).partition(".")[0]] not in shown
            for each in conditions
            if each.get("required")
        )
    ]


def _shares(rows: Sequence[Row]) -> str:
    counts = Counter(said.outcome for row in rows for said in row.uses)
    total = sum(counts.values())
    parts = [f"{100 * counts[what] / total:.0f} %" for what in ("word", "two", "open")]
    return f"| {total} | {' | '.join(parts)} |"


def decided(rows: Sequence[Row], setup: str) -> float:
    """Percentage of uses that have a word in a set-up."""
    outcomes = [said.outcome for row in rows if row.setup == setup for said in row.uses]
    return 100 * outcomes.count("word") / max(len(outcomes), 1)


def _line(row: Row) -> str:
    cells = [said.words + (" **wrong**" if said.is_wrong else "") for said in row.uses]
    return f"| {row.unit} | {row.setup} | {' | '.join(cells)} |"


def kept() -> list[Row]:
    """Rows of earlier runs."""
    if not KEPT.exists():
        return []
    rows = json.loads(KEPT.read_text("utf-8"))
    return [Row(**{**row, "uses": [Said(**said) for said in row["uses"]]}) for row in rows]


def keep(new: Sequence[Row]) -> None:
    """Put a unit's rows among those of earlier runs."""
    order = [unit.name for unit in UNITS]
    others = [row for row in kept() if row.unit != new[0].unit and row.unit in order]
    rows = sorted([*others, *new], key=lambda row: order.index(row.unit))
    KEPT.write_text(json.dumps([asdict(row) for row in rows], indent=1) + "\n", "utf-8")


def page() -> str:
    """The whole page, from what was kept."""
    return f"{HEAD}{table(kept())}{WHY}"


def main(given: Sequence[str] | None = None) -> int:
    """Run, print, write; 1 if a word is wrong, or lines, shade, noise or marks stay open."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("words", nargs="*", help="only units whose names hold one of these")
    parser.add_argument("--write", action="store_true", help=f"write {TABLE.name}")
    options = parser.parse_args(given)
    wanted = {u.name: u for each in options.words or [""] for u in UNITS if each in u.name}
    chosen = list(wanted.values())
    one_thread()
    bad = False
    for at, unit in enumerate(chosen, 1):
        started = time.monotonic()
        rows = []
        for row in rows_of(unit):
            rows.append(row)
            print(_line(row), ", ".join(map(" ".join, row.quantities.items())), flush=True)
        print(f"{at} of {len(chosen)}, {time.monotonic() - started:.0f} s", flush=True)
        bad |= any(row.is_bad for row in rows)
        if options.write:
            keep(rows)
            TABLE.write_text(page(), "utf-8")
    return int(bad)


if __name__ == "__main__":
    sys.exit(main())
