"""The tables of measures for readers, made from the rows: ``python -m scanqa.catalogue.table``.

Writes ``README.md`` beside this module.
"""

from __future__ import annotations

import re
from pathlib import Path

from scanqa.catalogue import FAMILIES, SECOND_LOOKS, Definition, Family

BETTER = {"higher": "more", "lower": "less", "target": "on target", "neither": "–"}
OWNERS = {"scanner": "scanner", "paper": "paper", "print": "print", "laying": "how it lay"}
FEWEST_LETTERS = 30  # of what is said of a family
PER = {"pixel": "yes, of pixels", "dpi": "yes", "bed": "no"}
HEAD = """\
# The catalogue of measures

Every measure, made from the rows in [families/](families/) by `python -m scanqa.catalogue.table`;
do not edit by hand. A name in braces stands for several: `edges.shadow_{side}` for
`edges.shadow_left` and so on.

{short_table}

In the tables below:

- *better*: whether more or less is better, or a value near its target.
- *matters*: the difference from which on it matters to the work (our limits; common practice, no
  source).
- *dpi*: whether it depends on the dpi of the scan; values of pixels do not compare across dpi.
- *of*: whose value it is. What is the paper's, the print's or the laying's is neither compared nor
  watched.
- *to be sure*: the second scan that tells a fault of the scanner from other causes.
"""


def whole_table() -> str:
    """Every measure with all that is known of it, by family."""
    head = HEAD.replace("{short_table}", short_table())
    return head + "".join(map(_family_part, FAMILIES.values()))


def _family_part(family: Family) -> str:
    lines = [
        f"\n## {family.title}\n",
        f"{family.text}\n",
        f"Needs {family.needs}.\n",
        "| measure | unit | what | better | matters | dpi | of | to be sure |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for row in _rows(family):
        cells = (
            f"`{row.pattern}`",
            row.unit or "ratio",
            _any(row, row.sentence),
            BETTER[row.better],
            _matters(row),
            PER[row.per],
            OWNERS[row.of],
            SECOND_LOOKS[row.second_look] or "its traces are in the file",
        )
        lines.append(f"| {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def short_table() -> str:
    """One line for each family: its measures and what they say."""
    lines = ["| measures | what they say |", "| --- | --- |"]
    for family in FAMILIES.values():
        names = ", ".join(f"`{row.pattern}`" for row in _rows(family))
        lines.append(f"| **{family.title}**: {names} | {_beginning(family.text)} |")
    return "\n".join(lines)


def _beginning(text: str) -> str:
    """The first sentence, and more where it is but a word or two."""
    sentences = re.split(r"(?<=\.) ", text)
    said = sentences.pop(0)
    while len(said) < FEWEST_LETTERS and sentences:
        said += f" {sentences.pop(0)}"
    return said


def _rows(family: Family) -> list[Definition]:
    """The first measure of each row."""
    return list({row.pattern: row for row in reversed(family.measures)}.values())[::-1]


def _any(row: Definition, sentence: str) -> str:
    """A sentence of one measure, said of all that its row stands for."""
    for key, value in row.at.items():
        if key == "side":
            sentence = re.sub(rf"\b{value}\b", "{side}", sentence)
        elif key != "format":
            sentence = re.sub(rf"\b{value}\b", f"{{{key}}}", sentence, count=1)
    return sentence


def _matters(row: Definition) -> str:
    if row.matters.share is not None:
        return f"{100 * row.matters.share:g} %"
    return f"{row.matters.size:g} {row.unit}".strip()


if __name__ == "__main__":
    Path(__file__).with_name("README.md").write_text(whole_table(), "utf-8")
