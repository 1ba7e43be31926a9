"""The page of a job: what was found, the faulty pages as pictures, all pages over time."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from os import PathLike
from pathlib import Path

from scanqa.model.watched import Event, FaultPicture, Watched
from scanqa.report.more_pages import write_index
from scanqa.report.pages import environment
from scanqa.version import __version__
from scanqa.whole import write_whole
from scanqa.words.of_watch import (
    ALARM_RATE,
    fault_words,
    judged_sentence,
    page_words,
    pages_words,
    summary_sentence,
    what_to_do,
)

WIDE, LIGHT_HIGH, BAR_HIGH = 720, 60, 12  # of the strip over time, in its own units
LIGHT_PERCENT = 8.0  # of the light's scale, either way
TONES = {"scan-again": "unfit", "scan-blank": "limited", "look": "limited", "check": "unfit"}
COLOURS = {
    word: f"var(--{word})" for word in ("unfit", "limited", "fit")
}  # of the page, for dark too
MOST_ASIDE = 40


@dataclass(frozen=True, slots=True)
class Shown:
    """A picture as the template puts it: address of the data, size, a line's place."""

    data: str
    alt: str
    caption: str
    width: int
    height: int
    at: float | None


@dataclass(frozen=True, slots=True)
class Row:
    """An event."""

    number: int
    pages: str
    fault: str
    todo: str
    tone: str
    pictures: tuple[Shown, ...]


@dataclass(frozen=True, slots=True)
class JobView:
    """What stands on the page."""

    scanner: str
    when: str
    word: str
    tone: str
    sentence: str
    judged: str
    rate: str
    rows: tuple[Row, ...]
    settled: tuple[Row, ...]
    redo: str
    aside: tuple[str, ...]
    strip: str
    strip_words: str
    settings: tuple[tuple[str, str], ...]


def write_job_page(
    found: Watched, pictures: Sequence[FaultPicture], path: str | PathLike[str]
) -> None:
    """Write the page of a job and renew the folder's index.

    Raises
    ------
    BadOption
        If the file cannot be written.
    """
    view = job_view(found, pictures)
    facts = [
        ("page", "job"),
        ("scanner", found.scanner),
        ("word", view.word),
        ("sentence", view.sentence),
    ]
    text = (
        environment().get_template("job.html.j2").render(job=view, facts=facts, version=__version__)
    )
    write_whole(Path(path), text)
    write_index(Path(path).parent)


def job_view(found: Watched, pictures: Sequence[FaultPicture]) -> JobView:
    """What stands on the page, as strings."""
    asks = [event for event in found.events if event.action != "none"]
    pages = [page for page in found.pages if page.shows == "page"]
    aside = [words for page in found.pages if (words := page_words(page))]
    more = len(aside) - MOST_ASIDE
    known = ", ".join(f"{at:.1f} mm" for at in found.known_lines_mm)
    settings = dict(found.settings)
    if found.checked:
        settings["check before the job"] = found.checked[:10]
    if known:
        settings["lines that check knows"] = known
    word = "Scan again" if found.redo else "Scan a blank" if asks else "Sound"
    return JobView(
        scanner=found.scanner,
        when=f"{len(pages)} pages in {Path(found.folder).name or found.folder}",
        word=word,
        tone="unfit" if found.redo else "limited" if asks else "fit",
        sentence=summary_sentence(found),
        judged=judged_sentence(found),
        rate=ALARM_RATE,
        rows=tuple(_row(event, pictures) for event in asks),
        settled=tuple(_row(e, pictures) for e in found.events if e.action == "none"),
        redo=", ".join(found.redo),
        aside=(*aside[:MOST_ASIDE], *([f"and {more} more"] if more > 0 else ())),
        strip=_strip(found),
        strip_words=_strip_words(found),
        settings=tuple(settings.items()),
    )


def _row(event: Event, pictures: Sequence[FaultPicture]) -> Row:
    own = [p for p in pictures if p.event == event.number]
    return Row(
        number=event.number,
        pages=pages_words(event.files),
        fault=_capital(fault_words(event)),
        todo=_capital(what_to_do(event)),
        tone=TONES.get(event.action, "fit"),
        pictures=tuple(_shown(p, event) for p in own),
    )


def _capital(words: str) -> str:
    return words[:1].upper() + words[1:]


def _shown(picture: FaultPicture, event: Event) -> Shown:
    whole = picture.shows == "page"
    words = picture.file if whole else f"{picture.file}, its margin, contrast spread ten times"
    return Shown(
        data="data:image/png;base64," + base64.b64encode(picture.png).decode(),
        alt=f"{words}: {fault_words(event)}",
        caption=words,
        width=picture.width_px,
        height=picture.height_px,
        at=None if picture.at_px is None else round(picture.at_px, 1),
    )


def _strip(found: Watched) -> str:
    """All pages over time: light of the paper, and a bar for each event."""
    pages = [page for page in found.pages if page.shows in ("page", "blank")]
    if not pages:
        return ""
    step = WIDE / len(pages)
    at = {page.file: number for number, page in enumerate(pages)}
    events = [event for event in found.events if event.files]
    high = LIGHT_HIGH + BAR_HIGH * (len(events) + 1)
    parts = [
        f'<svg class="job-strip" viewBox="0 0 {WIDE} {high}" role="img" '
        f'aria-label="{_strip_words(found)}" focusable="false">',
        f'<path d="M0 {LIGHT_HIGH / 2}H{WIDE}" style="stroke:var(--rule)" stroke-width="1"/>',
    ]
    for number, page in enumerate(pages):
        if page.light_percent is None:
            continue
        share = max(-1.0, min(1.0, page.light_percent / LIGHT_PERCENT))
        y = LIGHT_HIGH / 2 * (1 - 0.9 * share)
        colour = "var(--soft)" if page.ok else COLOURS["unfit"]
        radius = 1.6 if page.ok else 2.6
        parts.append(
            f'<circle cx="{(number + 0.5) * step:.1f}" cy="{y:.1f}" r="{radius}" '
            f'style="fill:{colour}"/>'
        )
    for row, event in enumerate(events):
        colour = COLOURS[TONES.get(event.action, "fit")]
        y = LIGHT_HIGH + BAR_HIGH * (row + 0.5)
        numbers = sorted(at[file] for file in event.files if file in at)
        for first, last in _spans(numbers):
            wide = max((last + 1 - first) * step, 2.0)
            parts.append(
                f'<rect x="{first * step:.1f}" y="{y:.1f}" width="{wide:.1f}" height="7" '
                f'style="fill:{colour}"/>'
            )
        x = (numbers[0] if numbers else 0) * step
        anchor, x = ("start", x) if x < WIDE / 2 else ("end", x - 4)
        shown = x if anchor == "end" else min(x + _wide(numbers, step) + 4, WIDE - 20)
        parts.append(
            f'<text x="{shown:.1f}" y="{y + 7:.1f}" font-size="10" fill="currentColor" '
            f'text-anchor="{anchor}">{event.number}</text>'
        )
    return "".join([*parts, "</svg>"])


def _wide(numbers: Sequence[int], step: float) -> float:
    return (numbers[-1] + 1 - numbers[0]) * step if numbers else 0.0


def _spans(numbers: Sequence[int]) -> list[tuple[int, int]]:
    """Runs of whole numbers."""
    spans: list[tuple[int, int]] = []
    for number in numbers:
        if spans and number == spans[-1][1] + 1:
            spans[-1] = (spans[-1][0], number)
        else:
            spans.append((number, number))
    return spans


def _strip_words(found: Watched) -> str:
    events = "; ".join(
        f"{event.number}: {pages_words(event.files)}" for event in found.events if event.files
    )
    return (
        "All pages in the order they came: dots, the light of the paper against the first pages, "
        f"± {LIGHT_PERCENT:g} %" + (f"; bars, events by number: {events}" if events else "")
    )
