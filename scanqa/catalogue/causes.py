"""Causes of what is seen in scans: one row for each, with its chances and its words.

``causes.toml`` says what the numbers mean. Code reads ids and chances only; names, checks, actions
and cautions are for `scanqa.words`.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib import resources
from typing import Any

NO_SOURCE = "common practice, no source"


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that may be wrong, or only look so.

    Attributes
    ----------
    id : str
        What code and records call it.
    prior : float
        How often it is met, relative to the other causes.
    shows : dict
        Chance that it shows each of the signs that it makes.
    name, check, action, stop : str
        In words: as it stands after "likely cause"; what to look at next, without tools; what to
        do; where to stop and see someone qualified.
    cautions : tuple of str
        Ids of `CAUTIONS`.
    source : str
        What the row rests on, in words.
    until_sure : str
        Its name while the second look is missing, if `name` would say too much.
    """

    id: str
    prior: float
    shows: dict[str, float]
    name: str
    check: str
    action: str
    stop: str
    cautions: tuple[str, ...]
    source: str
    until_sure: str


def _read() -> dict[str, Any]:
    text = (resources.files("scanqa.catalogue") / "causes.toml").read_text("utf-8")
    return tomllib.loads(text)


def _cause(name: str, row: dict[str, Any]) -> Cause:
    return Cause(
        id=name,
        prior=row["prior"],
        shows=row["shows"],
        name=row["name"],
        check=row["check"],
        action=row["action"],
        stop=row["stop"],
        cautions=tuple(row["caution"]),
        source=row.get("source", NO_SOURCE),
        until_sure=row.get("until-sure", row["name"]),
    )


_ROWS = _read()
CAUSES: dict[str, Cause] = {name: _cause(name, row) for name, row in _ROWS["cause"].items()}
# Chance that a sign shows although no cause at hand makes it.
BY_ACCIDENT: dict[str, float] = _ROWS["by-accident"]
CAUTIONS: dict[str, str] = _ROWS["cautions"]
# What would tell two causes apart that one set of scans may not, in words.
TELLS_APART: dict[frozenset[str], str] = {
    frozenset(row["causes"]): row["tells"] for row in _ROWS["alike"]
}
