"""Results to judgement: cited criteria, diagnosis, fitness for use.

``judge`` is the front; `criteria`, `diagnosis` and `uses` each read their rules from TOML beside
them and only compare.
"""

from __future__ import annotations

from collections.abc import Sequence

from scanqa.findings.backing import advise
from scanqa.findings.criteria import judge_criteria
from scanqa.findings.diagnosis import diagnose
from scanqa.findings.legibility import legibility
from scanqa.findings.plan import plan
from scanqa.findings.profile import own_uses, read_uses
from scanqa.findings.uses import Use, judge_uses
from scanqa.model import (
    Action,
    Finding,
    Fitness,
    Judgement,
    Outcome,
    Results,
    ScanFacts,
    UseVerdict,
)

__all__ = ["Use", "judge", "plan", "read_uses"]

GRAVITY = ("fault", "warning", "note", "good")


def judge(
    results: Results,
    scans: tuple[ScanFacts, ...],
    *,
    uses: Sequence[Use] | None = None,
    earlier: Results | None = None,
) -> Judgement:
    """All findings, what to do, and the outcome per use.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner.
    scans : tuple of ScanFacts
        The scans that it was measured on.
    uses : sequence of Use, optional
        Kinds of work and their limits; those of the package unless given.
    earlier : Results, optional
        What the same scanner gave at an earlier check: shows a lamp that has faded since.
    """
    diagnoses = diagnose(results, scans, earlier=earlier)
    diagnoses = tuple(
        sorted((*diagnoses, *advise(results)), key=lambda finding: GRAVITY.index(finding.severity))
    )
    verdicts = judge_uses(results, own_uses() if uses is None else uses)
    judged = [use for use in verdicts if use.fitness != "not judged"]
    fitness: Fitness
    if not judged:
        fitness = "not judged"
        sentence = "Too little was measured to judge any use; see what is missing below."
    else:
        words = {use.fitness for use in judged}
        if words == {"fit"}:
            fitness = "fit"
        elif words == {"unfit"}:
            fitness = "unfit"
        else:
            fitness = "limited"
        sentence = _sentence(_by_word(judged), diagnoses)
        if len(judged) < len(verdicts):
            left = ", ".join(use.use for use in verdicts if use.fitness == "not judged")
            sentence += f" Not judged: {left}."
    return Judgement(
        diagnoses + judge_criteria(results, scans),
        _actions(diagnoses),
        Outcome(fitness, sentence, verdicts),
        legibility(results, scans),
    )


def _by_word(judged: list[UseVerdict]) -> dict[str, list[str]]:
    names: dict[str, list[str]] = {"fit": [], "limited": [], "unfit": []}
    for use in judged:
        names[use.fitness].append(use.use)
    return names


def _sentence(names: dict[str, list[str]], diagnoses: tuple[Finding, ...]) -> str:
    parts = []
    for word, start in (("fit", "Fit for"), ("limited", "Limited for"), ("unfit", "Unfit for")):
        if names[word]:
            parts.append(f"{start} {', '.join(names[word])}.")
    faults = [f.title for f in diagnoses if f.severity == "fault"]
    if faults:
        more = f" and {len(faults) - 1} more" if len(faults) > 1 else ""
        parts.append(f"Gravest sign: {faults[0]}{more}.")
    return " ".join(parts)


def _actions(diagnoses: tuple[Finding, ...]) -> tuple[Action, ...]:
    """One action for each thing to do; signs that ask for the same share it."""
    because: dict[tuple[str, str], list[str]] = {}
    for finding in diagnoses:
        if finding.action and finding.severity in ("fault", "warning"):
            because.setdefault((finding.action, finding.caution), []).append(finding.title)
    return tuple(
        Action(action, "; ".join(titles), caution) for (action, caution), titles in because.items()
    )
