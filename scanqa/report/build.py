"""A record to a page: chooses and words what is shown. Every value arrives measured."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import groupby
from typing import get_args

from scanqa.catalogue import CATALOGUE
from scanqa.model import Finding, Measurement, Record, ScanFacts, Verdict
from scanqa.report import pictures, tables
from scanqa.report.groups import Group, groups, title
from scanqa.report.keys import key_numbers
from scanqa.report.numbers import joined, label, number, sentence_case, significant
from scanqa.report.view import (
    Criteria,
    Criterion,
    Diagnosis,
    File,
    Gap,
    Lines,
    Page,
    Picture,
    Section,
    Step,
    Use,
)
from scanqa.report.words import FAMILIES, GLOSSARY, ROLE_WORDS, Family, likelihood
from scanqa.report.work import work_sections


def page(record: Record) -> Page:
    """Everything the page shows of a record, in reading order."""
    judgement, results = record.judgement, record.results
    sections = (*work_sections(record), *_sections(record))
    shown = {section.id for section in sections}
    keys = [key if key.link in shown else replace(key, link="gaps") for key in key_numbers(record)]
    return Page(
        scanner=record.scanner,
        date=date_words(record.created),
        tool_version=record.tool_version,
        fitness=judgement.outcome.fitness,
        sentence=judgement.outcome.sentence,
        uses=tuple(Use(u.use, u.fitness, u.reason) for u in judgement.outcome.uses),
        steps=tuple(Step(a.text, sentence_case(a.because), a.caution) for a in judgement.actions),
        diagnoses=tuple(_diagnosis(f) for f in judgement.findings if f.kind == "diagnosis"),
        keys=tuple(keys),
        sections=sections,
        criteria=tuple(_criteria(judgement.findings)),
        gaps=tuple(_gaps(results.measurements, record)),
        files=tuple(_files(record.scans)),
        rejected=tuple(Gap(r.file, r.why.removeprefix(f"{r.file}: ")) for r in record.rejected),
        conditions=tuple(record.conditions.items()),
        glossary=GLOSSARY,
    )


def date_words(created: str) -> str:
    """``25 November 2026, 10:20 UTC`` of an ISO date; the words as they are if it is none."""
    try:
        at = datetime.fromisoformat(created)
    except ValueError:
        return created
    zone = f" {at.tzname()}" if at.tzinfo else ""
    return f"{at.day} {at:%B %Y, %H:%M}{zone}"


def family_of(name: str) -> str:
    """The part of a measure's name before the first dot."""
    return name.partition(".")[0]


# --------------------------------------------------------------------------------- sections


def _sections(record: Record) -> Iterator[Section]:
    results = record.results
    # a family without any value has its reasons under "not measured" and needs no section
    present = {family_of(m.name) for m in results.measurements if m.value is not None}
    present |= {family_of(e.explains) for e in results.evidence}
    present |= {"streaks"} if results.streaks else set()
    present |= {"glass"} if results.marks else set()
    order = [*FAMILIES, *sorted(present - set(FAMILIES))]
    for family in (name for name in order if name in present):
        yield _section(family, record)


def _section(family: str, record: Record) -> Section:
    results = record.results
    words = FAMILIES.get(family) or Family(family.replace("_", " ").capitalize(), "", "")
    mine = [m for m in results.measurements if family_of(m.name) == family]
    streaks = tables.ranked(results.streaks)
    marks = tuple(sorted(results.marks, key=lambda m: -m.contrast_percent))
    shown = [*tables.family_tables(family, words.title, mine, record.scans)]
    drawn: list[Picture] = [*pictures.site_maps(family, mine, record.scans)]
    remarks = []
    if family == "streaks":
        if streaks:
            shown.insert(0, tables.streak_table(streaks, tables.scan_marks(record.scans)))
        elif any(m.value is not None for m in mine):
            remarks.append("No streak was found.")
    if family == "glass":
        if marks:
            shown.insert(0, tables.mark_table(marks, tables.scan_marks(record.scans)))
        elif any(m.value is not None for m in mine):
            remarks.append("No mark was found on the glass.")
        drawn += pictures.spots(marks, record.scans)
    if family == "edges":
        drawn += pictures.margins(mine, record.scans)
    evidence = [e for e in results.evidence if family_of(e.explains) == family]
    more, left_out = pictures.of_evidence(evidence, streaks)
    if left_out:
        remarks.append(
            f"{left_out} more pictures of this kind were left out to keep the page short."
        )
    return Section(
        f"section-{family}",
        words.title,
        words.text,
        tuple(shown),
        tuple(_spread([*drawn, *more])),
        tuple(remarks),
    )


def _spread(drawn: Sequence[Picture]) -> Iterator[Picture]:
    """Two pictures fit side by side; a curve that would be left over gets the whole row."""
    for wide, row in groupby(drawn, key=lambda p: isinstance(p, Lines) and p.wide):
        run = list(row)
        last = run[-1]
        if not wide and len(run) % 2 and isinstance(last, Lines):
            run[-1] = replace(last, wide=True)
        yield from run


# ---------------------------------------------------------------------------------- findings


def _diagnosis(finding: Finding) -> Diagnosis:
    rests_on = joined([label(name) for name in finding.rests_on if name in CATALOGUE])
    causes = finding.causes
    if len(finding.shares) == len(causes) > 1:
        causes = tuple(
            f"{cause} ({likelihood(share)})"
            for cause, share in zip(causes, finding.shares, strict=True)
        )
    # What to do for faults and warnings stands at the top of the page, with its caution.
    urgent = finding.severity in ("fault", "warning")
    steps = (
        ("Look next", finding.check_next),
        ("To do", "" if urgent else finding.action),
        ("When to stop", finding.stop),
    )
    return Diagnosis(
        finding.title,
        finding.severity,
        sentence_case(finding.reason),
        causes,
        tuple((head, words) for head, words in steps if words),
        rests_on,
        sentence_case(finding.source),
    )


def _criteria(findings: Sequence[Finding]) -> Iterator[Criteria]:
    """Criteria by document: the title of a finding is ``document: quantity``."""
    documents: dict[str, list[Finding]] = {}
    for finding in findings:
        if finding.kind == "criterion":
            document, colon, _ = finding.title.partition(": ")
            documents.setdefault(document if colon else "Other criteria", []).append(finding)
    for document, found in documents.items():
        counts = Counter(finding.verdict for finding in found)
        verdicts: tuple[Verdict, ...] = get_args(Verdict)
        said = joined([f"{counts[v]} {v}" for v in verdicts if counts[v]])
        rows = tuple(_criteria_rows(sorted(found, key=lambda f: verdicts.index(f.verdict))))
        sources = _sources(tuple(dict.fromkeys(f.source for f in found if f.source)))
        yield Criteria(document, said, rows, sources)


def _criteria_rows(found: Sequence[Finding]) -> Iterator[Criterion]:
    """One row for each quantity; those that are not judged for one reason share theirs."""
    alike: dict[tuple[str, str], list[str]] = {}
    for at, finding in enumerate(found):
        reason = finding.reason if finding.verdict == "not judged" else f"{at}"
        alike.setdefault((finding.verdict, reason), []).append(_quantity(finding.title))
    judged = {_quantity(f.title): f for f in found}
    for quantities in alike.values():
        first, *others = quantities
        finding = judged[first]
        words = "; ".join((first, *map(_inside, others)))
        yield Criterion(words, finding.verdict, finding.reason)


def _sources(all_of_them: Sequence[str]) -> tuple[str, ...]:
    """Sources with what they share at their beginning and end said once."""
    parts = [source.split(", ") for source in all_of_them]
    if len(parts) < 2:
        return tuple(all_of_them)
    start = _shared(parts)
    end = _shared([part[start:][::-1] for part in parts])
    middles = [", ".join(part[start : len(part) - end]) for part in parts]
    first, last = parts[0][:start], parts[0][len(parts[0]) - end :]
    return (", ".join((*first, " / ".join(m for m in middles if m), *last)),)


def _shared(parts: Sequence[Sequence[str]]) -> int:
    """How many pieces all begin with."""
    count = 0
    for column in zip(*parts, strict=False):
        if len(set(column)) > 1:
            break
        count += 1
    return count


def _quantity(title: str) -> str:
    quantity = title.partition(": ")[2] or title
    return sentence_case(quantity)


# ------------------------------------------------------------------------- gaps, files


def _gaps(measured: Sequence[Measurement], record: Record) -> Iterator[Gap]:
    """Values that could not be had, put together by reason; then families without any value."""
    missing: dict[tuple[str, str], list[Group]] = {}
    for group in groups([m for m in measured if m.value is None], ()):
        for reason in dict.fromkeys(m.reason for m in group.members):
            missing.setdefault((family_of(group.name), reason), []).append(group)
    for (_, reason), found in missing.items():
        first, *others = dict.fromkeys(_gap_words(g, reason) for g in found)
        yield Gap(joined([first, *map(_inside, others)]), reason)
    present = {family_of(m.name) for m in measured}
    present |= {"streaks"} if record.results.streaks else set()
    present |= {"glass"} if record.results.marks else set()
    known = {family_of(name) for name in CATALOGUE} | {"glass"}
    for family in (name for name in FAMILIES if name in known - present):
        words = FAMILIES[family]
        yield Gap(words.title, f"nothing in this set of scans shows it; it needs {words.needs}")


def _inside(words: str) -> str:
    """Words as they stand inside a sentence: abbreviations keep their capitals."""
    return words[:1].lower() + words[1:] if words[1:2].islower() else words


def _gap_words(group: Group, reason: str) -> str:
    words = title(replace(group, channel=None), with_kind=False)
    count = len({m.at_mm for m in group.members if m.reason == reason and m.at_mm})
    return f"{words} ({count} places)" if count > 1 else words


def _files(scans: Sequence[ScanFacts]) -> Iterator[File]:
    for at, facts in enumerate(scans, 1):
        width, height = (number(v, 0) for v in pictures.bed_mm(facts))
        x, y = (significant(v, 5) for v in facts.dpi)
        dpi = f"{x} dpi" if x == y else f"{x} × {y} dpi"
        source = {"file": "from the file", "option": "as told", "sheet": "from the located sheet"}
        colour = "colour" if facts.channels == 3 else "grey"
        lossy = ", lossy compression" if facts.lossy else ""
        turned = f", turned {facts.rotation_deg}°" if facts.rotation_deg else ""
        lines = [
            f"{facts.width_px} × {facts.height_px} px, {width} × {height} mm",
            f"{dpi} ({source.get(facts.dpi_source, facts.dpi_source)})",
            f"{facts.bits} bit {colour}, {facts.format.upper()}{lossy}; light: {facts.light}",
        ]
        if facts.sheet:
            lines.append(f"sheet {facts.sheet}{turned}")
        written = f"Written {date_words(facts.modified)}. " if facts.modified else ""
        hashed = f"SHA-256 {facts.sha256[:12]}…" if facts.sha256 else "No file, no hash."
        small = (written + hashed, *facts.notes)
        mark = str(at)
        role = ROLE_WORDS.get(facts.role, facts.role)
        yield File(f"scan-{mark}", mark, facts.file, role, tuple(lines), small)
