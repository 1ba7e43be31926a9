"""Pages beside the scanner's report: its history, a comparison of two, the index of a folder."""

from __future__ import annotations

from os import PathLike
from pathlib import Path

from scanqa.model import Record
from scanqa.model.compared import Comparison
from scanqa.model.history import Past
from scanqa.report.comparison.versus import sides_view
from scanqa.report.draw.figures import draw
from scanqa.report.history.past import MOST, past_view
from scanqa.report.index.links import INDEX, relink
from scanqa.report.index.shelf import shelf
from scanqa.report.pages import environment, health_line, layout, trace_drawings
from scanqa.version import __version__
from scanqa.whole import write_whole


def write_history(past: Past, path: str | PathLike[str]) -> None:
    """Write the history page of a scanner and renew the folder's index.

    Raises
    ------
    BadOption
        If the file cannot be written.
    """
    view = past_view(past, most=MOST)
    facts = [
        ("page", "history"),
        ("scanner", view.scanner),
        ("date", past.health.span[1][:10]),
        ("word", view.word),
        ("health", health_line(view)),
    ]
    text = (
        environment()
        .get_template("history.html.j2")
        .render(past=view, drawings=trace_drawings(view), facts=facts, version=__version__)
    )
    write_whole(Path(path), text)
    write_index(Path(path).parent)


def write_comparison(
    comparison: Comparison,
    path: str | PathLike[str],
    *,
    sides: tuple[Record, Record] | None = None,
) -> None:
    """Write the page of a comparison and renew the folder's index; errors as `write_history`.

    Parameters
    ----------
    sides : (Record, Record), optional
        The newest record of each side: then it is compared by use too, glass beside glass.
    """
    view = sides_view(comparison, sides)
    facts = [
        ("page", "comparison"),
        ("scanner", f"{view.first} and {view.second}"),
        ("sides", " / ".join(side.scanner for side in comparison.sides)),
        ("word", view.word),
        ("sentence", f"{view.word}. {view.sentence}"),
    ]
    drawings = {
        f"curve-{at}": draw(picture, f"curve-{at}") for at, picture in enumerate(view.pictures, 1)
    }
    text = (
        environment()
        .get_template("comparison.html.j2")
        .render(
            view=view,
            drawings=drawings,
            plans=[draw(picture, f"plan-{name}").wide for name, picture in view.glasses],
            layouts=layout(view.pictures),
            facts=facts,
            version=__version__,
        )
    )
    write_whole(Path(path), text)
    write_index(Path(path).parent)


def write_index(folder: Path) -> Path:
    """Write ``index.html`` of all of scanqa's pages in a folder and let them lead to each other.

    Errors as for `write_history`.
    """
    path = folder / INDEX
    text = (
        environment().get_template("index.html.j2").render(shelf=shelf(folder), version=__version__)
    )
    write_whole(path, text)
    relink(folder)
    return path
