"""A record to a page: chooses and words what is shown. Every value arrives measured."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime
from itertools import groupby
from typing import get_args

from scanqa.catalogue import CATALOGUE, FAMILIES, Family
from scanqa.model import (
    GRAVE,
    Criterion,
    Diagnosis,
    Evidence,
    Mark,
    Qualification,
    Record,
    ScanFacts,
    Verdict,
)
from scanqa.report import view
from scanqa.report.card.first_screen import card
from scanqa.report.card.places import bed_mm
from scanqa.report.sections import own_axes, pictures, tables
from scanqa.report.sections.groups import rows_of, title
from scanqa.report.sections.results import result_of, result_of_criteria
from scanqa.report.sections.work_sections import work_sections
from scanqa.report.view import (
    Criteria,
    File,
    Gap,
    Lines,
    Page,
    Picture,
    Section,
    Table,
)
from scanqa.summary import Summary
from scanqa.words.glossary import GLOSSARY, ROLE_WORDS, likelihood
from scanqa.words.numbers import inside, joined, label, number, sentence_case, significant
from scanqa.words.of_roles import taken_for


def page(found: Qualification, *, whole: bool = False) -> Page:
    """All that the page shows of a record, in reading order; `whole` adds every single value."""
    record = found.record
    diagnoses = tuple(map(_diagnosis, record.diagnoses))
    return Page(
        scanner=record.scanner,
        date=date_words(record.created),
        day=date_words(record.created).partition(",")[0],
        taken=taken_for(record.scans),
        tool_version=record.tool_version,
        fitness=record.outcome.fitness,
        sentence=record.outcome.sentence,
        card=card(record),
        diagnoses=diagnoses,
        found=_counted(record.diagnoses),
        cautions=_cautions(record.diagnoses),
        sections=(*work_sections(record), *_sections(record, found.evidence, whole=whole)),
        criteria=tuple(_criteria(record.criteria)),
        limits=result_of_criteria(record.criteria),
        gaps=tuple(_gaps(record)),
        files=tuple(_files(record.scans)),
        rejected=tuple(Gap(r.file, r.why.removeprefix(f"{r.file}: ")) for r in record.rejected),
        conditions=tuple(record.conditions.items()),
        glossary=GLOSSARY,
    )


def _cautions(found: Sequence[Diagnosis]) -> tuple[str, ...]:
    """What to beware of, each once: none that another one says too."""
    said = [*dict.fromkeys(each.caution for each in found if each.caution)]
    return tuple(one for one in said if not any(one in other for other in said if other != one))


def _counted(found: Sequence[Diagnosis]) -> str:
    """How many findings are sure, how many ask for another look."""
    grave = [each for each in found if each.severity in GRAVE]
    sure = sum(each.confirmed for each in grave)
    open_ones = len(grave) - sure
    parts = [f"{sure} sure"] if sure else []
    parts += [f"{open_ones} to look at again"] if open_ones else []
    notes = len(found) - len(grave)
    parts += [f"{notes} note{'s' if notes > 1 else ''}"] if notes else []
    return ", ".join(parts)


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


def _sections(record: Record, evidence: Sequence[Evidence], *, whole: bool) -> Iterator[Section]:
    # a family without any value has its reasons under "not measured" and needs no section
    present = {family_of(m.name) for m in record.measures if m.value is not None}
    present |= {family_of(e.explains) for e in evidence}
    present |= {"streaks"} if record.streaks else set()
    present |= {"glass"} if record.glass_marks else set()
    for family in FAMILIES.values():
        if family.name in present:
            yield _section(family, record, evidence, whole=whole)


def _section(
    family: Family, record: Record, evidence: Sequence[Evidence], *, whole: bool
) -> Section:
    mine = [m for m in record.measures if family_of(m.name) == family.name]
    shown = tables.family_tables(family.name, family.title, mine, record.scans, whole=whole)
    listed, remarks = _lists(family.name, record, looked=any(m.value is not None for m in mine))
    drawn: list[Picture] = [*pictures.site_maps(family.name, mine, record.scans)]
    own = [e for e in evidence if family_of(e.explains) == family.name]
    if family.name == "sharpness":
        drawn = [*own_axes.stroke_pictures(own, record.legibility), *drawn]
    if family.name == "gutter":
        drawn = [*own_axes.spine_strip(own)]
    details: tuple[Picture, ...] = ()
    if pictures.worth_drawing(family.name, record) or family.name == "sharpness":
        streaks = tables.ranked(record.streaks)
        more, left_out = pictures.of_evidence(own, streaks, record)
        if family.name == "sharpness":  # the response; its edge says the same once more
            more = tuple(p for p in more if not isinstance(p, Lines) or p.levels)
        plain = [p for p in more if isinstance(p, Lines) and drawn]
        details = tuple(plain)
        drawn += [p for p in more if p not in plain]
        if left_out:
            remarks.append(f"{left_out} more pictures of this kind are left out.")
    return Section(
        f"section-{family.name}",
        family.title,
        result_of(family.name, record),
        family.text,
        (*listed, *shown),
        tuple(_spread(drawn)),
        tuple(remarks),
        details,
    )


def _ranked_marks(record: Record) -> tuple[Mark, ...]:
    """Marks on the glass, the strongest first."""
    return tuple(sorted(record.glass_marks, key=lambda m: -m.contrast_percent))


def _lists(family: str, record: Record, *, looked: bool) -> tuple[list[Table], list[str]]:
    """Tables of streaks and marks, or the remark that there are none."""
    marks = tables.scan_marks(record.scans)
    if family == "streaks":
        if record.streaks:
            return [tables.streak_table(tables.ranked(record.streaks), marks)], []
        return [], ["No line was found."] if looked else []
    if family == "glass":
        if record.glass_marks:
            return [tables.mark_table(_ranked_marks(record), marks)], []
        return [], ["No mark was found on the glass."] if looked else []
    return [], []


def _spread(drawn: Sequence[Picture]) -> Iterator[Picture]:
    """Two pictures fit side by side; a curve that would be left over gets the whole row."""
    for wide, row in groupby(drawn, key=lambda p: isinstance(p, Lines) and p.wide):
        run = list(row)
        last = run[-1]
        if not wide and len(run) % 2 and isinstance(last, Lines):
            run[-1] = replace(last, wide=True)
        yield from run


# ---------------------------------------------------------------------------------- findings


def _diagnosis(finding: Diagnosis) -> view.Diagnosis:
    causes = finding.likely
    if len(causes) > 1:  # what only a second look rules out has no share
        weighed = zip(causes, finding.causes, strict=False)
        causes = tuple(f"{words} ({likelihood(each.share)})" for words, each in weighed)
        causes += finding.likely[len(causes) :]
    steps = (
        ("Look next", finding.check_next),
        ("To do", finding.action),
        ("When to stop", finding.stop),
    )
    return view.Diagnosis(
        finding.title,
        finding.severity,
        sentence_case(finding.reason),
        causes,
        tuple((head, words) for head, words in steps if words),
        joined([label(name) for name in finding.rests_on if name in CATALOGUE]),
        sentence_case(finding.source),
    )


def _criteria(criteria: Sequence[Criterion]) -> Iterator[Criteria]:
    """Criteria by document."""
    documents: dict[tuple[str, str], list[Criterion]] = {}
    for criterion in criteria:
        documents.setdefault((criterion.document, criterion.heading), []).append(criterion)
    for (_, heading), found in documents.items():
        verdicts: tuple[Verdict, ...] = get_args(Verdict)
        said = result_of_criteria(found)
        rows = tuple(_criteria_rows(sorted(found, key=lambda f: verdicts.index(f.verdict))))
        sources = _sources(tuple(dict.fromkeys(f.source for f in found if f.source)))
        yield Criteria(heading, said, rows, sources)


def _criteria_rows(found: Sequence[Criterion]) -> Iterator[view.Criterion]:
    """One row for each quantity; those that are not judged for one reason share theirs."""
    alike: dict[tuple[str, str], list[Criterion]] = {}
    for at, criterion in enumerate(found):
        reason = criterion.reason if criterion.verdict == "not judged" else f"{at}"
        alike.setdefault((criterion.verdict, reason), []).append(criterion)
    for row in alike.values():
        first, *others = (sentence_case(criterion.quantity) for criterion in row)
        words = "; ".join((first, *map(inside, others)))
        yield view.Criterion(words, row[0].verdict, row[0].reason)


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


# ------------------------------------------------------------------------- gaps, files


def _gaps(record: Record) -> Iterator[Gap]:
    """Values that could not be had, put together by reason; then families without any value."""
    missing: dict[tuple[str, str], list[Summary]] = {}
    for row in rows_of([m for m in record.measures if m.value is None], record.scans):
        for reason in dict.fromkeys(m.reason for m in row.members):
            missing.setdefault((family_of(row.key.name), reason), []).append(row)
    for (_, reason), found in missing.items():
        first, *others = dict.fromkeys(_gap_words(row, reason) for row in found)
        yield Gap(joined([first, *map(inside, others)]), reason)
    present = {family_of(m.name) for m in record.measures}
    present |= {"streaks"} if record.streaks else set()
    present |= {"glass"} if record.glass_marks else set()
    for family in FAMILIES.values():
        if family.name not in present:
            why = f"nothing in this set of scans shows it; it needs {family.needs}"
            yield Gap(family.title, why)


def _gap_words(row: Summary, reason: str) -> str:
    words = title(replace(row, key=row.key._replace(channel="")), with_kind=False)
    count = len({m.at_mm for m in row.members if m.reason == reason and m.at_mm})
    return f"{words} ({count} places)" if count > 1 else words


def _size_words(facts: ScanFacts) -> tuple[str, str]:
    """Size, and dpi with its source."""
    size = f"{facts.width_px} × {facts.height_px} px"
    bed = bed_mm(facts)
    if bed is None or facts.dpi is None:
        return size, "dpi not known"
    x, y = (significant(v, 5) for v in facts.dpi)
    dpi = f"{x} dpi" if x == y else f"{x} × {y} dpi"
    source = {"file": "from the file", "option": "as told", "sheet": "from the located sheet"}
    width, height = (number(v, 0) for v in bed)
    said = source.get(facts.dpi_source, facts.dpi_source)
    return f"{size}, {width} × {height} mm", f"{dpi} ({said})"


def _files(scans: Sequence[ScanFacts]) -> Iterator[File]:
    for at, facts in enumerate(scans, 1):
        size, dpi = _size_words(facts)
        colour = "colour" if facts.channels == 3 else "grey"
        lossy = ", lossy compression" if facts.lossy else ""
        turned = f", turned {facts.rotation_deg}°" if facts.rotation_deg else ""
        lines = [
            size,
            dpi,
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
