"""The state of a job as what is told: pages, events, what is to be scanned again."""

from __future__ import annotations

import bisect
import math
import statistics
from dataclasses import dataclass
from typing import Literal

import numpy as np

from scanqa.model import Record
from scanqa.model.watched import Action, Event, EventKind, Watched, WatchedPage
from scanqa.numeric.curve_doubt import of_contrast
from scanqa.version import __version__
from scanqa.watch.judge import ROUGH_PATTERN, Fact, Job, Run, Settled, Slow
from scanqa.watch.line_state import Line
from scanqa.watch.line_watch import blind

# Only these may order pages again: no book makes them.
AGAIN: tuple[EventKind, ...] = (
    "line", "clipped", "crop", "size", "dpi", "compression", "resampling",
)  # fmt: skip
FIRST_PAGES = 12
KNOWN_SHARE = 0.5  # of the pages must have agreed with the column pattern
OF_LIGHT: tuple[EventKind, ...] = ("light", "tint", "gutter")  # changes told by the curve
MOVED_SHARE = 0.1  # of the pages resampled: others were too, by less than shows


@dataclass(frozen=True, slots=True)
class Unread:
    """A file that could not be read, and why."""

    file: str
    why: str


@dataclass(frozen=True, slots=True)
class Before:
    """What the check before the job knows: its date, lines, until when it counts."""

    created: str = ""
    lines_mm: tuple[float, ...] = ()


def known_before(record: Record | None) -> Before:
    """What the newest check of a scanner knows; nothing if there is none."""
    if record is None:
        return Before()
    lines = sorted({round(s.at_mm, 1) for s in record.streaks if s.axis == "travel"})
    return Before(record.created, tuple(lines))


def watched(
    job: Job,
    scanner: str,
    folder: str,
    *,
    unread: tuple[Unread, ...] = (),
    before: Before | None = None,
) -> Watched:
    """All that is to be told of a job as far as it went."""
    events = events_of(job)
    search = job.search
    searched = sum(fact.shows == "page" for fact in job.facts)
    agreed = job.certain >= max(ROUGH_PATTERN, KNOWN_SHARE * searched)
    moved = sum(f.left_out == "resampled" for f in job.facts) > MOVED_SHARE * searched
    blind_share = float(np.mean(blind(search))) if search is not None else 0.0
    return Watched(
        scanner=scanner,
        folder=folder,
        pages=(*_pages(job, events), *(_unreadable(each) for each in unread)),
        events=events,
        redo=redo_of(job, events),
        blind_percent=round(100 * blind_share, 1),
        columns_known=agreed and not moved,
        known_lines_mm=before.lines_mm if before else (),
        checked=before.created if before else "",
        tool_version=__version__,
        settings=_settings(job),
    )


def events_of(job: Job) -> tuple[Event, ...]:
    """Events in the order in which they were told."""
    pages = [fact for fact in job.facts if fact.shows == "page"]
    numbers = [fact.number for fact in pages]
    answers = {each.line: each for each in job.settled}
    lines = job.search.lines if job.search is not None else ()
    made = []
    for at, (name, place, _) in enumerate(job.order, 1):
        if name == "run":
            made.append(_of_run(at, job.runs[place], job))
        elif name == "line":
            touched = _between(pages, numbers, lines[place].since, lines[place].last)
            made.append(_of_line(at, lines[place], answers.get(place), touched, job))
        else:
            slow = job.slow[place]
            last = len(job.facts) if slow.until is None else slow.until - 1
            touched = _between(pages, numbers, slow.shift.since, last)
            made.append(_of_slow(at, slow, touched))
    return tuple(made)


def redo_of(job: Job, events: tuple[Event, ...]) -> tuple[str, ...]:
    """Files to be scanned again: those of events that order it, unless a later one is sound."""
    newest = {fact.file: fact.number for fact in job.facts}
    touched = _touched(job, events)
    made: dict[str, int] = {}
    for file, number in newest.items():
        if touched.get(number):
            made[file] = number
    return tuple(sorted(made, key=made.__getitem__))


def _touched(job: Job, events: tuple[Event, ...]) -> dict[int, bool]:
    """Pages, by number, that some event orders again."""
    lines = job.search.lines if job.search is not None else ()
    found: dict[int, bool] = {}
    for (name, place, _), event in zip(job.order, events, strict=True):
        if event.action != "scan-again":
            continue
        if name == "run":
            numbers: tuple[int, ...] | range = job.runs[place].numbers
        else:
            numbers = range(lines[place].since, lines[place].last + 1)
        for number in numbers:
            if job.facts[number].shows == "page":
                found[number] = True
    return found


def _between(pages: list[Fact], numbers: list[int], first: int, last: int) -> list[Fact]:
    return pages[bisect.bisect_left(numbers, first) : bisect.bisect_right(numbers, last)]


def _of_run(at: int, run: Run, job: Job) -> Event:
    files = [job.facts[number].file for number in run.numbers]
    pages = [fact.number for fact in job.facts[run.numbers[-1] :] if fact.shows == "page"]
    return Event(
        number=at,
        kind=run.kind,
        from_file=files[0],
        to_file=files[-1],
        lasts=len(pages) <= 1,
        action="scan-again" if run.kind in AGAIN else "look",
        before=run.before,
        now=run.now,
        files=tuple(files),
    )


def _of_line(at: int, line: Line, answer: Settled | None, touched: list[Fact], job: Job) -> Event:
    fact = job.facts[line.since]
    at_px = _place(line.column, fact)
    dismissed = answer is not None and answer.cause == "book"
    action: Action = "scan-again" if line.kind == "line" else "scan-blank"
    mm = None if fact.px_mm is None else round((at_px + 0.5) / fact.px_mm, 2)
    return Event(
        number=at,
        kind=line.kind,
        from_file=fact.file,
        to_file=touched[-1].file if touched else fact.file,
        lasts=not line.gone,
        action="none" if dismissed else action,
        at_mm=mm,
        at_px=round(at_px, 1),
        contrast_percent=round(line.contrast, 2),
        uncertainty=_doubt(line.contrast, line.error, assumed=fact.curve_assumed),
        cause=answer.cause if answer else ("scanner" if line.kind == "line" else ""),
        decided_by=answer.decided_by if answer else "",
        files=tuple(dict.fromkeys(fact.file for fact in touched)),
    )


def _of_slow(at: int, slow: Slow, touched: list[Fact]) -> Event:
    action: Action = "scan-blank"
    if slow.cause == "scanner":
        action = "check"
    elif slow.cause == "book":
        action = "none"
    elif slow.decided_by:
        action = "look"  # a blank came, but there is none from before to hold it against
    first = touched[0] if touched else None
    side = _side(slow, turned=first is not None and first.turned)
    return Event(
        number=at,
        kind=slow.kind,
        from_file=first.file if first else "",
        to_file=touched[-1].file if touched else "",
        lasts=slow.until is None,
        action=action,
        contrast_percent=round(slow.shift.size, 2) if slow.shift.name != "skew" else None,
        uncertainty=_doubt(
            slow.shift.size,
            slow.shift.error,
            assumed=slow.kind in OF_LIGHT and first is not None and first.curve_assumed,
        )
        if slow.shift.name != "skew"
        else None,
        side=side,
        cause=slow.cause,
        decided_by=slow.decided_by,
        now=f"{slow.shift.size:+.1f}°" if slow.shift.name == "skew" else "",
        files=tuple(dict.fromkeys(fact.file for fact in touched)),
    )


def _doubt(percent: float, error: float, *, assumed: bool) -> float:
    """Standard uncertainty of a change of light: its scatter, and what an assumed curve adds."""
    return round(math.hypot(error, of_contrast(percent) if assumed else 0.0), 3)


def _side(slow: Slow, *, turned: bool) -> Literal["", "left", "right"]:
    """The side of the page as delivered on which a change is seen."""
    name = slow.shift.name
    if name == "sides":
        left = slow.shift.size < 0  # the left half's edges are the less steep ones
    elif name in ("left", "right"):
        left = name == "left"
    else:
        return ""
    return "left" if left != turned else "right"


def _place(column: float, fact: Fact) -> float:
    """A sensor column in samples of a page as delivered."""
    own = column - fact.shift
    if fact.turned:
        own = fact.columns - 1 - own
    return (own + 0.5) * fact.step_px - 0.5


def _pages(job: Job, events: tuple[Event, ...]) -> list[WatchedPage]:
    findings: dict[str, list[str]] = {}
    asking: set[str] = set()
    for event in events:
        for file in event.files:
            if event.action != "none":
                findings.setdefault(file, []).append(event.kind)
                asking.add(file)
    usual = _usual_light(job)
    return [
        WatchedPage(
            file=fact.file,
            ok=fact.file not in asking,
            findings=tuple(dict.fromkeys(findings.get(fact.file, ()))),
            shows=fact.shows,
            turned=fact.turned,
            left_out=fact.left_out,
            judged_percent=round(100 * fact.judged, 1),
            light_percent=round(100 * math.expm1(fact.light - usual), 2),
            sha256=fact.sha256,
        )
        for fact in _newest(job)
    ]


def _usual_light(job: Job) -> float:
    """Log light of the first pages."""
    first = [fact.light for fact in job.facts if fact.shows == "page"][:FIRST_PAGES]
    return statistics.median(first) if first else 0.0


def _newest(job: Job) -> list[Fact]:
    """Of each file the version that came last, in the order in which files came first."""
    made: dict[str, Fact] = {}
    for fact in job.facts:
        made[fact.file] = fact
    return list(made.values())


def _unreadable(each: Unread) -> WatchedPage:
    return WatchedPage(file=each.file, ok=False, shows="unreadable", why=each.why)


def _settings(job: Job) -> dict[str, str]:
    """How the job began, in words that need no translation."""
    usual = job.usual
    if usual is None:
        return {}
    size = None if usual.size is None else f"{usual.size[0]} × {usual.size[1]} px"
    made = {
        "size": size,
        "dpi": None if usual.dpi is None else f"{usual.dpi[0]:g}",
        "mode": None if usual.mode is None else f"{usual.mode[0]} × {usual.mode[1]} bits",
        "compression": "lossy" if usual.lossy else "lossless",
        "device": usual.device,
    }
    return {name: value for name, value in made.items() if value}
