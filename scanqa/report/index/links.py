"""Pages of one scanner lead to each other: the list of a page is renewed as the folder changes.

Each page holds its list between two comments; only what stands between them is ever changed, and
only in pages that are scanqa's.
"""

from __future__ import annotations

import html
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import quote

from scanqa.report.index.shelf import PAGES, facts_of
from scanqa.whole import write_whole

BEGIN, END = "<!--pages-->", "<!--/pages-->"
INDEX = "index.html"


def relink(folder: Path) -> None:
    """Renew the lists of all pages in a folder."""
    pages = {
        path: facts
        for path in sorted(folder.glob("*.html"))
        if (facts := facts_of(path)).get("page", "index") != "index"
    }
    for path, facts in pages.items():
        text = path.read_text("utf-8")
        before, begin, rest = text.partition(BEGIN)
        _, end, after = rest.partition(END)
        if not begin or not end:
            continue
        renewed = before + BEGIN + _links(path, facts, pages) + END + after
        if renewed != text:
            write_whole(path, renewed)


def _links(path: Path, facts: Mapping[str, str], pages: Mapping[Path, Mapping[str, str]]) -> str:
    """Other pages of the same scanner, then comparisons that it is in, then all scanners."""
    mine = facts.get("scanner", "")
    parties = facts.get("sides", mine).split(" / ")
    found: list[tuple[str, str]] = []
    for other, theirs in sorted(pages.items(), key=lambda page: _order(page[1])):
        if other == path:
            continue
        kind, name = theirs.get("page", ""), theirs.get("scanner", "")
        if kind == "comparison" and mine in theirs.get("sides", "").split(" / "):
            found.append((f"Comparison: {name}", other.name))
        elif kind in PAGES and name in parties:
            day = f", {theirs['day']}" if kind in ("check", "qualification") else ""
            of = f" of {name}" if len(parties) > 1 else ""
            found.append((f"{PAGES[kind]}{of}{day}", other.name))
        elif kind == "fleet":
            found.append(("Fleet", other.name))
    found.append(("All scanners", INDEX))
    return "".join(
        f'<li><a href="{html.escape(quote(file))}">{html.escape(words)}</a></li>\n'
        for words, file in found
    )


def _order(facts: Mapping[str, str]) -> tuple[int, str]:
    kinds = [*PAGES, "comparison"]
    kind = facts.get("page", "")
    return (kinds.index(kind) if kind in kinds else len(kinds), facts.get("created", ""))
