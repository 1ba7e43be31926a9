"""What ``scanqa explain`` says of a name: a measure, a family, a cause, a word or a topic."""

from __future__ import annotations

import difflib
import tomllib
from functools import cache
from importlib import resources

from scanqa.catalogue import CATALOGUE, FAMILIES, SECOND_LOOKS, Definition
from scanqa.catalogue.causes import CAUSES, CAUTIONS
from scanqa.words.glossary import GLOSSARY, ROLE_WORDS

BETTER = {
    "higher": "More is better.",
    "lower": "Less is better.",
    "target": "Best near its target; both ways from it are worse.",
    "neither": "Neither more nor less is better.",
}
OWNERS = {
    "scanner": "It is the scanner's.",
    "paper": "It is the paper's, not the scanner's.",
    "print": "It is that of the printed sheet together with the scanner.",
    "laying": "It is a matter of how the sheet was laid.",
}


@cache
def topics() -> dict[str, tuple[str, str]]:
    """Title and text of each topic."""
    data = tomllib.loads((resources.files("scanqa.words") / "topics.toml").read_text("utf-8"))
    return {name: (row["title"], row["text"].strip()) for name, row in data.items()}


def names() -> tuple[str, ...]:
    """Everything that can be explained."""
    words = [word for entry, _ in GLOSSARY for word in entry.split(", ")]
    return tuple(dict.fromkeys((*topics(), *FAMILIES, *CATALOGUE, *CAUSES, *words)))


def explanation(name: str) -> str | None:
    """What it is, how it is measured, what it cannot know; None of a name that nobody knows."""
    if name in topics():
        title, text = topics()[name]
        return f"{title}\n\n{text}"
    if name in CATALOGUE:
        return _of_measure(CATALOGUE[name])
    if name in FAMILIES:
        family = FAMILIES[name]
        listed = "\n".join(f"- {row.name}: {row.sentence}" for row in family.measures)
        return f"{family.title}\n\n{family.text}\n\nNeeds {family.needs}.\n\n{listed}"
    if name in CAUSES:
        return _of_cause(name)
    for entry, text in GLOSSARY:
        if name.lower() in (word.lower() for word in entry.split(", ")):
            return f"{entry}\n\n{text}"
    return None


def nearest(name: str) -> tuple[str, ...]:
    """Names that may have been meant."""
    known = names()
    within = tuple(each for each in known if name and each.rpartition(".")[2] == name)
    return within or tuple(difflib.get_close_matches(name, known, n=3))


def _of_measure(row: Definition) -> str:
    family = FAMILIES[row.family]
    unit = f" ({row.unit})" if row.unit else ""
    parts = [
        f"{row.name}: {row.label}{unit}",
        row.sentence,
        f"{OWNERS[row.of]} {BETTER[row.better]}",
        f"How it is measured: {family.text}",
        f"Needs {family.needs}.",
    ]
    if look := SECOND_LOOKS.get(row.second_look):
        parts.append(f"One look is not enough to call it a fault. To be sure, scan {look}.")
    if row.spoiled_by:
        parts.append(f"Not known where hidden processing is seen: {', '.join(row.spoiled_by)}.")
    shown = ", ".join(ROLE_WORDS[role] for role in family.roles if role in ROLE_WORDS)
    parts.append(f"Measured on: {'any scan' if len(family.roles) > 8 else shown}.")
    return "\n\n".join(parts)


def _of_cause(name: str) -> str:
    cause = CAUSES[name]
    parts = [
        f"{name}: {cause.name}",
        f"Look: {cause.check}",
        f"Do: {cause.action}",
        f"Stop: {cause.stop}",
        *(CAUTIONS[each] for each in cause.cautions),
        f"Rests on: {cause.source}",
    ]
    return "\n\n".join(part for part in parts if part)
