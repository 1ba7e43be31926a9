"""What the watch tells of a job: lines as they come, a JSON document, a page."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from scanqa.errors import ScanqaError

if TYPE_CHECKING:
    from scanqa.model.watched import Watched
    from scanqa.watch.events import Before
    from scanqa.watch.follow import Progress


@dataclass(frozen=True, slots=True)
class Following:
    """How long a folder is followed, and how loudly."""

    follow: bool
    idle: float | None
    bell: bool


class Teller:
    """Tells what is new, in lines, JSON and a page; keeps what was told already."""

    def __init__(
        self,
        folder: Path,
        scanner: str,
        before: Before,
        following: Following,
        json_to: str | None,
        page: Path,
        stopped: Callable[[], bool],
    ) -> None:
        self._folder, self._scanner, self._before = folder, scanner, before
        self._following, self._json_to, self._page = following, json_to, page
        self._stopped = stopped
        self._said: dict[str, str] = {}
        self._moved = time.monotonic()

    def __call__(self, progress: Progress) -> bool:
        """Tell what a page or a look has shown; whether the watch goes on."""
        if progress.page is not None:
            self._moved = time.monotonic()
        if self._following.follow:
            if progress.gone:
                self._say("folder", f"{progress.gone}; waiting for it")
            else:
                self._said.pop("folder", None)
            found = self._watched(progress)
            if self._tell(found) or progress.page is not None:
                self._write(found)
        return not self._stopped() and not self._idle()

    def end(self, progress: Progress) -> Watched:
        """Tell the whole, write all."""
        from scanqa.report.job_page import write_job_page
        from scanqa.watch.fault_pictures import pictures_of
        from scanqa.words.of_watch import judged_sentence, summary_sentence

        found = self._watched(progress)
        self._tell(found)
        self._write(found)
        write_job_page(found, pictures_of(found, self._folder), self._page)
        click.echo(summary_sentence(found), err=self._json_to == "-")
        if sentence := judged_sentence(found):
            click.echo(sentence, err=self._json_to == "-")
        click.echo(self._page, err=self._json_to == "-")
        if self._json_to == "-":
            from scanqa.codec import to_document

            click.echo(to_document(found), nl=False)
        return found

    def _watched(self, progress: Progress) -> Watched:
        from scanqa.watch.events import watched

        return watched(
            progress.job,
            self._scanner,
            str(self._folder),
            unread=progress.unread,
            before=self._before,
        )

    def _tell(self, found: Watched) -> bool:
        """Say what is new; whether anything was."""
        from scanqa.words.of_watch import event_sentence, fault_words, page_words, what_to_do

        news = False
        for event in found.events:
            # Said again only when what to do has changed, not with each page that it touches.
            key = f"{event.kind} {event.action} {event.lasts} {event.decided_by}"
            if self._said.get(f"event {event.number}") != key:
                first = f"event {event.number}" not in self._said
                self._said[f"event {event.number}"] = key
                words = event_sentence(event)
                if not first:
                    words = f"{event.from_file}: {fault_words(event)}: {what_to_do(event)}"
                click.echo(words, err=self._json_to == "-")
                news = True
        for page in found.pages:
            if words := page_words(page):
                self._say(f"page {page.file} {page.sha256}", words)
        if news and self._following.bell:
            click.echo("\a", nl=False, err=True)
        return news

    def _say(self, key: str, words: str) -> None:
        if self._said.get(key) != words:
            self._said[key] = words
            click.echo(words, err=True)

    def _write(self, found: Watched) -> None:
        if self._json_to and self._json_to != "-":
            from scanqa.codec import to_document
            from scanqa.whole import write_whole

            write_whole(Path(self._json_to), to_document(found))

    def _idle(self) -> bool:
        idle = self._following.idle
        return idle is not None and time.monotonic() - self._moved > idle


def check_before(scanner: str, records: str | None) -> Before:
    """What the newest check on record knows; a job is watched without one too."""
    from scanqa.watch.events import Before, known_before

    try:
        from scanqa.records import store
        from scanqa.records.database import open_store

        with open_store(records) as engine:
            record = store.newest(engine, scanner)
    except ScanqaError as error:
        click.echo(f"scanqa: {error}; watched without the check before the job", err=True)
        return Before()
    return known_before(record)
