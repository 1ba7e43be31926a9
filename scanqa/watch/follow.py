"""Pages of a folder as they come: waits until a file is whole, reads it once, judges, tells.

A file is read when it has come to rest (`scanqa.scans.incoming`). If its decoder then finds that it
ends early, it is still being written, or damaged: it is looked at again whenever it has changed,
and told of when it has rested for some seconds.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path

from scanqa.errors import BadOption, UnreadableScan
from scanqa.scans.incoming import LOOK_S, Seen, in_order, look, rested
from scanqa.watch.events import Unread
from scanqa.watch.features import PageFeatures
from scanqa.watch.journal import Journal
from scanqa.watch.judge import Job, advance
from scanqa.watch.measure_page import measure_page

PATIENCE_S = 5.0  # a file that rests for so long and is not whole is told of
AGAIN_S = 2.0  # a file that is not whole is tried again, changed or not: some shares lag


@dataclass(frozen=True, slots=True)
class Progress:
    """What is known after a page, or after a look that found nothing new.

    Attributes
    ----------
    page : PageFeatures or None
        The page just judged.
    gone : str
        Why the folder cannot be read; empty if it can.
    """

    job: Job
    page: PageFeatures | None
    unread: tuple[Unread, ...]
    gone: str = ""


@dataclass(slots=True)
class _Waiting:
    """Files that were tried and are not whole: when they were seen so, when tried, and why."""

    seen: dict[str, tuple[int, int]] = field(default_factory=dict)
    since: dict[str, float] = field(default_factory=dict)
    tried: dict[str, float] = field(default_factory=dict)
    why: dict[str, str] = field(default_factory=dict)

    def told(self, patience_s: float) -> tuple[Unread, ...]:
        now = time.monotonic()
        return tuple(
            Unread(name, self.why[name])
            for name, since in self.since.items()
            if now - since >= patience_s
        )

    def forget(self, name: str) -> None:
        for part in (self.seen, self.since, self.tried, self.why):
            part.pop(name, None)


def watch(
    folder: Path,
    journal: Journal,
    *,
    tell: Callable[[Progress], bool],
    follow: bool,
    curve: str | None = None,
    look_s: float = LOOK_S,
) -> Progress:
    """Judge every page of a folder, those of the journal first.

    Parameters
    ----------
    folder : Path
        Watched, never written to.
    journal : Journal
        Gets each page before it is told of.
    tell : callable
        Told after each page, and after each look in vain; the watch ends when it gives False.
    follow : bool
        Wait for further files; else end when every file that is there was read.
    curve : str or None
        Tone curve of the scanner.
    look_s : float
        Between two looks.

    Returns
    -------
    Progress
        The last.

    Raises
    ------
    BadOption
        If the folder cannot be read (if it is followed, only at the start), the journal not
        written.
    """
    job, known = from_journal(journal)
    now, waiting = look(folder), _Waiting()
    while True:
        time.sleep(look_s)
        before, gone = now, ""
        try:
            now = look(folder)
        except BadOption as error:
            if not follow:
                raise
            gone = str(error)
        ready = [] if gone else _ready(before, now, known, waiting)
        for name in ready:
            page = _read(folder / name, now[name], waiting, curve)
            if page is not None:
                journal.append(page)
                job, known[name] = advance(job, page), page.seen
                if not tell(last := Progress(job, page, waiting.told(PATIENCE_S))):
                    return last
        last = Progress(job, None, waiting.told(PATIENCE_S if follow else 0.0), gone)
        if not (follow or _left(before, now, known, waiting)) or not tell(last):
            return last


def from_journal(journal: Journal) -> tuple[Job, Seen]:
    """The job as far as it is known, and the files that it rests on."""
    job, known = Job(), {}
    for page in journal.pages():
        job = advance(job, page)
        known[page.file] = page.seen
    return job, known


def _ready(before: Seen, now: Seen, known: Seen, waiting: _Waiting) -> list[str]:
    """Files at rest that were not read as they are, in order."""
    moment = time.monotonic()
    for name in [name for name in waiting.seen if name not in now]:
        waiting.forget(name)
    ready = {
        name: seen
        for name, seen in rested(before, now).items()
        if known.get(name) != seen
        and (waiting.seen.get(name) != seen or moment - waiting.tried[name] > AGAIN_S)
    }
    return in_order(ready)


def _left(before: Seen, now: Seen, known: Seen, waiting: _Waiting) -> bool:
    """Whether a file is still changing, or was not tried as it is."""
    return before != now or any(
        known.get(name) != seen and waiting.seen.get(name) != seen and seen[1] > 0
        for name, seen in now.items()
    )


def _read(
    path: Path, seen: tuple[int, int], waiting: _Waiting, curve: str | None
) -> PageFeatures | None:
    """A page, or None if the file is not whole (yet)."""
    try:
        page = measure_page(path, curve=curve)
        facts = path.stat()
        if (facts.st_mtime_ns, facts.st_size) != page.seen:
            return None  # written to while it was read: it will rest again
    except (UnreadableScan, FileNotFoundError) as error:
        why = str(error).removeprefix(f"{path}: ")
        name, moment = path.name, time.monotonic()
        if waiting.seen.get(name) != seen:
            waiting.since[name] = moment
        waiting.seen[name], waiting.tried[name], waiting.why[name] = seen, moment, why
        return None
    with suppress(KeyError):
        waiting.forget(path.name)
    return page
