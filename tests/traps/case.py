"""A trap: scans that invite a wrong word, what must not be said of them and what must be.

The words are ids, so that no sentence is compared (`said_of` makes them of a record):

- ``role:blank``: what a scan was taken for;
- ``cause:tilt``: the first cause of a diagnosis; ``fault:tilt``, ``warning:tilt``, ``note:tilt``
  with its severity; ``severity:fault``: there is a diagnosis of that severity;
- ``sure:tilt``: a diagnosis that a second look has confirmed; ``look:paper-moved``: the second look
  that one asks for;
- ``measure:streaks.strongest_visible:ok``: the status of a value; ``reason:clipped``: why one is
  missing or a bound;
- ``use:text:fit``, ``outcome:partly judged``: the words on uses; ``open:text``: a use between two
  words;
- ``decision:keep``: what is decided; none of `AGAINST` unless the case asks for a fault;
- ``action:tilt``, ``seller``: what to do names this cause; there is a page for the seller;
- ``rejected``: a file could not be used;
- ``line:since``: a line that is new since an earlier check, and too faint for this one alone.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

from scanqa.model import Record, Told
from scanqa.qualification import qualify
from scanqa.report.evidence.seller_page import worth_a_page

# Decisions that cost somebody something: wrong of a unit of which no fault must be said.
AGAINST = ("decision:return", "decision:ask-seller", "decision:repair")
FAULTY = ("fault:", "warning:", "severity:", "sure:", "decision:", "seller")


@dataclass(frozen=True)
class Case:
    """Scans and the words that must and must not be said of them, written before it is run.

    Attributes
    ----------
    name : str
        What is on the glass or in the file, in words.
    make : callable
        Writes the scans into a folder and returns their paths.
    must_not, must : tuple of str
        Ids as in `said_of`; one that ends in ``*`` stands for all that begin so.
    earlier : callable or None
        Writes the scans of an earlier check of the same scanner, which the user gives.
    told : Told
        What the user adds; files whose roles are told are in the folder of the scans.
    fast : bool
        Whether CI runs it each time: a few seconds at most.
    source : str
        Where the truth comes from, if not from the scene that was laid on the simulated glass.
    """

    name: str
    make: Callable[[Path], Sequence[Path]]
    must_not: tuple[str, ...]
    must: tuple[str, ...]
    told: Told = field(default_factory=Told)
    fast: bool = False
    earlier: Callable[[Path], Sequence[Path]] | None = None
    source: str = ""


def run(case: Case, folder: Path) -> Record:
    """Make the scans of a case and qualify them."""
    paths = list(case.make(folder))
    roles = {folder / file.name: role for file, role in case.told.roles.items()}
    told = replace(case.told, roles=roles)
    if case.earlier is not None:
        before = folder / "earlier"
        before.mkdir()
        check = qualify(list(case.earlier(before)), scanner="bench", told=case.told)
        told = replace(told, earlier=check.record)
    return qualify(paths, scanner="bench", told=told).record


def said_of(record: Record) -> tuple[str, ...]:
    """Everything that a record says, as ids, each once."""
    return tuple(dict.fromkeys(_ids(record)))


def _ids(record: Record) -> Iterator[str]:
    yield from (f"role:{scan.role}" for scan in record.scans)
    for found in record.diagnoses:
        yield f"cause:{found.cause}"
        yield f"{found.severity}:{found.cause}"
        yield f"severity:{found.severity}"
        if not found.causes:
            continue
        if found.confirmed:
            yield f"sure:{found.cause}"
        elif found.look:
            yield f"look:{found.look}"
    yield from ("line:since" for streak in record.streaks if streak.since)
    for m in record.measures:
        yield f"measure:{m.name}:{m.status}"
        if m.reason_kind:
            yield f"reason:{m.reason_kind}"
    yield f"outcome:{record.outcome.fitness}"
    for use in record.outcome.uses:
        yield f"use:{use.use}:{use.fitness}"
        if use.between:
            yield f"open:{use.use}"
    yield f"decision:{record.decision.decision}"
    yield from (f"action:{action.cause}" for action in record.actions)
    if worth_a_page(record):
        yield "seller"
    if record.rejected:
        yield "rejected"


def wrong_words(case: Case, said: Sequence[str]) -> list[str]:
    """What is wrong with what was said, in words; nothing if all is as it must be."""
    faulty = any(word.startswith(FAULTY) for word in case.must)
    must_not = case.must_not if faulty else (*case.must_not, *AGAINST)
    wrong = [f"said: {word}" for word in must_not if any(_is(word, each) for each in said)]
    silent = [word for word in case.must if not any(_is(word, each) for each in said)]
    return wrong + [f"not said: {word}" for word in silent]


def _is(asked: str, said: str) -> bool:
    return said.startswith(asked[:-1]) if asked.endswith("*") else said == asked


__all__ = ["Case", "run", "said_of", "wrong_words"]
