"""The page for whoever sold, or looks after, the scanner: what was measured, what is inferred.

``worth_a_page`` says when there is something to show. The page keeps the two apart for each
finding: values, places and pixels are measured, causes are inferred. It names every scan with its
hash, so that anyone who has the files can measure them again.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from os import PathLike
from pathlib import Path

import numpy as np

from scanqa.model import (
    GRAVE,
    Act,
    Curve,
    Diagnosis,
    Evidence,
    Qualification,
    Record,
    ScanFacts,
    Streak,
)
from scanqa.report.build import date_words
from scanqa.report.card.places import bed_mm, glass_of
from scanqa.report.draw.figures import Drawing, draw
from scanqa.report.index.naming import day_of, mark_of
from scanqa.report.pages import environment
from scanqa.report.sections import pictures
from scanqa.report.sections.groups import middle_text, notes, rows_of, title
from scanqa.report.sections.tables import scan_marks
from scanqa.report.view import Glass, Picture
from scanqa.summary import Summary
from scanqa.whole import write_whole
from scanqa.words.glossary import ROLE_WORDS
from scanqa.words.numbers import number, sentence_case, with_unit
from scanqa.words.of_decision import ASKED
from scanqa.words.of_identity import unit_words

MOST_PROOFS = 8  # more would no longer be read; the report has them all
MOST_VALUES = 4
MOST_PICTURES = 2
MOST_MARKS = 3
OWN: tuple[Act, ...] = ("clean", "mend", "wear", "flaw", "claim")  # acts about the unit itself
NEAR_MM = 10.0  # on both sides of a streak

OPENING = (
    "This page is for whoever sold, repairs or looks after the scanner. Each finding first says "
    "what was measured: the values, places and pixels are those of the scans named at the end, "
    "and anyone with these files can measure them again. What it may come from is inferred: "
    "nobody has looked inside, and a cause may turn out to be another one."
)
CLOSING = (
    "If something here looks wrong to you, please say so and name the finding by its number. Scans "
    "of the same kind from before the scanner was sent would help to tell what was there and what "
    "came on the way."
)
LIMITS = (
    "± is one standard uncertainty: the truth lies within twice as much in nineteen cases of "
    "twenty. At least means that the printed sheet or the set-up was the limit. Edges and lengths "
    "rest on a sheet from an office printer, whose own error is told apart where the scans allow "
    "it. Lightness (L*) takes the top of the scanner's scale as white."
)
CAUTIONS = (
    "Do not open the scanner to find out. Opening it may end a right to return it and a warranty: "
    "ask the seller first.",
    "Mains and lamp inverters can kill, also for a while after unplugging. Opened mains or "
    "high-voltage parts are work for qualified people; local codes and licensed practice come "
    "first.",
    "Cold-cathode lamps contain mercury: do not break them, and dispose of them under local rules.",
    "Before it travels: lock the carriage if it has a lock, and pack the glass against shocks.",
)


@dataclass(frozen=True, slots=True, eq=False)
class Proof:
    """One finding: measured lines, inferred lines, and the pixels that show it."""

    number: int
    heading: str
    severity: str
    measured: tuple[str, ...]
    causes: tuple[str, ...]
    unsure: str
    pictures: tuple[Picture, ...]


@dataclass(frozen=True, slots=True)
class HashedFile:
    """A scan: what it shows, its facts, and the hash of its bytes."""

    mark: str
    name: str
    facts: str
    written: str
    sha256: str


@dataclass(frozen=True, slots=True, eq=False)
class EvidencePage:
    """All that the page shows, in reading order."""

    scanner: str
    date: str
    tool_version: str
    title: str
    unit: str
    asked: str
    opening: str
    glass: Glass | None
    proofs: tuple[Proof, ...]
    left_out: int
    conditions: tuple[tuple[str, str], ...]
    done: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]
    closing: str
    limits: str
    files: tuple[HashedFile, ...]


def faults(record: Record) -> list[Diagnosis]:
    """What is held against the unit, the gravest first: confirmed, and its own.

    What the paper, the print, a setting or its design makes is no fault; nor is advice.
    """
    acts = {action.cause: action.act for action in record.actions}
    known = bool(record.decision.rule)  # records from before decisions have no acts
    grave = [f for f in record.diagnoses if f.severity in GRAVE and f.confirmed]
    own = [f for f in grave if acts.get(f.cause) in OWN or not known]
    return sorted(own, key=lambda f: GRAVE.index(f.severity))


def worth_a_page(record: Record) -> bool:
    """Whether a seller should see anything: what a second look has confirmed, and that weighs.

    That is a fault, or a warning where the scanner falls short of a use.
    """
    confirmed = [f.severity for f in faults(record)]
    falls_short = record.outcome.judged in ("limited", "unfit") and "warning" in confirmed
    return falls_short or "fault" in confirmed


def write_evidence(
    found: Qualification,
    path: str | PathLike[str],
    *,
    done: Sequence[tuple[str, str]] | None = None,
) -> None:
    """Write the page as one file; the same record gives the same bytes.

    Parameters
    ----------
    done : sequence of (date, words), optional
        What was done to the scanner before, as noted with ``scanqa event``; None if it is not
        known.

    Raises
    ------
    BadOption
        If the file cannot be written.
    """
    write_whole(Path(path), render_evidence(found, done=done))


def render_evidence(found: Qualification, *, done: Sequence[tuple[str, str]] | None = None) -> str:
    """The page as HTML; parameters as for `write_evidence`."""
    page = evidence_page(found, done=done)
    drawings: dict[str, Drawing] = {
        f"proof-{proof.number}-{at}": draw(picture, f"proof-{proof.number}-{at}")
        for proof in page.proofs
        for at, picture in enumerate(proof.pictures, 1)
    }
    record = found.record
    facts = [
        ("page", "evidence"),
        ("scanner", page.scanner),
        ("date", page.date),
        ("created", record.created),
        ("day", day_of(record)),
        ("record", mark_of(record)),
    ]
    template = environment().get_template("evidence.html.j2")
    plan = draw(page.glass, "plan").wide if page.glass else ""
    return template.render(page=page, drawings=drawings, plan=plan, facts=facts)


def evidence_page(
    found: Qualification, *, done: Sequence[tuple[str, str]] | None = None
) -> EvidencePage:
    """Everything the page shows of a record."""
    record = found.record
    grave = faults(record)
    shown = grave[:MOST_PROOFS]
    return EvidencePage(
        scanner=record.scanner,
        date=date_words(record.created),
        tool_version=record.tool_version,
        title=_title(record),
        unit=unit_words(record.identity) if record.identity else "",
        asked=ASKED.get(record.decision.decision, ASKED[""]),
        opening=OPENING,
        glass=glass_of(record, shown) if shown else None,
        proofs=tuple(_proof(at, f, found) for at, f in enumerate(shown, 1)),
        left_out=max(0, len(grave) - MOST_PROOFS),
        conditions=tuple(record.conditions.items()),
        done=_done(done),
        cautions=(*CAUTIONS, *_cautions(shown)),
        closing=CLOSING,
        limits=LIMITS,
        files=tuple(_files(record.scans)),
    )


# --------------------------------------------------------------------------------- proofs


def _proof(at: int, finding: Diagnosis, found: Qualification) -> Proof:
    lines = (finding.measured, *_values(finding, found.record))
    return Proof(
        at,
        finding.heading,
        finding.severity,
        tuple(f"{sentence_case(line)}." for line in lines if line),
        finding.likely,
        f"{finding.unsure}." if finding.unsure else "",
        tuple(_pictures(finding, found)),
    )


def _title(record: Record) -> str:
    """Whom it is for, and about what."""
    seller = record.identity.seller if record.identity else ""
    return f"To {seller or 'the seller'}: what was found on the scanner {record.scanner}"


def _cautions(shown: Sequence[Diagnosis]) -> Iterator[str]:
    """What the findings themselves warn of, each sentence once, and where each says to stop."""
    said = " ".join(CAUTIONS)
    for finding in shown:
        new = [w for w in re.split(r"(?<=\.) ", finding.caution) if w and w not in said]
        if new:
            yield " ".join(new)
            said += " ".join(new)
    for at, finding in enumerate(shown, 1):
        if finding.stop:
            yield f"Finding {at}: {finding.stop}"


def _values(finding: Diagnosis, record: Record) -> Iterator[str]:
    """The numbers behind a finding, each with its uncertainty and where it comes from."""
    marks = scan_marks(record.scans)
    for streak in _streaks(finding, record):
        error = streak.contrast_percent / streak.significance
        contrast = f"{number(streak.contrast_percent, 2)} ± {number(max(error, 0.01), 2)}"
        yield (
            f"Contrast {with_unit(contrast, '%')}, {number(streak.significance, 0)} times its "
            f"uncertainty; pixel {number(streak.at_px, 1)}{_from(streak.scan, marks)}"
        )
    if "glass.marks" in finding.rests_on:
        strongest = sorted(record.glass_marks, key=lambda m: -m.contrast_percent)
        for mark in strongest[:MOST_MARKS]:
            x, y = (number(v, 1) for v in mark.at_mm)
            yield (
                f"{mark.polarity.capitalize()} {mark.kind} at x {x}, y {y} mm, "
                f"{' × '.join(number(v, 2) for v in mark.size_mm)} mm, "
                f"{with_unit(number(mark.contrast_percent, 1), '%')}{_from(mark.scan, marks)}"
            )
    explained: set[str] = set()
    for row in _rows(finding, record)[:MOST_VALUES]:
        sentence = "" if row.key.name in explained else row.definition.sentence
        explained.add(row.key.name)
        yield f"{_value(row, marks)}. {sentence}".strip().rstrip(".")


def _rows(finding: Diagnosis, record: Record) -> list[Summary]:
    """Summaries that a finding rests on, in its directions, by luma where there is one."""
    ways = {sign.direction for sign in finding.signs if sign.direction}
    mine = [
        m
        for m in record.measures
        if m.name in finding.rests_on and m.value is not None and m.name != "glass.marks"
        if not ways or m.direction in (*ways, None)
    ]
    plain = [m for m in mine if m.channel in (None, "luma")] or mine
    return rows_of(plain, record.scans)


def _value(group: Summary, marks: dict[str, str]) -> str:
    text = f"{title(group)}: {middle_text(group)}"
    lines = [*notes(group, marks)]
    if lines:
        text += f" ({'; '.join(lines)})"
    scans = list(dict.fromkeys(m.scan for m in group.members if m.scan in marks))
    return text + "".join(_from(scan, marks) for scan in scans[:1])


def _from(scan: str, marks: dict[str, str]) -> str:
    return f"; scan {marks[scan]}" if scan in marks else ""


def _streaks(finding: Diagnosis, record: Record) -> list[Streak]:
    """The streaks that a finding speaks of, the gravest first; the most that a page bears."""
    found = [record.streaks[s.streak] for s in finding.signs if s.streak is not None]
    return found[:MOST_VALUES]


def _pictures(finding: Diagnosis, found: Qualification) -> list[Picture]:
    """Real pixels that belong to a finding; a map or curves where there are none."""
    families = {name.partition(".")[0] for name in finding.rests_on}
    mine = [e for e in found.evidence if e.explains in finding.rests_on or e.explains in families]
    crops = [e for e in mine if e.kind == "crop"]
    curves = [e for e in mine if e.kind == "curves"]
    streaks = _streaks(finding, found.record)
    if streaks:
        first = streaks[0]
        crops = [e for e in crops if any(_shows(e, streak) for streak in streaks)]
        crops = crops[:1] + [_near(e, first.at_mm) for e in curves if _shows(e, first)][:1]
    chosen = crops[:MOST_PICTURES] or [e for e in mine if e.kind == "map"][:1] or curves[:1]
    shown, _ = pictures.of_evidence(chosen, ())
    return list(shown)


def _shows(e: Evidence, streak: Streak) -> bool:
    """Whether a picture points out this very line."""
    return e.shows == streak.axis and any(at == streak.at_mm for at, _ in e.lines_mm)


def _near(e: Evidence, at_mm: float) -> Evidence:
    """The part of curves round a place: the mean over the scan shows what grain hides."""
    curves = []
    for curve in e.curves:
        keep = np.abs(np.asarray(curve.x) - at_mm) <= NEAR_MM
        curves.append(Curve(curve.label, curve.x[keep], curve.y[keep]))
    lines = tuple((at, words) for at, words in e.lines_mm if abs(at - at_mm) <= NEAR_MM)
    return replace(e, title=f"{e.title}, near {at_mm:.1f} mm", curves=tuple(curves), lines_mm=lines)


# ------------------------------------------------------------------------- facts and files


def _done(done: Sequence[tuple[str, str]] | None) -> tuple[tuple[str, str], ...]:
    if done is None:
        return (("Before these scans", "no note of earlier work on the scanner was at hand"),)
    if not done:
        return (("Before these scans", "no cleaning, repair or opening was noted"),)
    return tuple((date_words(at).partition(",")[0], words) for at, words in done)


def _files(scans: Sequence[ScanFacts]) -> Iterator[HashedFile]:
    for at, facts in enumerate(scans, 1):
        lossy = ", lossy" if facts.lossy else ""
        yield HashedFile(
            str(at),
            facts.file,
            f"{ROLE_WORDS.get(facts.role, facts.role)}; {_size_words(facts)}, "
            f"{facts.bits} bit, {facts.format.upper()}{lossy}; light: {facts.light}",
            f"written {date_words(facts.modified)}" if facts.modified else "",
            facts.sha256,
        )


def _size_words(facts: ScanFacts) -> str:
    bed = bed_mm(facts)
    if bed is None or facts.dpi is None:
        return f"{facts.width_px} × {facts.height_px} px, dpi not known"
    width, height = (number(v, 0) for v in bed)
    x, y = (number(v, 0) for v in facts.dpi)
    return f"{width} × {height} mm, " + (f"{x} dpi" if x == y else f"{x} × {y} dpi")
