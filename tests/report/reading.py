"""A page as text: what someone reads who sees no pictures, block by block."""

from __future__ import annotations

import re
from html.parser import HTMLParser

_BLOCKS = frozenset({"p", "h1", "h2", "h3", "li", "tr", "dt", "dd", "div", "table", "title"})
_BLOCKS |= {"figcaption", "caption", "summary", "section", "figure"}
_UNREAD = frozenset({"style", "svg"})


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.parts: list[str] = []
        self.unread = 0

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        self.unread += tag in _UNREAD
        if tag in _BLOCKS:
            self.parts.append("\n")
        elif tag in ("td", "th"):
            self.parts.append(" | ")
        elif tag == "span":
            self.parts.append(" ")
        if given.get("role") == "img":
            self.parts.append(f"[{given['aria-label']}]")

    def handle_endtag(self, tag: str) -> None:
        self.unread -= tag in _UNREAD
        if tag in _BLOCKS:
            self.parts.append("\n")

    def handle_data(self, data: str) -> None:
        if not self.unread:
            self.parts.append(re.sub(r"\s+", " ", data))


def page_text(html: str) -> str:
    """Lines of words, spaces made plain, empty lines dropped."""
    reader = _Reader()
    reader.feed(html)
    reader.close()
    text = "".join(reader.parts).replace("\u202f", " ").replace("\u00a0", " ")
    lines = (re.sub(r"\s+", " ", line).strip(" |") for line in text.split("\n"))
    return "\n".join(line for line in lines if line) + "\n"
