"""What to do with the unit: rules of ``decision.toml``, the first that holds decides.

Facts are gathered from findings and uses, and from what is known beside the scans (`Standing`): the
check before, what was done since, the days left to return it, the uses that count.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any, get_args

from scanqa.model import (
    GRAVE,
    SEVERITIES,
    Act,
    Decided,
    Decision,
    Diagnosis,
    Outcome,
    Standing,
    UseVerdict,
)

WORSE = ("limited", "unfit")
NO_FAULT: tuple[Act, ...] = ("design", "original")  # of this unit


@dataclass(frozen=True, slots=True)
class Rule:
    """One row of the table; a condition that is None (or empty) asks for nothing."""

    id: str
    decision: Decided
    finding: Act | None = None
    still: bool | None = None
    weighs: bool | None = None
    window: tuple[str, ...] = ()
    uses: str = ""
    suspected: bool | None = None
    once: bool | None = None


@dataclass(frozen=True, slots=True)
class Weighed:
    """A confirmed finding as rules see it."""

    cause: str
    act: Act
    still: bool
    weighs: bool
    severity: str


@dataclass(frozen=True, slots=True)
class Facts:
    """All that the rules read. `uses` are the words of ``uses`` in a rule that hold."""

    found: tuple[Weighed, ...]
    window: str
    uses: frozenset[str]
    suspected: bool
    once: bool


def decide(
    findings: Sequence[Diagnosis], outcome: Outcome, standing: Standing | None = None
) -> Decision:
    """What to do with the unit.

    Parameters
    ----------
    findings : sequence of Diagnosis
        In any order.
    outcome : Outcome
        Of all uses.
    standing : Standing, optional
        What is known beside the scans; nothing unless given.

    Returns
    -------
    Decision
        Without words: `scanqa.words.of_decision` adds them.
    """
    known = standing or Standing()
    counted = uses_that_count(outcome, known)
    told = facts(findings, outcome, known)
    rule = next(rule for rule in rules() if _holds(rule, told))
    again = _suspected if rule.suspected else _seen_once
    doubted = [each for each in _by_weight(findings) if again(each)]
    if not (rule.suspected or rule.once):
        doubted = []
    causes = tuple(each.cause for each in doubted[:1] or _fulfilling(rule, told))
    open_ones = tuple(each.use for each in counted if each.fitness == "not judged")
    scan = outcome.next_scan
    if doubted:
        scan = doubted[0].look
    if rule.finding == "setting":
        scan = _table()["again"].get(causes[0], "untouched")
    return Decision(
        decision=rule.decision,
        rule=rule.id,
        causes=causes,
        uses=tuple(each.use for each in counted if each.fitness == "unfit")
        if rule.uses == "unfit"
        else open_ones,
        unfit=tuple(each.use for each in counted if each.fitness == "unfit"),
        noted=tuple(each for each in _of_the_unit(findings) if each not in causes),
        scan=scan,
        minutes=minutes_for(scan) if scan else None,
        days_left=known.days_left,
    )


def facts(findings: Sequence[Diagnosis], outcome: Outcome, standing: Standing) -> Facts:
    """What the rules read."""
    counted = uses_that_count(outcome, standing)
    found = tuple(
        Weighed(
            each.cause,
            act_of(each.cause),
            still=each.cause in standing.before and act_of(each.cause) in standing.done,
            weighs=each.severity == "fault" or _hurts(each, counted),
            severity=each.severity,
        )
        for each in _by_weight(findings)
        if each.confirmed and each.severity in GRAVE and each.cause in _acts()
    )
    left = standing.days_left
    window = "unknown" if left is None else "open" if left >= 0 else "over"
    return Facts(
        found,
        window,
        frozenset(_words_of_uses(counted, outcome, standing)),
        any(map(_suspected, findings)),
        any(map(_seen_once, findings)),
    )


def _of_the_unit(findings: Sequence[Diagnosis]) -> tuple[str, ...]:
    """Causes of what was found of the unit or its kind, the confirmed ones first."""
    grave = [each for each in _by_weight(findings) if each.severity in GRAVE]
    confirmed = [each for each in grave if each.confirmed]
    once = [each for each in grave if _seen_once(each)]
    return tuple(
        each.cause
        for each in (*confirmed, *once)
        if each.cause in _acts() and act_of(each.cause) != "original"
    )


def uses_that_count(outcome: Outcome, standing: Standing) -> tuple[UseVerdict, ...]:
    """Those that the owner asked for; all if none (or none of these) was named."""
    asked = tuple(each for each in outcome.uses if each.use in standing.needed)
    return asked or outcome.uses


def act_of(cause: str) -> Act:
    """What can be done about a cause; what has no row is advice, and no fault."""
    return _acts().get(cause, "design")


def act_asked(cause: str) -> Act | None:
    """The act that an action about this cause is; None for advice."""
    return _acts().get(cause)


def acts_noted(words: str) -> tuple[Act, ...]:
    """The acts that the note of an event speaks of."""
    noted = _table()["noted"].items()
    return tuple(act for act, said in noted if any(each in words.lower() for each in said))


def minutes_for(scan: str) -> int:
    """Minutes to make a scan, by the id of a second look or of a family."""
    known: dict[str, int] = _table()["minutes"]
    return known.get(scan, known["usual"])


@cache
def rules() -> tuple[Rule, ...]:
    """The table of rules, in order."""
    return tuple(
        Rule(**{**row, "window": tuple(row.get("window", ()))}) for row in _table()["rule"]
    )


@cache
def _acts() -> dict[str, Act]:
    rows = _table()["acts"]
    return {cause: act for act in get_args(Act) for cause in rows.get(act, ())}


@cache
def _table() -> dict[str, Any]:
    text = (resources.files("scanqa.findings") / "decision.toml").read_text("utf-8")
    return tomllib.loads(text)


def _by_weight(findings: Sequence[Diagnosis]) -> list[Diagnosis]:
    """The gravest first; among equals by id, so that their order does not matter."""
    return sorted(findings, key=lambda each: (SEVERITIES.index(each.severity), each.cause))


def _suspected(finding: Diagnosis) -> bool:
    """Whether one look shows what may be the unit's own, and no trait of its design."""
    causes = {each.cause for each in finding.causes} | {finding.cause}
    own = any(act_of(cause) not in NO_FAULT for cause in causes)
    return own and _seen_once(finding)


def _seen_once(finding: Diagnosis) -> bool:
    """Whether a second look has to settle what it is."""
    return not finding.confirmed and bool(finding.look) and finding.severity in GRAVE


def _hurts(finding: Diagnosis, uses: Sequence[UseVerdict]) -> bool:
    """Whether a use is surely not fit, by a measure of a family that the finding rests on."""
    return any(
        _family(name) == _family(other)
        for use in uses
        if use.fitness in WORSE or (use.between and "fit" not in use.between)
        for name in use.deciding or (use.settles,)
        for other in finding.rests_on
    )


def _family(name: str) -> str:
    return name.partition(".")[0]


def _words_of_uses(
    counted: Sequence[UseVerdict], outcome: Outcome, standing: Standing
) -> Iterator[str]:
    unfit = [each for each in counted if each.fitness == "unfit"]
    asked = {each.use for each in unfit} & set(standing.needed)
    if asked or (unfit and len(unfit) == len(counted)):
        yield "unfit"
    if all(each.fitness == "not judged" and not each.between for each in counted):
        yield "none"
    if all(each.fitness == "not judged" for each in counted):
        yield "unsure"
    if outcome.one_look or any(each.fitness == "not judged" for each in counted):
        yield "open"


def _holds(rule: Rule, told: Facts) -> bool:
    if rule.window and told.window not in rule.window:
        return False
    if rule.uses and rule.uses not in told.uses:
        return False
    if rule.suspected is not None and told.suspected != rule.suspected:
        return False
    if rule.once is not None and told.once != rule.once:
        return False
    return rule.finding is None or next(_fulfilling(rule, told), None) is not None


def _fulfilling(rule: Rule, told: Facts) -> Iterator[Weighed]:
    """Findings that a rule speaks of: those that weigh first, then the gravest."""
    for each in sorted(told.found, key=lambda found: not found.weighs):
        if rule.finding != each.act:
            continue
        if rule.still in (None, each.still) and rule.weighs in (None, each.weighs):
            yield each
