"""The index of a folder of reports: what each page says of itself, put in one list.

Every page that scanqa writes carries its facts in ``<meta name="scanqa-…">``; the index is made of
these alone, so that a folder that was mailed or copied can be indexed anew.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import quote

HEAD_BYTES = 16_000
PREFIX = "scanqa-"
PAGES = {  # of one scanner, and what a link to each is called
    "qualification": "Report",
    "check": "Check of blanks",
    "evidence": "For the seller",
    "history": "History",
    "job": "Job",
}


@dataclass(frozen=True, slots=True)
class Shelved:
    """A scanner in the index; links are (words, address)."""

    scanner: str
    date: str
    word: str
    tone: str
    sentence: str
    health: str
    due: str
    links: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Shelf:
    """The whole index."""

    scanners: tuple[Shelved, ...]
    comparisons: tuple[tuple[str, str, str], ...]  # title, sentence, address
    fleets: tuple[tuple[str, str], ...] = ()  # sentence, address


class _Facts(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.found: dict[str, str] = {}

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        name = given.get("name") or ""
        if tag == "meta" and name.startswith(PREFIX):
            self.found[name.removeprefix(PREFIX)] = given.get("content") or ""


def facts_of(path: Path) -> dict[str, str]:
    """What a page says of itself; empty for a page that is not scanqa's or cannot be read."""
    reader = _Facts()
    try:
        with path.open("rb") as file:
            reader.feed(file.read(HEAD_BYTES).decode("utf-8", errors="replace"))
    except OSError:
        return {}
    return reader.found


def shelf(folder: Path) -> Shelf:
    """All of scanqa's pages in a folder."""
    pages = {
        path.name: facts
        for path in sorted(folder.glob("*.html"))
        if (facts := facts_of(path)).get("page")
    }
    names = dict.fromkeys(f.get("scanner", "") for f in pages.values() if f["page"] in PAGES)
    comparisons = tuple(
        (f.get("scanner", ""), f.get("sentence", ""), quote(file))
        for file, f in pages.items()
        if f["page"] == "comparison"
    )
    fleets = tuple(
        (f.get("sentence", ""), quote(file)) for file, f in pages.items() if f["page"] == "fleet"
    )
    scanners = tuple(_shelved(name, pages, folder) for name in names)
    return Shelf(scanners, comparisons, fleets)


def _shelved(name: str, pages: dict[str, dict[str, str]], folder: Path) -> Shelved:
    newest = sorted(pages.items(), key=lambda page: page[1].get("created", ""))
    mine = {f["page"]: (file, f) for file, f in newest if f.get("scanner") == name}
    report = mine.get("qualification", mine.get("check", ("", {})))[1]
    past = mine.get("history", ("", {}))[1]
    word = report.get("decision", report.get("word", ""))
    return Shelved(
        name,
        report.get("date", past.get("date", "")),
        word,
        report.get("rule", ""),
        report.get("why", report.get("sentence", "")),
        past.get("health", report.get("health", "")),
        report.get("due", ""),
        tuple(_links(mine, folder)),
    )


def _links(mine: dict[str, tuple[str, dict[str, str]]], folder: Path) -> Iterator[tuple[str, str]]:
    for page, words in PAGES.items():
        if page not in mine:
            continue
        file = mine[page][0]
        yield words, quote(file)
        data = Path(file).with_suffix(".json")
        if page == "qualification" and (folder / data).is_file():
            yield "Numbers as JSON", quote(str(data))
