"""Results to judgement: cited criteria, diagnosis, fitness for use; ids, fields and numbers.

``judge`` is the front. Rules are TOML beside the code, which only compares; sentences are made of
what is returned in `scanqa.words`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from scanqa.findings.backing_advice import advise
from scanqa.findings.criteria import judge_criteria
from scanqa.findings.decision import act_asked, acts_noted, decide
from scanqa.findings.diagnosis import diagnose, gravest_first
from scanqa.findings.job_plan import plan
from scanqa.findings.legibility import legibility
from scanqa.findings.looks import looks_made, one_look, scans_had, with_doubtful_lines_bounded
from scanqa.findings.uses import Use, judge_uses, of_sure_roles, outcome
from scanqa.findings.uses_file import own_uses, read_uses
from scanqa.model import Action, Diagnosis, Judgement, Results, ScanFacts, Standing
from scanqa.summary import Summary, summarise

__all__ = ["Use", "acts_noted", "decide", "judge", "plan", "read_uses"]


def judge(
    results: Results,
    scans: Sequence[ScanFacts],
    *,
    uses: Sequence[Use] | None = None,
    earlier: Sequence[Summary] = (),
    standing: Standing | None = None,
) -> Judgement:
    """All findings, what to do, and the outcome per use.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner.
    scans : sequence of ScanFacts
        The scans that it was measured on.
    uses : sequence of Use, optional
        Kinds of work and their limits; those of the package unless given.
    earlier : sequence of Summary
        What the same scanner gave at an earlier check: shows a lamp that has faded since.
    standing : Standing, optional
        What is known of the unit beside its scans.

    Returns
    -------
    Judgement
        Without words: `scanqa.words.of_judgement.worded` adds them.
    """
    measured = summarise(results.measurements, scans)
    causes, streaks = diagnose(results, measured, scans, earlier)
    diagnoses = gravest_first((*causes, *advise(measured)))
    made = looks_made(results, scans, earlier)
    sure = with_doubtful_lines_bounded(of_sure_roles(results.measurements, scans), results, made)
    verdicts = judge_uses(
        summarise(sure, scans), own_uses() if uses is None else uses, scans_had(made, scans)
    )
    whole = outcome(verdicts, one_look=one_look(scans))
    return Judgement(
        findings=(*diagnoses, *judge_criteria(measured, scans)),
        actions=tuple(_actions(diagnoses)),
        outcome=whole,
        legibility=legibility(measured, scans),
        streaks=streaks,
        decision=decide(diagnoses, whole, standing),
    )


def _actions(diagnoses: Sequence[Diagnosis]) -> Iterator[Action]:
    """One for each cause that weighs; one for each second look that is missing."""
    asked: set[str] = set()
    for finding in diagnoses:
        if finding.severity not in ("fault", "warning"):
            continue
        if not finding.confirmed and finding.look:
            if finding.look in asked:
                continue
            asked.add(finding.look)
            yield Action(finding.cause, look=finding.look)
            continue
        yield Action(finding.cause, act=act_asked(finding.cause))
