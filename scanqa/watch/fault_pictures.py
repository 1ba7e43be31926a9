"""The faulty pages as pictures: whole, with the place, and for a line the place itself, spread."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

from scanqa.errors import ScanqaError
from scanqa.model import Window
from scanqa.model.watched import Event, FaultPicture, Watched
from scanqa.scans.open import open_scan
from scanqa.scans.small_picture import detail, whole_page

MOST_EVENTS, PAGES_OF_ONE = 12, 3
DETAIL_PX, SPREAD = 120, 0.10  # samples of the file a side; share of light from black to white
TOP = 0.02  # of the height: the margin, where no print hides a line


def pictures_of(found: Watched, folder: Path) -> tuple[FaultPicture, ...]:
    """Pictures of the events that ask for something; files that are gone are left out.

    Parameters
    ----------
    found : Watched
        The job.
    folder : Path
        Where its pages are.
    """
    made = []
    for event in [e for e in found.events if e.action != "none"][:MOST_EVENTS]:
        for file in _some(event.files):
            with suppress(ScanqaError, OSError):  # a page that was moved is not shown
                made.append(_whole(folder / file, event))
        if event.at_px is not None:
            with suppress(ScanqaError, OSError):
                made.append(_detail(folder / event.from_file, event))
    return tuple(made)


def _some(files: tuple[str, ...]) -> tuple[str, ...]:
    """First, middle and last."""
    if len(files) <= PAGES_OF_ONE:
        return files
    return files[0], files[len(files) // 2], files[-1]


def _whole(path: Path, event: Event) -> FaultPicture:
    picture = whole_page(path)
    at = None
    if event.at_px is not None and path.name == event.from_file:
        at = (event.at_px + 0.5) / picture.step_px
    return FaultPicture(
        event.number, path.name, "page", picture.png, picture.width_px, picture.height_px, at
    )


def _detail(path: Path, event: Event) -> FaultPicture:
    scan = open_scan(path)
    side = min(DETAIL_PX, scan.width_px, scan.height_px)
    left = min(max(round((event.at_px or 0) - side / 2), 0), scan.width_px - side)
    window = Window(round(TOP * (scan.height_px - side)), left, side, side)
    picture = detail(path, window, spread=SPREAD)
    at = ((event.at_px or 0) + 0.5 - left) / picture.step_px
    return FaultPicture(
        event.number, path.name, "detail", picture.png, picture.width_px, picture.height_px, at
    )
