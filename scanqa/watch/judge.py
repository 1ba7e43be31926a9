"""The running judgement of a job: a state, and what one more page makes of it.

Plain functions of features: the same pages in the same order give the same events, whether they
were just read or come from the journal.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from scanqa.model import Array
from scanqa.model.watched import Cause, EventKind, LeftOut
from scanqa.watch.align import Lie, clean, laid, lie_anywhere, lie_of
from scanqa.watch.blank_says import Blank, blank_of, cause_of
from scanqa.watch.features import PageFeatures, Shows
from scanqa.watch.line_state import HELD_BACK, Laid, Line, Search
from scanqa.watch.line_watch import search, settled
from scanqa.watch.settings_kept import (
    BLOCKS_BEFORE,
    RESAMPLED,
    START,
    Usual,
    compressed_otherwise,
    is_other_way,
    one_page,
    usual_of,
)
from scanqa.watch.slow_change import Chart, Shift, advance_charts, values_of

PATTERN_PAGES = 8  # pages that lay certainly, for the pattern to be known
ROUGH_PATTERN = 3  # pages from which on the pattern counts as recognised


@dataclass(frozen=True, slots=True)
class Fact:
    """What is kept of each page, small."""

    number: int
    file: str
    sha256: str
    shows: Shows
    left_out: LeftOut
    turned: bool
    shift: int
    step_px: int
    columns: int
    px_mm: float | None
    judged: float
    light: float
    curve_assumed: bool
    other_way: bool = False


@dataclass(frozen=True, slots=True)
class Run:
    """Pages in a row on which one setting is unlike the start."""

    kind: EventKind
    before: str
    now: str
    numbers: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Slow:
    """A change that a chart showed at page `told`, and what a blank said of it."""

    kind: EventKind
    shift: Shift
    told: int
    cause: Cause = ""
    decided_by: str = ""
    until: int | None = None


@dataclass(frozen=True, slots=True)
class Settled:
    """What a blank said of a line, by its place in the search's list."""

    line: int
    cause: Cause
    decided_by: str


@dataclass(frozen=True, slots=True, eq=False)
class Job:
    """The state.

    Attributes
    ----------
    pattern : (columns,) or None
        The sensor's, cleaned.
    certain : int
        Pages whose columns agreed with it.
    order : tuple of (str, int, int)
        Events in the order in which they were told: their list, place in it, and page.
    """

    facts: tuple[Fact, ...] = ()
    first: tuple[PageFeatures, ...] = ()
    usual: Usual | None = None
    pattern: Array | None = None
    early: tuple[Array, ...] = ()
    certain: int = 0
    search: Search | None = None
    charts: Mapping[str, Chart] = field(default_factory=dict)
    runs: tuple[Run, ...] = ()
    slow: tuple[Slow, ...] = ()
    settled: tuple[Settled, ...] = ()
    blanks: tuple[Blank, ...] = ()
    order: tuple[tuple[str, int, int], ...] = ()


def advance(job: Job, page: PageFeatures) -> Job:
    """The state after one more page."""
    number = len(job.facts)
    lie, left_out = _lie(job, page)
    fact = _fact(page, number, lie, left_out, job)
    job = replace(job, facts=(*job.facts, fact))
    if page.shows == "sheet":
        return job
    lossy = _lossy(page)
    on_sensor = _on_sensor(job, page, number, lie) if lie is not None else None
    if on_sensor is not None:
        job = _searched(job, on_sensor, certain=lie is not None and lie.score > 0)
    if page.shows == "blank":
        blank = blank_of(page, number, turned=fact.turned, lossy=lossy)
        return _ordered(_decided(job, blank, on_sensor))
    job = _kept_settings(job, page, number)
    values = values_of(page, turned=fact.turned, lossy=lossy)
    charts, shifts = advance_charts(job.charts, values, number)
    slow = list(job.slow)
    for shift in shifts:
        slow = [_ended(each, shift) for each in slow]
        slow.append(Slow(_kind(shift), shift, number))
    return _ordered(replace(job, charts=charts, slow=tuple(slow)))


# ------------------------------------------------------------------- where a page's columns lie


def _lie(job: Job, page: PageFeatures) -> tuple[Lie | None, LeftOut]:
    """How the page lies on the sensor, or why its columns are left out."""
    if page.shows == "sheet":
        return None, "sheet"
    if job.usual is not None and compressed_otherwise(job.usual, page):
        return None, "compression"
    cleaned = clean(page.columns.off)
    if not cleaned.any():
        return None, "few-columns"
    if job.pattern is None or job.search is None:
        return Lie(False, 0, 0.0), ""
    width = job.search.width
    if page.step_px != job.facts[0].step_px or _other_scale(job, page):
        return None, "size"
    if len(cleaned) > width:
        return None, "size"
    known = job.certain >= PATTERN_PAGES
    if len(cleaned) < width:
        lie = lie_anywhere(cleaned, job.pattern) if job.certain >= ROUGH_PATTERN else None
        return (lie, "") if lie is not None else (None, "size")
    lie = lie_of(cleaned, job.pattern)
    if lie is not None:
        return lie, ""
    if page.resampled > RESAMPLED and not _lossy(page):
        return None, "resampled"
    return (None, "columns") if known else (Lie(False, 0, 0.0), "")


def _other_scale(job: Job, page: PageFeatures) -> bool:
    before, now = job.facts[0].px_mm, page.px_mm
    return before is not None and now is not None and abs(now / before - 1) > 0.005


def _fact(page: PageFeatures, number: int, lie: Lie | None, left_out: LeftOut, job: Job) -> Fact:
    judged = float(np.isfinite(page.columns.off).mean()) if lie is not None else 0.0
    return Fact(
        number=number,
        file=page.file,
        sha256=page.sha256,
        shows=page.shows,
        left_out=left_out,
        turned=lie.turned if lie is not None else False,
        shift=lie.shift if lie is not None else 0,
        step_px=page.step_px,
        columns=len(page.columns.off),
        px_mm=page.px_mm,
        judged=judged,
        light=page.light,
        curve_assumed=page.curve_assumed,
        other_way=job.usual is not None and is_other_way(job.usual, page),
    )


def _on_sensor(job: Job, page: PageFeatures, number: int, lie: Lie) -> Laid:
    width = job.search.width if job.search is not None else len(page.columns.off)
    part = page.columns
    return Laid(
        number,
        laid(part.off, lie, width),
        laid(part.error, lie, width),
        laid(part.ends, lie, width),
        laid(part.ends_error, lie, width),
        lie.turned,
        page.skew_deg,
    )


def _searched(job: Job, page: Laid, *, certain: bool) -> Job:
    """The search one page on, and the pattern as it is now known."""
    state = job.search or Search(len(page.off))
    after = search(state, page)
    early = job.early
    if after.middle is not None:
        renewed = after.middle is not state.middle
        columns = after.middle[: after.width]
        pattern = clean(columns) if renewed or job.pattern is None else job.pattern
        early = ()
    else:
        early = (*early, page.off)[-HELD_BACK:]
        values = np.stack(early)
        known = np.isfinite(values)
        mean = np.where(known, values, 0).sum(axis=0) / np.maximum(known.sum(axis=0), 1)
        pattern = clean(np.where(known.any(axis=0), mean, np.nan))
    return replace(
        job, search=after, pattern=pattern, early=early, certain=job.certain + int(certain)
    )


# ----------------------------------------------------------------- settings, blanks, the order


def _lossy(page: PageFeatures) -> bool:
    return page.jpeg_step is not None or page.blocks > BLOCKS_BEFORE


def _kind(shift: Shift) -> EventKind:
    from scanqa.watch.slow_change import KINDS

    return KINDS[shift.name]


def _ended(slow: Slow, shift: Shift) -> Slow:
    """A change of the same quantity before, which the new one ends."""
    same = slow.shift.name == shift.name and slow.until is None
    return replace(slow, until=shift.since) if same else slow


def _kept_settings(job: Job, page: PageFeatures, number: int) -> Job:
    """Settings of the page against those of the start; the start itself once it is whole."""
    if job.usual is not None:
        return replace(job, runs=_with_page(job.runs, job, page, number, job.usual))
    first = (*job.first, page)
    job = replace(job, first=first)
    if len(first) < START:
        return job
    usual = usual_of(first)
    numbers = [fact.number for fact in job.facts if fact.shows == "page"][-len(first) :]
    runs = job.runs
    for at, each in zip(numbers, first, strict=True):
        runs = _with_page(runs, job, each, at, usual)
    return replace(job, usual=usual, runs=runs, first=())


def _with_page(
    runs: tuple[Run, ...], job: Job, page: PageFeatures, number: int, usual: Usual
) -> tuple[Run, ...]:
    """Runs with what one page shows: an earlier run goes on if the page before was in it."""
    pages = [f.number for f in job.facts[max(number - 20, 0) : number] if f.shows == "page"]
    before = pages[-1] if pages else -1
    made = list(runs)
    for kind, was, now in one_page(usual, page):
        going = [i for i, run in enumerate(made) if run.kind == kind and run.numbers[-1] == before]
        if going:
            run = made[going[-1]]
            made[going[-1]] = replace(run, numbers=(*run.numbers, number))
        else:
            made.append(Run(kind, was, now, (number,)))
    return tuple(made)


def _decided(job: Job, blank: Blank, on_sensor: Laid | None) -> Job:
    """What a blank decides: lines that may be print, changes that may be the book's."""
    decided = {each.line for each in job.settled}
    answers, lines = list(job.settled), []
    for at, line in enumerate(job.search.lines if job.search is not None else ()):
        open_ = line.kind == "line-or-print" and not line.gone and at not in decided
        said = settled(job.search, line, on_sensor) if open_ and on_sensor and job.search else ""
        if said:
            cause: Cause = "scanner" if said == "line" else "book"
            answers.append(Settled(at, cause, blank.file))
            line = replace(line, kind="line") if said == "line" else replace(line, gone=True)
        lines.append(line)
    slow = tuple(
        replace(each, cause=cause_of(each.shift, job.blanks, blank), decided_by=blank.file)
        if not each.cause
        else each
        for each in job.slow
    )
    found = job.search and replace(job.search, lines=tuple(lines))
    return replace(
        job, search=found, slow=slow, settled=tuple(answers), blanks=(*job.blanks, blank)
    )


def _ordered(job: Job) -> Job:
    """New events take their place behind those already told."""
    told = {(name, at) for name, at, _ in job.order}
    lines: tuple[Line, ...] = job.search.lines if job.search is not None else ()
    lists = (("run", job.runs), ("line", lines), ("slow", job.slow))
    number = len(job.facts) - 1
    new = [
        (name, at, number)
        for name, each in lists
        for at in range(len(each))
        if (name, at) not in told
    ]
    return replace(job, order=(*job.order, *new)) if new else job
