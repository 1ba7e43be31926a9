"""The page over all scanners, written."""

from __future__ import annotations

from os import PathLike
from pathlib import Path

from scanqa.model.fleet import Fleet
from scanqa.report.fleet.fleet_view import fleet_view
from scanqa.report.index.shelf import shelf
from scanqa.report.more_pages import write_index
from scanqa.report.pages import environment
from scanqa.version import __version__
from scanqa.whole import write_whole
from scanqa.words.numbers import capital, inside
from scanqa.words.of_fleet import fleet_sentence, fleet_title


def write_fleet(fleet: Fleet, path: str | PathLike[str]) -> None:
    """Write the page of a fleet and renew the folder's index.

    Scanners whose pages lie in the same folder lead to them.

    Raises
    ------
    BadOption
        If the file cannot be written.
    """
    folder = Path(path).parent
    pages = {each.scanner: each.links for each in shelf(folder).scanners if folder.is_dir()}
    facts = [
        ("page", "fleet"),
        ("scanner", "Fleet"),
        ("date", fleet.today),
        ("sentence", f"{fleet_title(fleet)}. {fleet_sentence(fleet)}"),
    ]
    made = environment()
    made.filters |= {"capitalize_first": capital, "lower_first": inside}
    text = made.get_template("fleet.html.j2").render(
        view=fleet_view(fleet, pages), facts=facts, version=__version__
    )
    write_whole(Path(path), text)
    write_index(folder)
