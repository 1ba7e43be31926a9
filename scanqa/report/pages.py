"""The report as one file: no script, nothing fetched, to be mailed and printed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from itertools import groupby
from os import PathLike
from pathlib import Path
from typing import TYPE_CHECKING

from scanqa.model import Qualification, Record
from scanqa.model.history import Past
from scanqa.report.build import page
from scanqa.report.draw.figures import Drawing, draw
from scanqa.report.draw.limit_bar import bar
from scanqa.report.history.past import PastView, past_view
from scanqa.report.history.traces import draw_trace
from scanqa.report.index.naming import day_of, is_full, mark_of
from scanqa.report.view import Lines, Page, Picture
from scanqa.whole import write_whole
from scanqa.words.numbers import glued, plain
from scanqa.words.of_decision import acts
from scanqa.words.of_identity import day_words
from scanqa.words.of_uses import next_scan

if TYPE_CHECKING:
    import jinja2

FIGURE_BYTES = 600_000  # all figures of a page together; those past it are named, not drawn
MOST_AXES = 12  # curves over axes: beyond these, what they show is said in words


Drawn = Callable[[Sequence[tuple[Picture, str]]], Sequence[Drawing]]  # pictures and their names


def one_by_one(pictures: Sequence[tuple[Picture, str]]) -> list[Drawing]:
    """Pictures drawn here, one after the other."""
    return [draw(picture, name) for picture, name in pictures]


def write_report(
    found: Qualification,
    path: str | PathLike[str],
    *,
    past: Past | None = None,
    whole: bool = False,
    drawn: Drawn = one_by_one,
) -> None:
    """Write the HTML report of a record; the same record gives the same bytes.

    Parameters
    ----------
    found : Qualification
        From `scanqa.qualify`.
    path : str or path
        The file; its folder is made if it is not there.
    past : Past or None
        What earlier records say about the scanner; shown below what to do.
    whole : bool
        Whether every section is open, for print.
    drawn : callable
        Draws pictures, each with its name, in their order: `draw.figures.draw` for each of them,
        perhaps in several processes.

    Raises
    ------
    BadOption
        If the file cannot be written.
    """
    write_whole(Path(path), render(found, past=past, whole=whole, drawn=drawn))


def render(
    found: Qualification,
    *,
    past: Past | None = None,
    whole: bool = False,
    drawn: Drawn = one_by_one,
) -> str:
    """The HTML report of a record; parameters as for `write_report`."""
    shown = page(found, whole=whole)
    template = environment().get_template("page.html.j2")
    record = found.record
    layouts = {section.id: layout(section.pictures) for section in shown.sections}
    view = past_view(past) if past else None
    drawings = _drawings(shown, drawn)
    facts = [
        ("page", "qualification" if is_full(record) else "check"),
        ("scanner", shown.scanner),
        ("date", shown.date),
        ("created", record.created),
        ("day", day_of(record)),
        ("record", mark_of(record)),
        ("decision", shown.card.decision),
        ("rule", shown.card.rule),
        ("why", shown.card.why),
        ("due", _due(record)),
        ("word", shown.fitness.capitalize()),
        ("sentence", shown.sentence),
    ]
    if view is not None:
        drawings |= trace_drawings(view)
        facts.append(("health", health_line(view)))
    return template.render(
        page=shown,
        drawings=drawings,
        bars=_bars(shown),
        plan=draw(shown.card.glass, "plan").wide if shown.card.glass else "",
        layouts=layouts,
        past=view,
        facts=facts,
        whole=whole,
    )


def load() -> None:
    """Load the templates of the pages of a scanner."""
    for name in ("page.html.j2", "evidence.html.j2"):
        environment().get_template(name)


@cache
def environment() -> jinja2.Environment:
    """Where the templates are found and how their values are put on a page."""
    import jinja2

    return jinja2.Environment(
        loader=jinja2.PackageLoader("scanqa.report"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        finalize=_for_the_page,
    )


def trace_drawings(view: PastView) -> dict[str, Drawing | None]:
    """Small multiples by name: ``past-1`` and so on moved, ``steady-1`` and so on did not."""
    return {
        f"{head}-{at}": draw_trace(trace)
        for head, traces in (("past", view.traces), ("steady", view.steady))
        for at, trace in enumerate(traces, 1)
    }


def health_line(view: PastView) -> str:
    """The health of a scanner in one line, for the index."""
    return f"{view.answer}. {view.span}."


def layout(pictures: Sequence[Picture]) -> list[str]:
    """How pictures share the width: `wide` ones fill it, two `half` ones share it.

    A half one that is left over stands `alone`, its caption at its side.
    """
    words = ["wide" if isinstance(p, Lines) and p.wide else "half" for p in pictures]
    for kind, run in groupby(range(len(words)), key=words.__getitem__):
        row = list(run)
        if kind == "half" and len(row) % 2:
            words[row[-1]] = "alone"
    return words


def _for_the_page(value: object) -> object:
    """Words fit for a page; what is markup already passes."""
    return glued(plain(value)) if type(value) is str else value


def _drawings(page: Page, drawn: Drawn) -> dict[str, Drawing | None]:
    """Drawings by name, ``section-sharpness-1`` and so on; None once the page is full.

    Curves over axes are drawn as often as `MOST_AXES` lets.
    """
    drawings: dict[str, Drawing | None] = {}
    chosen: list[tuple[Picture, str]] = []
    axes = MOST_AXES
    for section in page.sections:
        named = [(p, f"{section.id}-{at}") for at, p in enumerate(section.pictures, 1)]
        named += [(p, f"{section.id}-curve-{at}") for at, p in enumerate(section.details, 1)]
        drawings |= {name: None for _, name in named}
        for picture, name in named:
            axes -= isinstance(picture, Lines)
            if axes >= 0 or not isinstance(picture, Lines):
                chosen.append((picture, name))
    left = FIGURE_BYTES
    for (_, name), drawing in zip(chosen, drawn(chosen), strict=True):
        size = len(drawing.wide.encode()) + len(drawing.narrow.encode())
        drawings[name] = drawing if size <= left else None
        left -= size if size <= left else 0
    return drawings


def _due(record: Record) -> str:
    """What is to be done, for the index: what first, the scan that is missing, the last day."""
    first = acts(record.actions, record.decision)[:1]
    until = record.identity.return_until if record.identity else ""
    parts = [act.text for act in first]
    if all(act.look != record.outcome.next_scan for act in first):  # or it is said already
        parts.append(next_scan(record.outcome))
    parts += [f"Return until {day_words(until)}."] if until else []
    return " ".join(filter(None, parts))


def _bars(page: Page) -> list[str]:
    """A bar for each use; empty where there is no value."""
    return [bar(row.bar) if row.bar else "" for row in page.card.uses]
