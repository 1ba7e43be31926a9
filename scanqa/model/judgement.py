"""What findings say about results: ids, fields and numbers.

The fields named *in words* are filled at the edge (`scanqa.words`); no code reads a meaning from
them. `Diagnosis` and `Criterion` are structs because the codec tells only those apart by a tag.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeVar

import msgspec

from scanqa.model.decided import Act, Decision
from scanqa.model.result import ReasonKind, Share, Status, Streak
from scanqa.model.terms import Channel, Direction, Point

Verdict = Literal["met", "not met", "not judged"]
Severity = Literal["fault", "warning", "note", "good"]
Fitness = Literal["fit", "limited", "unfit", "partly judged", "not judged"]
Gap = Literal["", "no-measure", "not-measured", "bound-of-method", "bound-of-value"]

SEVERITIES: tuple[Severity, ...] = ("fault", "warning", "note", "good")  # the gravest first
GRAVE: tuple[Severity, ...] = ("fault", "warning")  # what asks for proof


@dataclass(frozen=True, slots=True)
class Seen:
    """A sign: something in the results that asks for an explanation.

    Attributes
    ----------
    sign : str
        Its id.
    numbers, terms : dict
        What its sentence says: values, and ids such as a side or a polarity.
    streak, mark : int or None
        Which of the record's streaks or marks it speaks of.
    rests_on : tuple of str
        Names of measures.
    quoted : tuple of str
        What the measurements behind it say of themselves, in their words.
    """

    sign: str
    severity: Severity
    numbers: dict[str, float] = field(default_factory=dict)
    terms: dict[str, str] = field(default_factory=dict)
    rests_on: tuple[str, ...] = ()
    direction: Direction | None = None
    channel: Channel | None = None
    at_mm: Point | None = None
    scan: str = ""
    streak: int | None = None
    mark: int | None = None
    quoted: tuple[str, ...] = ()


class Diagnosis(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="diagnosis"):
    """Signs that one cause explains.

    Attributes
    ----------
    cause : str
        Id of the likeliest cause; of advice on the backing, the case.
    signs : tuple of Seen
        The gravest first.
    causes : tuple of Share
        Those that are likely enough to be named, the likeliest first; empty for advice, where
        causes are not weighed.
    alike : tuple of str
        Ids of causes that these scans hardly tell from the first.
    confirmed : bool
        Whether a second look, which differs in what else could be the cause, agrees (or the
        signs need none).
    look : str
        Id of the second look (`scanqa.catalogue.SECOND_LOOKS`) that settles it, or settled it;
        empty if none is needed.
    rests_on : tuple of str
        Names of measures.
    title, reason : str
        In words: what was seen and its likely cause; the numbers behind it.
    heading, measured, unsure : str
        In words, apart: what was seen, what was measured, what the scans hardly tell.
    likely : tuple of str
        In words: the causes.
    check_next, action, caution, stop, source : str
        In words: what to look at next, to do, to beware of, when to see someone qualified, and
        what the rule rests on.
    """

    cause: str
    severity: Severity
    signs: tuple[Seen, ...] = ()
    causes: tuple[Share, ...] = ()
    alike: tuple[str, ...] = ()
    confirmed: bool = True
    look: str = ""
    rests_on: tuple[str, ...] = ()
    title: str = ""
    reason: str = ""
    heading: str = ""
    measured: str = ""
    unsure: str = ""
    likely: tuple[str, ...] = ()
    check_next: str = ""
    action: str = ""
    caution: str = ""
    stop: str = ""
    source: str = ""


class Criterion(msgspec.Struct, frozen=True, kw_only=True, tag_field="kind", tag="criterion"):
    """A published limit and what was measured against it.

    Attributes
    ----------
    document, quantity : str
        Ids: the document with its category, and the row in it.
    grade : str
        The best grade that is met, or the mildest that is not (or of which it cannot be known);
        empty where nothing was measured.
    near, next_grade : bool, str
        Whether its limit lies within the uncertainty; the stricter grade whose limit does, if any.
    value, uncertainty, bound, low, high, count : float, float, str, float, float, int
        What was held against the limits, its status with both ends of a range, and how many
        values it is made of.
    gap : str
        Why it is not judged, empty if it is: no measure stands for the quantity; nothing in the
        scans measures it; what is measured, or the value, is only a bound that cannot tell.
    title, heading, reason, source : str
        In words: all of it; the document and its category; the numbers; where the limit stands.
    """

    document: str
    quantity: str
    severity: Severity
    verdict: Verdict
    rests_on: tuple[str, ...] = ()
    grade: str = ""
    near: bool = False
    next_grade: str = ""
    value: float | None = None
    uncertainty: float | None = None
    bound: Status = "not-measurable"
    low: float | None = None
    high: float | None = None
    count: int = 0
    gap: Gap = ""
    title: str = ""
    heading: str = ""
    reason: str = ""
    source: str = ""


Finding = Diagnosis | Criterion
AnyFinding = TypeVar("AnyFinding", Diagnosis, Criterion)


def changed(finding: AnyFinding, **fields: object) -> AnyFinding:
    """A finding with some fields changed, as `dataclasses.replace` does for other types."""
    return msgspec.structs.replace(finding, **fields)


@dataclass(frozen=True, slots=True)
class Judged:
    """One condition of a use: the value, its limits, and the word that is sure.

    `words` is what the file of uses calls the measure; `between` are the words that its bounds and
    twice its uncertainty leave open, the best first, where they are two.
    """

    measure: str
    statistic: str
    operator: str
    fit: float
    limited: float
    fitness: Fitness
    value: float | None = None
    uncertainty: float | None = None
    bound: Status = "not-measurable"
    low: float | None = None
    high: float | None = None
    required: bool = False
    words: str = ""
    between: tuple[Fitness, ...] = ()


@dataclass(frozen=True, slots=True)
class UseVerdict:
    """Whether the scanner is good enough for one kind of work.

    Attributes
    ----------
    fitness : str
        The word that both ends of what is possible give; else ``not judged``.
    between : tuple of str
        The two neighbouring words that are possible, where a third is excluded.
    settles, settled_by : str
        Where there is no word: the measure whose better knowledge would settle most, and the scan
        that would give it: the id of a second look, or of the family whose scan is missing.
    use, sentence : str
        Its name and what it is, as the file of uses has them.
    reason : str
        In words.
    deciding : tuple of str
        Measures of the conditions that the word rests on.
    """

    use: str
    fitness: Fitness
    sentence: str = ""
    reason: str = ""
    deciding: tuple[str, ...] = ()
    conditions: tuple[Judged, ...] = ()
    between: tuple[Fitness, ...] = ()
    settles: str = ""
    settled_by: str = ""


@dataclass(frozen=True, slots=True)
class Action:
    """Something to do about the diagnosis of a cause, the most urgent first; the rest in words.

    Attributes
    ----------
    act : Act or None
        Its kind: actions of one kind are done in one go; None for another look, `look`.
    """

    cause: str
    text: str = ""
    because: str = ""
    caution: str = ""
    act: Act | None = None
    look: str = ""


@dataclass(frozen=True, slots=True)
class Outcome:
    """The first thing a reader sees: the overall word and a sentence, then one word per use.

    Attributes
    ----------
    fitness : str
        ``partly judged`` where some uses have no word, or one look only.
    judged : str
        One word for those that have one.
    next_scan : str
        The scan that would settle most of what is open: the id of a second look, or of the family
        whose scan is missing; empty if nothing is open.
    one_look : bool
        Whether no blank was scanned again with its paper moved.
    """

    fitness: Fitness
    sentence: str = ""
    uses: tuple[UseVerdict, ...] = ()
    judged: Fitness = "not judged"
    next_scan: str = ""
    one_look: bool = False


@dataclass(frozen=True, slots=True)
class Legible:
    """The smallest character (its height), or stroke (its width), at a level of legibility."""

    what: Literal["character", "stroke"]
    level: str
    index: float
    size_mm: float
    uncertainty_mm: float | None


@dataclass(frozen=True, slots=True)
class Legibility:
    """How small print may be in scans of one dpi.

    Attributes
    ----------
    dpi : int
        Of the scans.
    effective_dpi, uncertainty, bound, low, high : float, float, str, float, float
        What the optics support of it, its status (of a lower bound, sizes are upper bounds) and
        both ends of a range.
    limit : str or None
        What limits it, if not the optics: ``sampling`` for the scan's own dpi.
    note : str
        The same in words.
    """

    dpi: int
    effective_dpi: float
    uncertainty: float | None
    bound: Status
    sizes: tuple[Legible, ...]
    low: float | None = None
    high: float | None = None
    limit: ReasonKind | None = None
    note: str = ""


@dataclass(frozen=True, slots=True)
class Judgement:
    """All that findings say about results; `streaks` are the results' own, with their causes."""

    findings: tuple[Finding, ...]
    actions: tuple[Action, ...]
    outcome: Outcome
    legibility: tuple[Legibility, ...] = ()
    streaks: tuple[Streak, ...] = ()
    decision: Decision = field(default_factory=Decision)
