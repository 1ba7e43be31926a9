"""A judgement in words: every sentence of findings, actions, outcome, legibility and streaks."""

from __future__ import annotations

from dataclasses import replace

from scanqa.catalogue.causes import CAUSES
from scanqa.model import Criterion, Diagnosis, Finding, Judgement, Legibility, Results, Streak
from scanqa.words.of_criteria import worded_criterion
from scanqa.words.of_decision import worded_decision
from scanqa.words.of_findings import worded_action, worded_diagnosis
from scanqa.words.of_uses import worded_outcome


def worded(judgement: Judgement, results: Results) -> Judgement:
    """A judgement with all its words.

    Parameters
    ----------
    judgement : Judgement
        From `scanqa.findings.judge`.
    results : Results
        What it judges: streaks and marks that signs speak of.
    """

    def words_for(finding: Finding) -> Finding:
        if isinstance(finding, Criterion):
            return worded_criterion(finding)
        return worded_diagnosis(finding, results)

    findings = tuple(words_for(finding) for finding in judgement.findings)
    diagnoses = [each for each in findings if isinstance(each, Diagnosis)]
    outcome = worded_outcome(judgement.outcome, diagnoses)
    return Judgement(
        findings=findings,
        actions=tuple(worded_action(action, diagnoses) for action in judgement.actions),
        outcome=outcome,
        legibility=tuple(_worded_legibility(each) for each in judgement.legibility),
        streaks=tuple(_worded_streak(streak) for streak in judgement.streaks),
        decision=worded_decision(judgement.decision, diagnoses, outcome),
    )


def _worded_legibility(legibility: Legibility) -> Legibility:
    if legibility.bound != "ok" or legibility.limit != "sampling":
        return legibility
    note = (
        f"the scan's own {legibility.dpi} dpi are the limit; a finer setting may show smaller print"
    )
    return replace(legibility, note=note)


def _worded_streak(streak: Streak) -> Streak:
    return replace(streak, likely_cause=CAUSES[streak.causes[0].cause].until_sure)
