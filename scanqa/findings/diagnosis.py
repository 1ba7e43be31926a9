"""From signs to likely causes.

Each sign that asks for an explanation (`scanqa.findings.signs`) is given the causes that can make
it, ranked by Bayes' rule: prior × chance of every sign that was looked for, found or not. The
surest explanation is taken first; from then on its cause is taken as given, so that it explains
other signs without a prior of its own and another cause need not explain them: faults that come
together are told apart, and one fault is not named twice. A sign shows with the highest chance
that any cause at hand gives it. Signs that lead to the same first cause are one diagnosis.

A sign counts as the scanner's once a second look agrees (`scanqa.findings.looks`). Where that look
disagrees the sign is what the look rules out otherwise (the paper, the sheet's laying) and speaks
for nothing else; where it was not made the diagnosis is not `confirmed`, at most a warning, and
names the look that settles it.

Lines come last, each by itself: what is known of a single line (its polarity, its length, …) is
for its own cause to explain, whatever else is at hand.

Causes and chances are data: `scanqa.catalogue.causes`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from scanqa.catalogue import EXCLUDED_BY
from scanqa.catalogue.causes import BY_ACCIDENT, CAUSES
from scanqa.findings.looks import NONE_NEEDED, Sides, agrees, look_for, looks_made, of_a_ruling
from scanqa.findings.signs import Found, Signs, asking, observe
from scanqa.findings.signs.spots import LINES, of_line
from scanqa.model import (
    SEVERITIES,
    Diagnosis,
    Results,
    ScanFacts,
    Seen,
    Severity,
    Share,
    Streak,
)
from scanqa.summary import Summary

LEAST_SHARE = 0.05  # causes that are less likely are not named
ALIKE = 0.4  # of the share of the first, from which on another cause is said to look alike
NOT_OF_THE_SCANNER = ("paper", "bad-print")  # whatever they do is no fault of it
# What settles a trace in the file that may only come with the cause.
OF_A_TRACE = "another-original"
PAUSE = "carriage-pause"  # lies elsewhere in each scan, as what moved with the paper does

Ranking = tuple[Share, ...]  # the likeliest first
Explained = dict[str, list[tuple[Seen, Ranking]]]  # by the likeliest cause


def diagnose(
    results: Results,
    measured: Sequence[Summary],
    scans: Sequence[ScanFacts],
    earlier: Sequence[Summary] = (),
) -> tuple[tuple[Diagnosis, ...], tuple[Streak, ...]]:
    """Diagnoses, the gravest first, and the streaks with their causes.

    Parameters
    ----------
    results : Results
        Everything measured on one scanner: its streaks and marks.
    measured : sequence of Summary
        Its measurements.
    scans : sequence of ScanFacts
        The scans that it was measured on.
    earlier : sequence of Summary
        What the same scanner gave at an earlier check: shows a lamp that has faded since.
    """
    made = looks_made(results, scans, earlier)
    signs, contradicted = _without_contradicted(
        observe(results, measured, scans, earlier), made, results
    )
    others, given = _explain(signs, made, results)
    explained: Explained = {}
    streaks = list(results.streaks)
    still = any(scan.paper == "still" for scan in scans) and "paper-moved" not in made
    for line, ranking in _lines(signs, given, results, measured, still=still):
        explained.setdefault(ranking[0].cause, []).append((line, ranking))
        if line.streak is not None:
            streaks[line.streak] = replace(streaks[line.streak], causes=ranking)
    for members_of in (others, contradicted):
        for cause, members in members_of.items():
            explained.setdefault(cause, []).extend(members)
    found = [_diagnosis(cause, members, made, results) for cause, members in explained.items()]
    return gravest_first(found), tuple(streaks)


def gravest_first(found: Sequence[Diagnosis]) -> tuple[Diagnosis, ...]:
    """Diagnoses by severity, else in the order given."""
    return tuple(sorted(found, key=lambda diagnosis: SEVERITIES.index(diagnosis.severity)))


def _without_contradicted(signs: Signs, made: Sides, results: Results) -> tuple[Signs, Explained]:
    """Signs that stand, and by cause those that the second look says are not the scanner's.

    Lines stay: whether they move with the paper is among the signs of their causes.
    """
    kept, contradicted = dict(signs), Explained()
    for name, seen in asking(signs).items():
        if name in LINES.values():
            continue
        against = [s for s in seen if agrees(s, made, results) is False]
        excluded = EXCLUDED_BY[look_for(against[0])] if against else ()
        if not excluded:
            continue
        kept[name] = tuple(s for s in seen if s not in against)
        share = (Share(excluded[0], 1.0),)
        contradicted.setdefault(excluded[0], []).extend((s, share) for s in against)
    return kept, contradicted


def _explain(signs: Signs, made: Sides, results: Results) -> tuple[Explained, list[str]]:
    """Causes of all signs but single lines, and these causes in the order they were found."""
    explained: Explained = {}
    given: list[str] = []
    still_open = {name: seen for name, seen in asking(signs).items() if name not in LINES.values()}
    while still_open:
        rankings = {
            name: _possible(rank(name, signs, given), still_open[name], made, results)
            for name in still_open
        }
        surest = max(still_open, key=lambda name: rankings[name][0].share)
        ranking = rankings[surest]
        members = [(seen, ranking) for seen in still_open.pop(surest)]
        explained.setdefault(ranking[0].cause, []).extend(members)
        given.append(ranking[0].cause)
    return explained, given


def _possible(ranking: Ranking, seen: Sequence[Seen], made: Sides, results: Results) -> Ranking:
    """A ranking without the causes that a second look has ruled out."""
    ruled_out = {
        cause
        for each in seen
        if agrees(each, made, results)
        for cause in EXCLUDED_BY[look_for(each)]
    }
    left = [each for each in ranking if each.cause not in ruled_out]
    total = sum(each.share for each in left)
    return tuple(Share(each.cause, each.share / total) for each in left) if left else ranking


def _lines(
    signs: Signs,
    given: Sequence[str],
    results: Results,
    measured: Sequence[Summary],
    *,
    still: bool,
) -> Iterator[tuple[Seen, Ranking]]:
    """Single lines and their causes, the strongest first.

    That there are other lines, or none across, speaks for no cause of this one. Lines alone are
    no sign of compression: where its own traces were not looked for, they count as absent. Where
    the paper lay `still`, that a line stays is no sign either.
    """
    lines = [seen for name in LINES.values() for seen in asking(signs).get(name, ())]
    beside = {name: found for name, found in signs.items() if name not in LINES.values()}
    beside.setdefault("compressed", False)
    for line in sorted(lines, key=lambda line: -_streak(line, results.streaks).delta_L):
        own = of_line(_streak(line, results.streaks), measured)
        if still:
            del own["line-stays"]
        elif line.streak is not None and of_a_ruling(line.streak, results):
            own |= {"line-stays": 0.0, "line-full": False}  # nothing of it tells of the scanner
        yield line, rank(line.sign, beside, given, own)


def _streak(line: Seen, streaks: Sequence[Streak]) -> Streak:
    assert line.streak is not None  # every line is one of the streaks
    return streaks[line.streak]


# ------------------------------------------------------------------------------------ causes


def rank(
    name: str,
    signs: Mapping[str, Found],
    given: Sequence[str] = (),
    own: Mapping[str, Found] | None = None,
) -> Ranking:
    """Causes of one sign and their shares, by Bayes' rule over all signs that were looked for.

    Parameters
    ----------
    name : str
        The sign to be explained: only causes that make it are considered.
    signs : mapping of sign to what was found of it
        From `scanqa.findings.signs.observe`.
    given : sequence of str
        Causes that other signs have shown already.
    own : mapping of sign to what was found of it, optional
        Signs of the one thing that is to be explained: they speak for its own cause only.

    Raises
    ------
    KeyError
        If no cause makes the sign.
    """
    weights = {}
    for cause in CAUSES.values():
        if name in cause.shows:
            weight = 1.0 if cause.id in given else cause.prior
            for sign, found in signs.items():
                weight *= _likelihood(_chance(sign, (cause.id, *given)), found)
            for sign, found in (own or {}).items():
                weight *= _likelihood(_chance(sign, (cause.id,)), found)
            weights[cause.id] = weight
    if not weights:
        raise KeyError(f"no cause in causes.toml makes the sign {name}")
    total = sum(weights.values())
    ranked = sorted(weights.items(), key=lambda item: -item[1])
    return tuple(Share(cause, weight / total) for cause, weight in ranked)


def _chance(sign: str, causes: Sequence[str]) -> float:
    """Chance that a sign shows if all of these causes are there."""
    named = [CAUSES[cause].shows[sign] for cause in causes if sign in CAUSES[cause].shows]
    return float(max(named, default=BY_ACCIDENT[sign]))


def _likelihood(chance: float, found: Found) -> float:
    """How well a chance fits what was found: there, absent, or there with a probability."""
    there = found if isinstance(found, float) else float(bool(found))
    return chance * there + (1 - chance) * (1 - there)


# ----------------------------------------------------------------------------------- diagnoses


def _diagnosis(
    cause: str, members: Sequence[tuple[Seen, Ranking]], made: Sides, results: Results
) -> Diagnosis:
    """One for all signs that lead to a cause; the gravest sign brings its ranking."""
    weighed = [(_weighed(seen, cause, made, results), ranking) for seen, ranking in members]
    weighed.sort(key=lambda each: SEVERITIES.index(each[0].severity))
    ranking = weighed[0][1]
    signs = tuple(seen for seen, _ in weighed)
    severity: Severity = "note" if cause in NOT_OF_THE_SCANNER else signs[0].severity
    gravest = [seen for seen in signs if seen.severity == signs[0].severity]
    sure = [seen for seen in gravest if _tells(seen, cause) and agrees(seen, made, results)]
    named = tuple(each for each in ranking if each.share >= LEAST_SHARE)
    asks = [seen for seen in gravest if look_for(seen) != NONE_NEEDED]
    look = "nothing-moved" if cause == PAUSE else look_for((sure or asks or gravest)[0])
    if look == NONE_NEEDED and not sure:
        look = OF_A_TRACE
    return Diagnosis(
        cause=cause,
        severity=severity,
        signs=signs,
        causes=named,
        alike=_alike(named, by_evidence=signs[0].streak is not None),
        confirmed=bool(sure) and cause != PAUSE,
        look="" if look == NONE_NEEDED else look,
        rests_on=tuple(dict.fromkeys(name for seen in signs for name in seen.rests_on)),
    )


def _tells(seen: Seen, cause: str) -> bool:
    """Whether a sign may confirm a cause: a trace in the file only what it is the chief sign of."""
    shows = CAUSES[cause].shows
    return look_for(seen) != NONE_NEEDED or seen.sign == max(shows, key=shows.__getitem__)


def _alike(named: Ranking, *, by_evidence: bool) -> tuple[str, ...]:
    """Causes that are hardly told from the first.

    Of a line, what was seen of it must tell: how often a cause is met elsewhere does not count.
    """
    priors = {each.cause: CAUSES[each.cause].prior if by_evidence else 1.0 for each in named}
    weights = {each.cause: each.share / priors[each.cause] for each in named}
    first, *others = weights
    return tuple(cause for cause in others if weights[cause] >= ALIKE * weights[first])


def _weighed(seen: Seen, cause: str, made: Sides, results: Results) -> Seen:
    """A sign with the severity that its second look leaves: a warning at most until it is made."""
    agreed = agrees(seen, made, results)
    if agreed is False or cause == PAUSE:
        return replace(seen, severity="note")
    if agreed is None and seen.severity == "fault":
        return replace(seen, severity="warning")
    return seen
